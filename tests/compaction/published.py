"""The invented canals in which published studies are re-enacted for the evidence; temperatures from the heat model."""

from functools import cache

import numpy as np

from canalwright import compaction, heat
from canalwright.compaction import branches
from canalwright.compaction.materials import table
from canalwright.compaction.rheology import heating, lag, specific_volume
from canalwright.protocol import Bite, Heat, Inject, Pause, Place, Press, Protocol, Sear
from canalwright.quantities import Sample, draw
from tests.compaction import scene
from tests.compaction.reference import penetration

M = table({})[0]
LEVELS = (2.0, 5.0, 8.0)
SIDE = [scene.lateral(z, 0.15, 1.2) for z in LEVELS]
FIVE = [scene.lateral(z, 0.2, 1.5) for z in (2.0, 4.0, 6.0, 8.0, 10.0)]


@cache
def draws(portals: int = 3) -> Sample:
    return draw(compaction.readings(portals=SIDE if portals == 3 else FIVE), 127, 21)


@cache
def warm(oval: float = 1.0, sealed: bool = True, force: float = 20.0, wall: float = 1.4, size: float = 0.35):  # type: ignore[no-untyped-def]
    """Three rounds to 5 mm and three portions, pluggers 0.8 of the canal at their stops, in an invented canal."""
    canal = scene.lumen(size=size, oval=oval, wall=wall)
    plan = scene.protocol(force=force, snug=0.8, size=size)
    story = heat.simulate(canal, plan, until=plan.seconds + 60)
    return compaction.simulate_many(canal, SIDE, plan, story, draws(), sealed=sealed)


@cache
def cold(name: str, oval: float, sealed: bool = True):  # type: ignore[no-untyped-def]
    act = scene.protocol().acts[0]
    assert isinstance(act, Place)
    fill = compaction.single_cone if name == "single cone" else compaction.cold_lateral
    return fill(scene.lumen(oval=oval), SIDE, act, draws(), sealed=sealed)


@cache
def waves(single: bool) -> float:
    """Mean length of gutta-percha in five side canals, mm: several rounds or one wave to 5 mm."""
    canal, many = scene.lumen(), scene.protocol(snug=0.8)
    if single:
        plugger = scene.plugger(0.8 * (0.35 + 0.06 * 5.0), 0.0)
        backfill = tuple(act for act in many.acts[-9:] if isinstance(act, Inject | Press | Pause))
        wave = (Heat(scene.CARRIER, 5.5, 200.0, 3.0, 2.5), Bite(5.6), Pause(2.0), Press(plugger, 5.0, 20.0, 10.0))
        many = Protocol((Place(scene.CONE, 0.5), Sear(scene.CARRIER, scene.TOP, 200.0), *wave, Pause(6.0), *backfill))
    story = heat.simulate(canal, many, until=many.seconds + 30)
    return float(compaction.simulate_many(canal, FIVE, many, story, draws(5)).gutta_length[1:, 1:].mean())


def percent(filling, of: str, low: float = 0.0, high: float = np.inf) -> float:  # type: ignore[no-untyped-def]
    return 100 * float(np.median(filling.fill.share(of, low, high)))


def seen(filling, voxel: float) -> float:  # type: ignore[no-untyped-def]
    return 100 * float(np.median(filling.fill.seen(voxel).share("void")))


def fraction(at: float, filling) -> float:  # type: ignore[no-untyped-def]
    """Share of draws in which gutta-percha comes a tenth of a millimetre into the side canal at a level."""
    return float((filling.gutta_length[1:, 1 + LEVELS.index(at)] > 0.1).mean())


def apical_hold() -> float:
    press = next(p for p in warm().presses if p.act.stop == 5.0)
    return float(np.median(press.hold_at(0.0, 4.9, warm().z)))


def reference_ratio() -> float:
    arrived, soft = np.full(branches.CELLS, -1.0), np.zeros(branches.CELLS)
    ours = branches.advance_gutta(
        5.0, 5.0, 0.0, 70.0, 1.0, 40.0, 38.0, 0.2, 0.2, False, 2.0, 2.0, 0.0, arrived, soft, M
    )
    return float(ours / penetration(5.0, 5.0, 70.0, 40.0, 38.0, 0.2, 2.0, M))


def swelling(low: float, high: float) -> float:
    """Volume gained on heating from the cold, %."""
    return 100 * float(specific_volume(high, heating(high, M), M) / specific_volume(low, heating(low, M), M) - 1)


def loss(high: float, low: float) -> float:
    """Volume lost on cooling from the melt, %."""
    return 100 * float(1 - specific_volume(low, lag(1.0, low, M), M) / specific_volume(high, 1.0, M))


def squeeze(kilograms: float) -> float:
    """Shear yield k at which a disc 10 x 1.5 mm just gives way, MPa: F = pi R^2 k (sqrt 3 + 2 R / (3 h))."""
    return float(kilograms * 9.81 / (np.pi * 25.0 * (np.sqrt(3) + 2 * 5.0 / (3 * 1.5))))
