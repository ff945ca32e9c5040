"""`simulate_many`: the same protocol with many draws of what is uncertain, on all processor cores."""

import os
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen
from canalwright.heat.injury import RISE_LIMIT
from canalwright.heat.layout import ABOVE, DOSE, PEAK
from canalwright.heat.materials import Materials, Surroundings, readings
from canalwright.heat.resolution import Resolution
from canalwright.heat.simulation import prepare, stations_of
from canalwright.protocol import Act, Bite, Heat, Inject, Press, Protocol, Sear

Array = NDArray[np.float64]
GEOMETRY = ("wall", "width", "length")
LEAST_WALL, LEAST_WIDTH = 0.1, 0.05


@dataclass(frozen=True)
class HeatDraws:
    """Compact summaries of many draws; d draws, a acts, n stations `z`.

    `peak_rise`, `above_47`, `cem43` (d, n) at the root surface; by act (d, a): `front` [mm, z], `act_rise` [K],
    `act_apical` [deg C], `cooled` [s], see `ActHeat`; NaN for an act that was not reached.
    """

    z: Array
    peak_rise: Array
    above_47: Array
    cem43: Array
    front: Array
    act_rise: Array
    act_apical: Array
    cooled: Array

    @property
    def surface_rise(self) -> Array:
        """Greatest rise at the root surface of each draw, (d,), K."""
        return np.asarray(self.peak_rise.max(axis=1))

    @property
    def surface_level(self) -> Array:
        """Its station, (d,), mm."""
        return np.asarray(self.z[np.argmax(self.peak_rise, axis=1)])

    @property
    def margin(self) -> Array:
        """What is left of the limit of 10 K, (d,), K."""
        return np.asarray(RISE_LIMIT - self.surface_rise)

    @property
    def apical(self) -> Array:
        """Greatest temperature of the gutta-percha at the end of the filling, (d,), deg C."""
        return np.asarray(np.nanmax(self.act_apical, axis=1))


def simulate_many(
    lumen: Lumen,
    protocol: Protocol,
    draws: Mapping[str, Array],
    *,
    materials: Materials | None = None,
    surroundings: Surroundings | None = None,
    resolution: Resolution | None = None,
    until: float | None = None,
    threads: int | None = None,
    each: Callable[[], None] | None = None,
) -> HeatDraws:
    """Run the protocol once for each draw; `each` is called when one is done, in any of the threads.

    `draws`: arrays of shape (d,) by name: any of `readings()`, and of `wall` and `width` (offsets of wall and widths
    [mm])
    and `length` (offset of all levels of the protocol [mm]). A `Sample` gives them: `{n: sample[n] for n in
    sample.readings}`.
    Raises ValueError for an unknown name or arrays of unequal length.
    """
    unknown = set(draws) - set(readings()) - set(GEOMETRY)
    if unknown:
        raise ValueError(
            f"the heat model draws no {', '.join(sorted(unknown))}; it knows {', '.join((*readings(), *GEOMETRY))}"
        )
    sizes = {len(values) for values in draws.values()}
    if len(sizes) != 1:
        raise ValueError(f"all draws must have the same length, not {sorted(sizes)}")
    count = sizes.pop()
    base = materials or Materials()
    around, grid = surroundings or Surroundings.tissue(), resolution or Resolution.quick()
    end = protocol.seconds if until is None else until
    acts = len(protocol.acts)
    z = np.array(lumen.z, dtype=float)
    along = np.empty((3, count, len(z)))
    by_act = np.full((4, count, acts), np.nan)

    def one(d: int) -> None:
        values = {name: float(draws[name][d]) for name in draws}
        own = replace(base, **{n: v for n, v in values.items() if n not in GEOMETRY})
        shape = _moved(lumen, values.get("wall", 0.0), values.get("width", 0.0))
        run = prepare(shape, shifted(protocol, values.get("length", 0.0)), own, around, grid)
        log = run.go(end, 1e9, 0, False)
        along[:, d] = stations_of(run.grid, z, np.stack([log.row[PEAK], log.row[ABOVE], log.row[DOSE]]))
        reached = log.acts[:acts, 0] < 1e29
        by_act[:, d, reached] = log.acts[:acts][reached][:, [0, 1, 3, 4]].T
        if each is not None:
            each()

    if count:
        one(0)
    workers = min(threads or os.cpu_count() or 1, max(count - 1, 1))
    if workers == 1:
        for d in range(1, count):
            one(d)
    else:
        with ThreadPoolExecutor(workers) as pool:
            list(pool.map(one, range(1, count)))
    by_act[2][by_act[2] < -1e29] = np.nan
    by_act[3][by_act[3] > 1e29] = np.inf
    return HeatDraws(z, *along, *by_act)


def shifted(protocol: Protocol, offset: float) -> Protocol:
    """The protocol with all its levels moved by `offset` mm coronally."""
    if offset == 0.0:
        return protocol
    moved: list[Act] = []
    for act in protocol.acts:
        match act:
            case Sear() | Bite():
                moved.append(replace(act, level=act.level + offset))
            case Heat() | Press():
                moved.append(replace(act, stop=act.stop + offset))
            case Inject():
                moved.append(replace(act, bottom=act.bottom + offset, top=act.top + offset))
            case _:
                moved.append(act)
    return Protocol(tuple(moved))


def _moved(lumen: Lumen, wall: float, width: float) -> Lumen:
    """The lumen with offsets of wall and widths; neither falls below a least size."""
    minor, major = (np.maximum(w + width, LEAST_WIDTH) for w in (lumen.minor, lumen.major))
    area = lumen.area * (minor * major) / (lumen.minor * lumen.major)
    return replace(
        lumen, minor=minor, major=major, area=area, wall=np.maximum(lumen.wall + wall - width / 2, LEAST_WALL)
    )
