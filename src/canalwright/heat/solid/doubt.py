"""How sure a solid story is: every number with its 5-95 % interval, over carrier, walls, widths, levels, blood flow, contacts, properties.

A whole run in three dimensions is too slow for many draws. So all draws run in the (r, z) model, `runs` of them, spread evenly over
its answers, on coarse cells in three dimensions too: the draw's values are the same in both. Between the two lies a straight line of the
logarithms, and what a run lies off it (leave one out) is kept and dealt out to the draws: a control variate with its residuals. Rises
are then scaled so that the nominal draw is the story itself. Seconds above 47 deg C and CEM43 follow from the story's own histories, scaled
(`dose`), with the residual that the runs show. The longest safe activation and the shortest safe pause are where the
nominal curve of rise over seconds, scaled to the draw, meets the limit.
"""

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from canalwright.anatomy.lumen import Lumen
from canalwright.heat.batch import GEOMETRY, HeatDraws, shifted, simulate_many
from canalwright.heat.injury import RISE_LIMIT
from canalwright.heat.materials import Materials
from canalwright.heat.solid.dose import DoseCurve
from canalwright.heat.solid.moved import materials_of, moved
from canalwright.heat.solid.search import rise_by_activation, rise_by_pause
from canalwright.heat.solid.simulation import simulate
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.story import SolidStory
from canalwright.heat.solid.tissue import Solid
from canalwright.heat.solid.voxels import Voxels
from canalwright.protocol import Protocol

LOW, HIGH = 5.0, 95.0
ACTIVATIONS = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
PAUSES = (0.0, 5.0, 15.0, 60.0)


@dataclass(frozen=True)
class SolidDoubt:
    """Draws of what a solid story predicts, (d,); draw 0 is the story.

    `rise` of the root surface and `bone` (rise of the hottest bone) K; `above_47` s and `cem43` min at the worst point of the root surface;
    `activation`, `pause` s: longest safe activation and shortest safe pause (infinite: none is long enough), empty when not asked for.
    Of the `runs` in three dimensions: `levels` [mm, z] of the hottest place, and `acts`, the share in which each act had brought
    the greatest rise. `residual`: standard deviation of the logarithm of the rise that (r, z) leaves open.
    """

    rise: Array
    bone: Array
    above_47: Array
    cem43: Array
    activation: Array
    pause: Array
    levels: Array
    acts: Mapping[int, float]
    runs: int
    residual: float

    def interval(self, name: str) -> tuple[float, float]:
        """5th and 95th percentile of a number by its name; they take in the nominal value. NaN when it was not asked for."""
        values = np.asarray(getattr(self, name))
        if values.size == 0:
            return float("nan"), float("nan")
        low, high = np.percentile(values[1:], LOW, method="lower"), np.percentile(values[1:], HIGH, method="higher")
        return min(float(low), float(values[0])), max(float(high), float(values[0]))

    def level_interval(self, level: float) -> tuple[float, float]:
        """5th and 95th percentile of the level of the hottest place, mm (z); they take in the story's own `level`."""
        low, high = np.percentile(self.levels, (LOW, HIGH))
        return min(float(low), level), max(float(high), level)

    @property
    def factor(self) -> tuple[float, float]:
        """5th and 95th percentile of the rise over the nominal one."""
        low, high = self.interval("rise")
        return low / max(float(self.rise[0]), 1e-6), high / max(float(self.rise[0]), 1e-6)


def doubt(
    solid: Solid,
    lumen: Lumen,
    protocol: Protocol,
    story: SolidStory,
    draws: Mapping[str, Array],
    *,
    flat: HeatDraws | None = None,
    runs: int = 16,
    act: int | None = None,
    pause: int | None = None,
    limit: float = RISE_LIMIT,
    materials: Materials | None = None,
    voxels: Voxels | None = None,
    coarse: Solid | None = None,
    step: Callable[[float], None] = lambda share: None,
) -> SolidDoubt:
    """The doubt of `story`, which `protocol` made in `solid`.

    `draws`: values (d,) by name as `heat.simulate_many` takes them, row 0 nominal; `flat`: its answers if they are known. `act`, `pause`:
    indices of the activation and the pause whose limits are wanted. `coarse`: the root on coarser cells (`voxels`) for the
    runs, by default `solid` itself. `step` is told the share that is done, and may raise to end the work. Raises ValueError for too few
    draws or runs, or a story without film.
    """
    count = len(next(iter(draws.values())))
    if count < 8 or runs < 4:
        raise ValueError(f"an interval needs at least 8 draws and 4 runs, not {count} and {runs}")
    m, cells, root = materials or Materials(), voxels or Voxels.coarse(), coarse or solid
    curve = DoseCurve.of(story)
    flat = flat or simulate_many(lumen, protocol, draws, materials=m)
    guess = np.maximum(flat.surface_rise, 1e-3)
    chosen = spread_evenly(guess, min(runs, count - 1))
    done = [0]

    def one(d: int) -> tuple[float, float, float, float, float, int]:
        values = {name: float(draws[name][d]) for name in draws}
        own = materials_of(m, values)
        shape = moved(root, values.get(GEOMETRY[0], 0.0), values.get(GEOMETRY[1], 0.0))
        acts = shifted(protocol, values.get(GEOMETRY[2], 0.0))
        found = simulate(shape, acts, materials=own, voxels=cells, every=1e9, wide=False)
        done[0] += 1
        step(done[0] / (len(chosen) + 1))
        s = found.surface
        return (
            found.surface_rise, found.bone_peak - m.body_temperature, float(s.above_47.max()), float(s.cem43.max()),
            found.surface_level, found.heated_by,
        )  # fmt: skip

    first = one(0)
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        rows = [first, *pool.map(one, chosen)]
    seen = np.array(rows, dtype=float)
    at = np.array([0, *chosen])
    rise, residual = carried(guess, at, seen[:, 0], story.surface_rise)
    bone, _ = carried(guess, at, np.maximum(seen[:, 1], 1e-2), max(story.bone_peak - m.body_temperature, 1e-2))
    scale = rise / max(story.surface_rise, 1e-6)
    own_scale = seen[:, 0] / max(story.surface_rise, 1e-6)
    above = curve.above(scale * _dealt(curve.scale_of(seconds=seen[:, 2]) / own_scale, count))
    dose = curve.dose(scale * _dealt(curve.scale_of(minutes=seen[:, 3]) / own_scale, count))
    above[0], dose[0] = float(story.surface.above_47.max()), float(story.surface.cem43.max())
    ratio = scale * story.surface_rise / max(seen[0, 0], 1e-6)
    longest = shortest = np.zeros(0)
    if act is not None:
        seconds, values = rise_by_activation(root, protocol, act, ACTIVATIONS, m, cells)
        longest = crossing(seconds, values, limit / ratio)
    if pause is not None:
        seconds, values = rise_by_pause(root, protocol, pause, PAUSES, m, cells)
        shortest = -crossing(-seconds[::-1], values[::-1], limit / ratio)
        shortest = np.where(values[-1] > limit / ratio, np.inf, np.maximum(shortest, 0.0))
    by = seen[:, 5].astype(int)
    shares = {int(a): float(np.mean(by[1:] == a)) for a in np.unique(by[1:])}
    return SolidDoubt(rise, bone, above, dose, longest, shortest, seen[:, 4], shares, len(chosen), residual)


def spread_evenly(guess: Array, runs: int) -> Sequence[int]:
    """Rows of draws 1.. whose `guess` lies evenly over its whole range of ranks."""
    order = np.argsort(guess[1:], kind="stable") + 1
    places = (np.arange(runs) + 0.5) / runs * len(order)
    return [int(order[int(p)]) for p in places]


def carried(guess: Array, at: Array, answer: Array, nominal: float) -> tuple[Array, float]:
    """Answers for all draws from those at rows `at` (row 0 first) by a line between logarithms, residuals dealt out; and their spread.

    All are scaled so that draw 0 is `nominal`.
    """
    x, y = np.log(guess[at[1:]] / guess[0]), np.log(np.maximum(answer[1:], 1e-6) / max(float(answer[0]), 1e-6))
    design = np.column_stack([np.ones(len(x)), x])
    q, r = np.linalg.qr(design)
    slope = np.linalg.solve(r, q.T @ y)
    residual = (y - design @ slope) / (1 - np.clip(np.sum(q**2, axis=1), 0.0, 0.9))
    every = np.log(guess / guess[0])
    dealt = residual[np.argsort(np.argsort(np.mod(np.arange(len(guess)) * 0.6180339887, 1.0))) % len(residual)]
    out = nominal * np.exp(slope[0] + slope[1] * every + dealt)
    out[0] = nominal
    return out, float(np.std(residual))


def crossing(seconds: Array, values: Array, limits: Array) -> Array:
    """The last of `seconds` (growing) at which the growing `values` stay within each limit; the ends where it is passed or never met."""
    grown = np.maximum.accumulate(values)
    grown = grown + 1e-9 * np.arange(len(grown))
    return np.asarray(
        np.clip(PchipInterpolator(grown, seconds)(np.clip(limits, grown[0], grown[-1])), seconds[0], seconds[-1])
    )


def _dealt(ratio: Array, count: int) -> Array:
    """Ratios of the runs that had a dose, dealt out to all draws; 1 where none had."""
    known = ratio[1:][np.isfinite(ratio[1:])]
    return np.ones(count) if len(known) == 0 else known[np.arange(count) % len(known)]
