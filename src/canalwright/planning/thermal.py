"""What the heat model is asked: activation, holds, and the whole protocol with its doubt."""

import itertools
import math
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright import heat
from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.heat import HeatDraws, HeatStory
from canalwright.planning import practice
from canalwright.planning.doubt import Draws
from canalwright.protocol import Heat, Press, Protocol

Array = NDArray[np.float64]
QUICK = heat.Resolution.quick()
TRIALS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0)
"""Activations that the planner tries, s; from the first that leaves time for the plunge."""
SHORT = (1.0, 1.5)
"""Those it tries where none of the others spares the root surface; the plunge is then quicker than usual."""
SAFE_SHARE = 0.7
"""Share of the 10 K limit that a nominal run may use up; the rest is kept for the spread."""
SOFT_TO_END = 1.0
"""The planner heats until gutta-percha is soft to this far from the end of the preparation..."""
LEAST_GAIN = 0.1
"""... or until the next longer activation softens less than this further, mm."""
LONGEST_HOLD = 30.0
BODY = 37.0


@dataclass(frozen=True)
class Thermal:
    """The nominal run of the whole protocol, the few draws of it, and the longest safe activation of its deepest round.

    `growth`: the rise grows with the length of the activation to this power.
    """

    story: HeatStory
    draws: HeatDraws
    longest_activation: float
    longest_by_draw: Array
    growth: float = 1.0


@dataclass(frozen=True)
class Setting:
    """Set temperature, deg C, activation, s, and whether the nominal rise keeps to the planner's share of the limit."""

    temperature: float
    activation: float
    spares: bool = True


def choose_setting(
    lumen: Lumen,
    canal: Canal,
    temperatures: Sequence[float],
    activations: Sequence[float],
    make: Callable[[Setting], Protocol],
) -> Setting:
    """The hottest setting, with the shortest activation that still gains depth, that spares the root surface.

    At each of `temperatures`, first the first: activations grow until gutta-percha is soft to within 1 mm of the end, until more
    heat gains less than 0.1 mm, or until the nominal rise passes 70 % of the limit. A temperature at which even the
    shortest activation passes is left for the next; at the last one the shortest stands, and the plan will say so.
    """
    for temperature in temperatures:
        chosen: Setting | None = None
        before = float("inf")
        for seconds in activations:
            tried = Setting(temperature, seconds)
            story = heat.simulate_flat_side(lumen, make(tried), resolution=QUICK, every=1e9)
            front = story.deepest_front
            if story.surface_rise > SAFE_SHARE * practice.RISE_LIMIT or (chosen and before - front < LEAST_GAIN):
                break
            chosen, before = tried, front
            if front <= canal.end + SOFT_TO_END:
                break
        if chosen is not None:
            return chosen
    return Setting(temperatures[-1], activations[0], spares=False)


def last_hold(lumen: Lumen, downpack: Protocol) -> float:
    """Seconds of the last press until the gutta-percha beneath it is below its freezing range, whole, 10 to 30 s."""
    acts = list(downpack.acts)
    index = max(i for i, act in enumerate(acts) if isinstance(act, Press))
    pressed = acts[index]
    assert isinstance(pressed, Press)
    acts[index] = replace(pressed, seconds=LONGEST_HOLD)
    story = heat.simulate(lumen, Protocol(tuple(acts[: index + 1])), resolution=QUICK, every=1e9)
    cooled = story.acts[-1].cooled
    return float(
        min(max(math.ceil(cooled) if math.isfinite(cooled) else LONGEST_HOLD, practice.LAST_PRESS), LONGEST_HOLD)
    )


def run(
    lumen: Lumen,
    protocol: Protocol,
    draws: Draws,
    threads: int | None = None,
    step: Callable[[float], None] | None = None,
) -> Thermal:
    """The nominal run at standard resolution, the draws at quick, and the longest safe activation; `step` hears the share done."""
    given = heat_draws(lumen, draws)
    runs = len(next(iter(given.values()))) * (1 if heat.least_width(lumen) is lumen else 2)
    done, lock = itertools.count(1), threading.Lock()

    def each() -> None:
        if step is not None:
            with lock:
                step(next(done) / runs)

    story = heat.simulate_flat_side(lumen, protocol, every=0.25)
    many = heat.simulate_many_flat_side(lumen, protocol, given, resolution=QUICK, threads=threads, each=each)
    deepest = max(i for i, act in enumerate(protocol.acts) if isinstance(act, Heat))
    longest = heat.longest_safe_activation(heat.least_width(lumen), protocol, deepest, resolution=QUICK)
    rise = np.maximum(np.asarray(np.nanmax(many.act_rise[:, : deepest + 2], axis=1)), 1e-3)
    seconds = [act.seconds for act in protocol.acts if isinstance(act, Heat)][-1]
    growth = _growth(seconds, longest, float(rise[0]))
    return Thermal(story, many, longest, _longest_by_draw(longest, rise, growth), growth)


def in_proportion(lumen: Lumen, protocol: Protocol, base: Thermal) -> Thermal:
    """A quick answer: one coarse nominal run, its spread taken over from `base`.

    Rises, times and doses of draw d stand to the nominal ones as the greatest rise of draw d did in `base`; fronts keep
    their offsets. The longest safe activation is the present one in proportion to the limit over the rise.
    """
    story = heat.simulate_flat_side(lumen, protocol, resolution=QUICK, every=0.25)
    many = base.draws
    share = (many.surface_rise / max(float(many.surface_rise[0]), 1e-3))[:, None]
    deepest = int(np.argmin(np.where(np.isnan(many.front[0]), np.inf, many.front[0])))
    offset = (many.front[:, deepest] - many.front[0, deepest])[:, None]
    acts = story.acts
    heats = [a for a in acts if isinstance(a.act, Heat)]
    draws = heat.HeatDraws(
        z=story.z,
        peak_rise=story.peak_rise * share,
        above_47=story.above_47 * share,
        cem43=story.cem43 * share,
        front=np.array([a.front for a in acts]) + offset,
        act_rise=np.array([a.surface_rise for a in acts]) * share,
        act_apical=BODY + (np.array([a.apical for a in acts]) - BODY) * share,
        cooled=np.array([a.cooled for a in acts]) * np.ones_like(share),
    )
    longest = heats[-1].act.seconds * (practice.RISE_LIMIT / max(story.surface_rise, 1e-3)) ** (1 / base.growth)
    return Thermal(story, draws, longest, _longest_by_draw(longest, share[:, 0], base.growth), base.growth)


def heat_draws(lumen: Lumen, draws: Draws) -> Mapping[str, Array]:
    """The few draws as the heat model takes them: its own readings, wall, width and the offset of all levels.

    The width of the shaped lumen errs with the file where the file made it and with the native canal elsewhere; the model
    takes one offset for the whole canal, weighted by the share of stations.
    """
    few = draws.few
    native = float(np.mean(lumen.minor <= draws.canal.native.minor + 1e-9))
    return {
        **{name: few[name] for name in heat.readings()},
        "wall": few["wall"],
        "width": native * few["width"] + (1 - native) * few["file"],
        "length": few["length"] - draws.canal.length.value - few["stop"],
    }


def _growth(seconds: float, longest: float, rise: float) -> float:
    """The power of its length with which the rise of an activation grows, through the present one and the longest safe one.

    A carrier of limited power makes it less than 1 (0.3 to 0.9 in runs with all rounds as long); 1 where the two tell nothing.
    """
    apart = math.log(longest / seconds) if longest > 0 and seconds > 0 else 0.0
    if abs(apart) < 0.05:
        return 1.0
    return min(max(math.log(practice.RISE_LIMIT / rise) / apart, 0.3), 1.5)


def _longest_by_draw(longest: float, rise: Array, growth: float) -> Array:
    """The longest safe activation of each draw, from the nominal one and the `rise` of each (or its share of the nominal one).

    The rise of draw d is the nominal one in proportion at every length, so that a draw whose rise is past the limit has a longest
    one shorter than what is planned; exact in draw 0.
    """
    return np.asarray(
        np.clip(longest * (rise[0] / np.maximum(rise, 1e-3)) ** (1 / growth), 0.0, 4 * max(longest, 1e-3))
    )
