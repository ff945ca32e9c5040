"""What if: the usual choices for one canal, each changed alone, as a table to show and discuss.

The lines run on coarser cells than the story that they are told beside, so what cells make of it is taken out: a line is the story's own
number, times what the line's rise is of the plan's on the same cells (rises, CEM43), or plus the line less the plan on the same cells
(levels, seconds). The line `as planned` is the story itself.

Each line has its 5-95 % intervals, in proportion: rises are multiplied by the 5th and 95th percentile of the planned protocol's rise over
its nominal rise (`doubt`), doses follow from the story's own histories scaled so (`dose`). That leaves out how the spread itself changes
from choice to choice, and gives the deepest soft place none: its interval stands with the rounds of the plan.
"""

import csv
import io
import os
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from canalwright.heat.materials import Materials
from canalwright.heat.solid.dose import DoseCurve
from canalwright.heat.solid.doubt import SolidDoubt
from canalwright.heat.solid.moved import halved
from canalwright.heat.solid.simulation import simulate
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.story import SolidStory
from canalwright.heat.solid.tissue import Solid
from canalwright.heat.solid.voxels import Voxels
from canalwright.protocol import Act, Bite, Heat, Pause, Press, Protocol, Sear

PLANNED = "as planned"
DRY_RESISTANCE = 3e-4
"""A dry film between filling and wall against a wet one of a tenth of it, m2 K/W: the ends of the assumed range of the sealer's film."""


@dataclass(frozen=True)
class Choice:
    """One line: what was changed; greatest rise at the root surface [K] with its 5-95 % interval; where (z mm, degrees), when [s];
    greatest temperature of the bone [deg C]; seconds above 47 deg C and CEM43 [min] at the worst point, each with `_low` and `_high`, its
    5-95 % interval; deepest soft place [mm, z]; length of the protocol [s]."""

    name: str
    rise: float
    low: float
    high: float
    level: float
    angle: float
    when: float
    bone: float
    bone_low: float
    bone_high: float
    above_47: float
    above_47_low: float
    above_47_high: float
    cem43: float
    cem43_low: float
    cem43_high: float
    front: float
    seconds: float

    def interval(self, name: str) -> tuple[float, float]:
        """5-95 % interval of `rise`, `bone`, `above_47` or `cem43`."""
        ends = ("low", "high") if name == "rise" else (f"{name}_low", f"{name}_high")
        low, high = (float(getattr(self, end)) for end in ends)
        return low, high


HEADINGS: Mapping[str, str] = {
    "name": "choice", "rise": "rise_k", "low": "rise_low_k", "high": "rise_high_k", "level": "level_mm", "angle": "direction_deg",
    "when": "when_s", "bone": "bone_peak_c", "bone_low": "bone_peak_low_c", "bone_high": "bone_peak_high_c", "above_47": "above_47_s",
    "above_47_low": "above_47_low_s", "above_47_high": "above_47_high_s", "cem43": "cem43_min", "cem43_low": "cem43_low_min",
    "cem43_high": "cem43_high_min", "front": "front_mm", "seconds": "protocol_s",
}  # fmt: skip


def what_if(
    solid: Solid,
    protocol: Protocol,
    *,
    story: SolidStory,
    sure: SolidDoubt,
    materials: Materials | None = None,
    voxels: Voxels | None = None,
    only: Callable[[str], bool] = lambda name: True,
    step: Callable[[float], None] = lambda share: None,
) -> tuple[Choice, ...]:
    """The table for the root on its cells (`voxels`), the protocol as it is first; several runs at once, one to a core.

    `story`: the protocol as it was run for itself, with its film; `sure` its doubt. `only` picks lines by name; `step` is told the share
    that is done, and may raise to end the work. Raises ValueError for a story without film.
    """
    m, cells, curve = materials or Materials(), voxels or Voxels.quick(), DoseCurve.of(story)
    jobs: list[tuple[str, Callable[[float], Solid], Protocol, Materials]] = [(PLANNED, lambda _: solid, protocol, m)]
    for degrees in (-30.0, -50.0, 30.0):
        jobs.append((f"set temperature {degrees:+.0f} K", lambda _: solid, hotter(protocol, degrees), m))
    for share in (0.5, 1.5, 2.0):
        jobs.append((f"activation {share:g} times as long", lambda _: solid, longer(protocol, share), m))
    jobs.append(("one wave instead of rounds", lambda _: solid, one_wave(protocol), m))
    for shift in (1.0, -1.0):
        name = f"plunges {abs(shift):g} mm {'shallower' if shift > 0 else 'deeper'}"
        jobs.append((name, lambda _: solid, moved(protocol, shift), m))
    for share, name in ((0.0, "no pauses"), (2.0, "pauses twice as long")):
        jobs.append((name, lambda _: solid, paused(protocol, share), m))
    jobs.append(("thin wall all round (half)", lambda _: halved(solid), protocol, m))
    jobs.append(("thin wall on one side (half)", lambda angle: halved(solid, angle), protocol, m))
    for value, name in ((DRY_RESISTANCE, "dry canal, poor contact"), (DRY_RESISTANCE / 10, "wet canal, good contact")):
        jobs.append((name, lambda _: solid, protocol, replace(m, sealer_resistance=value)))
    lost = replace(m, ligament_perfusion=0.0, bone_perfusion=0.0)
    jobs.append(("blood flow lost", lambda _: solid, protocol, lost))
    wanted = [job for job in jobs if only(job[0]) or job[0] == PLANNED]
    done = [0]

    def one(job: tuple[str, Callable[[float], Solid], Protocol, Materials], angle: float = 0.0) -> SolidStory:
        _, make, acts, own = job
        ran = simulate(make(angle), acts, materials=own, voxels=cells, every=1e9, wide=False)
        done[0] += 1
        step(done[0] / len(wanted))
        return ran

    first = one(wanted[0])
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        ran = [first, *pool.map(lambda job: one(job, first.surface_angle), wanted[1:])]
    told = zip(wanted, ran, strict=True)
    return tuple(
        _line(name, each, acts, beside=first, story=story, sure=sure, curve=curve, body=m.body_temperature)
        for (name, _, acts, _), each in told
    )


def hotter(protocol: Protocol, by: float) -> Protocol:
    """The carrier set `by` K higher."""
    return _each(protocol, lambda a: replace(a, temperature=a.temperature + by) if isinstance(a, Sear | Heat) else a)


def longer(protocol: Protocol, share: float) -> Protocol:
    """Each activation `share` times as long, its plunge too."""
    return _each(
        protocol, lambda a: replace(a, seconds=a.seconds * share, plunge=a.plunge * share) if isinstance(a, Heat) else a
    )


def paused(protocol: Protocol, share: float) -> Protocol:
    """Each pause `share` times as long."""
    return _each(protocol, lambda a: replace(a, seconds=a.seconds * share) if isinstance(a, Pause) else a)


def moved(protocol: Protocol, by: float) -> Protocol:
    """Each plunge, bite and press of the downpack `by` mm higher, but never above the first plunge's start."""
    last = max((i for i, a in enumerate(protocol.acts) if isinstance(a, Heat)), default=-1)
    out: list[Act] = []
    for i, a in enumerate(protocol.acts):
        if i <= last + 2 and isinstance(a, Heat | Press) and any(isinstance(b, Heat) for b in protocol.acts[: i + 1]):
            out.append(replace(a, stop=max(a.stop + by, 0.5)))
        elif i <= last + 2 and isinstance(a, Bite):
            out.append(replace(a, level=max(a.level + by, 0.5)))
        else:
            out.append(a)
    return Protocol(tuple(out))


def one_wave(protocol: Protocol) -> Protocol:
    """One plunge to the deepest stop, with the time that all plunges took together, and the press that followed the last."""
    heats = [a for a in protocol.acts if isinstance(a, Heat)]
    if len(heats) < 2:
        return protocol
    first, last = heats[0], heats[-1]
    begin = next(i for i, a in enumerate(protocol.acts) if a is first)
    end = max(i for i, a in enumerate(protocol.acts) if a is last)
    whole = replace(
        last, seconds=sum(h.plunge for h in heats) + last.seconds - last.plunge, plunge=sum(h.plunge for h in heats)
    )
    return Protocol((*protocol.acts[:begin], whole, *protocol.acts[end + 1 :]))


def as_text(choices: tuple[Choice, ...], caution: str = "") -> str:
    """The table for people to read, 5-95 % intervals in brackets."""
    head = ("choice", "rise K", "at z mm", "deg", "bone C", ">47 s", "CEM43", "soft to", "s")
    lines = ["{:32} {:>16} {:>8} {:>5} {:>18} {:>16} {:>20} {:>8} {:>6}".format(*head)]
    for c in choices:
        rise, bone = _ranged(c, "rise", 1), _ranged(c, "bone", 1)
        dose = f"{_ranged(c, 'above_47', 1):>16} {_ranged(c, 'cem43', 2):>20}"
        lines.append(
            f"{c.name:32} {rise:>16} {c.level:8.1f} {c.angle:5.0f} {bone:>18} {dose} {c.front:8.1f} {c.seconds:6.0f}"
        )
    return "\n".join([*lines, *([caution] if caution else [])])


def as_csv(choices: tuple[Choice, ...]) -> str:
    """The table as CSV, units in the headings."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADINGS.values())
    for c in choices:
        writer.writerow([c.name, *(f"{getattr(c, n):.4g}" for n in HEADINGS if n != "name")])
    return out.getvalue()


def _each(protocol: Protocol, change: Callable[[Act], Act]) -> Protocol:
    return Protocol(tuple(change(a) for a in protocol.acts))


def _line(
    name: str, ran: SolidStory, protocol: Protocol, *, beside: SolidStory, story: SolidStory, sure: SolidDoubt, curve: DoseCurve,
    body: float,
) -> Choice:  # fmt: skip
    """`ran` on the cells of `beside`, the plan on them, told beside the `story`."""

    def grown(value: float, plan: float, own: float) -> float:
        return own * value / max(plan, 1e-9)

    def moved_by(value: float, plan: float, own: float) -> float:
        return own + value - plan

    at, by, its = ran.surface.hottest, beside.surface.hottest, story.surface.hottest
    rise = grown(ran.surface_rise, beside.surface_rise, story.surface_rise)
    bone = grown(ran.bone_peak - body, beside.bone_peak - body, story.bone_peak - body)
    above = max(moved_by(*(float(s.surface.above_47[i]) for s, i in ((ran, at), (beside, by), (story, its)))), 0.0)
    dose = grown(*(float(s.surface.cem43[i]) for s, i in ((ran, at), (beside, by), (story, its))))
    factor, share = np.array(sure.factor), rise / max(story.surface_rise, 1e-6)
    cooler, hotter_bone = (end / max(float(sure.bone[0]), 1e-6) * bone + body for end in sure.interval("bone"))
    seconds = _about(above, curve.above(factor * _scale(curve.scale_of(seconds=np.array(above)), share)))
    minutes = _about(dose, curve.dose(factor * _scale(curve.scale_of(minutes=np.array(dose)), share)))
    level = moved_by(ran.surface_level, beside.surface_level, story.surface_level)
    angle = moved_by(ran.surface_angle, beside.surface_angle, story.surface_angle) % 360.0
    when = moved_by(ran.surface_time, beside.surface_time, story.surface_time)
    front = moved_by(ran.deepest_front, beside.deepest_front, story.deepest_front)
    return Choice(
        name, rise, float(rise * factor[0]), float(rise * factor[1]), level, angle, when, bone + body, cooler, hotter_bone,
        above, seconds[0], seconds[1], dose, minutes[0], minutes[1], front, protocol.seconds,
    )  # fmt: skip


def _scale(found: Array, share: float) -> float:
    """What the story's rises are to be multiplied with; their `share` where there is no dose to tell it."""
    return float(found) if np.isfinite(found) else share


def _about(value: float, ends: Array) -> tuple[float, float]:
    return min(float(ends[0]), value), max(float(ends[1]), value)


def _ranged(choice: Choice, name: str, digits: int) -> str:
    low, high = choice.interval(name)
    return f"{getattr(choice, name):.{digits}f} ({low:.{digits}f}-{high:.{digits}f})"
