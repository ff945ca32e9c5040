"""What if: the usual choices for one canal, each changed alone, as a table to show and discuss.

Each line has its 5-95 % interval, in proportion: a line's rise is multiplied by the 5th and 95th percentile of the planned protocol's rise
over its nominal rise (`doubt`). That leaves out how the spread itself changes from choice to choice.
"""

import csv
import io
import os
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

from canalwright.heat.materials import Materials
from canalwright.heat.solid.moved import halved
from canalwright.heat.solid.simulation import simulate
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
    greatest temperature of the bone [deg C]; seconds above 47 deg C and CEM43 [min] at the worst point; deepest soft place [mm, z];
    length of the protocol [s]."""

    name: str
    rise: float
    low: float
    high: float
    level: float
    angle: float
    when: float
    bone: float
    above_47: float
    cem43: float
    front: float
    seconds: float


HEADINGS: Mapping[str, str] = {
    "name": "choice", "rise": "rise_k", "low": "rise_low_k", "high": "rise_high_k", "level": "level_mm", "angle": "direction_deg",
    "when": "when_s", "bone": "bone_peak_c", "above_47": "above_47_s", "cem43": "cem43_min", "front": "front_mm",
    "seconds": "protocol_s",
}  # fmt: skip


def what_if(
    solid: Solid,
    protocol: Protocol,
    *,
    factor: tuple[float, float],
    materials: Materials | None = None,
    voxels: Voxels | None = None,
    only: Callable[[str], bool] = lambda name: True,
    step: Callable[[float], None] = lambda share: None,
) -> tuple[Choice, ...]:
    """The table for the root on its cells (`voxels`), the protocol as it is first; several runs at once, one to a core.

    `factor`: 5th and 95th percentile of the rise over the nominal one (`SolidDoubt.factor`). `only` picks lines by name; `step` is told
    the share that is done, and may raise to end the work.
    """
    m, cells = materials or Materials(), voxels or Voxels.quick()
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

    def one(job: tuple[str, Callable[[float], Solid], Protocol, Materials], angle: float = 0.0) -> Choice:
        name, make, acts, own = job
        story = simulate(make(angle), acts, materials=own, voxels=cells, every=1e9, wide=False)
        done[0] += 1
        step(done[0] / len(wanted))
        return _line(name, story, acts, factor)

    first = one(wanted[0])
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return (first, *pool.map(lambda job: one(job, first.angle), wanted[1:]))


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
    """The table for people to read."""
    head = ("choice", "rise K (5-95 %)", "at z mm", "deg", "bone C", ">47 s", "CEM43", "soft to", "s")
    lines = ["{:32} {:>20} {:>8} {:>5} {:>7} {:>6} {:>7} {:>8} {:>6}".format(*head)]
    for c in choices:
        interval = f"{c.rise:.1f} ({c.low:.1f}-{c.high:.1f})"
        place = f"{c.level:8.1f} {c.angle:5.0f} {c.bone:7.1f} {c.above_47:6.1f}"
        lines.append(f"{c.name:32} {interval:>20} {place} {c.cem43:7.2f} {c.front:8.1f} {c.seconds:6.0f}")
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


def _line(name: str, story: SolidStory, protocol: Protocol, factor: tuple[float, float]) -> Choice:
    worst = story.surface.hottest
    return Choice(
        name, story.surface_rise, story.surface_rise * factor[0], story.surface_rise * factor[1], story.surface_level,
        story.surface_angle, story.surface_time, story.bone_peak, float(story.surface.above_47[worst]),
        float(story.surface.cem43[worst]), story.deepest_front, protocol.seconds,
    )  # fmt: skip
