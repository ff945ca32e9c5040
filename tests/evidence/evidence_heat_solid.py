"""The solid heat model beside closed forms, a finite-element library, the (r, z) model, and published orderings."""

from dataclasses import replace
from functools import cache

import numpy as np
from scipy.special import erfc

from canalwright import heat
from canalwright.anatomy.lumen import Lumen
from canalwright.heat import Materials, example, reference, solid
from canalwright.heat.resolution import Resolution
from canalwright.heat.solid import SolidStory, Voxels
from canalwright.heat.solid.reference import ReferenceB, problem_b
from canalwright.heat.solid.space import Space, axis
from canalwright.protocol import Protocol
from tests.evidence.table import Check
from tests.support import heat_brick
from tests.support.heat_box import Box

ROOM = "heat"
K, C = 0.6, 3.0e6
CELLS = Voxels(voxel=0.1, along=0.25, growth=1.5, widest=0.3)
FURCAL, OTHER = 0.9, 1.8
CARSLAW = "Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959"


@cache
def hollow(width: float, seconds: float) -> float:
    """Rise at r 1.5 mm in a hollow cylinder 0.5 / 2.5 mm, inside stepped by 163 K, outside held; square cells."""
    side = axis(-2.7, 2.7, -2.7, 2.7, width, 1.0)
    space = Space(side, side, np.array([-1.0, 0.0, 1.0, 2.0]))
    x, y, z = space.centres()
    r = np.hypot(y[None, :, None], x[None, None, :]) + 0 * z[:, None, None]
    box = Box(space, K, C, closed="z", tolerance=0.005).hold(r - 0.5, 163.0).hold(2.5 - r, 0.0).to(seconds)
    ring = np.abs(r[1] - 1.5) < 0.15
    return float(np.polyval(np.polyfit(r[1][ring], box.t[1][ring], 3), 1.5))


def hollow_extrapolated(seconds: float) -> float:
    """From cells of 0.05 and 0.025 mm by Richardson, order 2."""
    coarse, fine = hollow(0.05, seconds), hollow(0.025, seconds)
    return 37.0 + fine + (fine - coarse) / 3


@cache
def sphere(seconds: float, radius: float) -> float:
    """Temperature outside a sphere of 0.5 mm held at 200 deg C, in the open."""
    side = axis(-1.1, 1.1, -12.0, 12.0, 0.05, 1.2, widest=1.5, most=1.5)
    space = Space(side, side, side)
    x, y, z = space.centres()
    r = np.sqrt(x[None, None, :] ** 2 + y[None, :, None] ** 2 + z[:, None, None] ** 2)
    box = Box(space, K, C, tolerance=0.01).hold(r - 0.5, 163.0).to(seconds)
    ring = np.abs(r - radius) < 0.08
    return 37.0 + float(np.polyval(np.polyfit(1 / r[ring], box.t[ring], 2), 1 / radius))


def outside_sphere(seconds: float, radius: float) -> float:
    return float(37.0 + 163.0 * 0.5 / radius * erfc((radius - 0.5) / (2 * np.sqrt(K / C * 1e6 * seconds))))


@cache
def both() -> tuple[ReferenceB, reference.ReferenceA]:
    return problem_b(), reference.problem_a(Resolution(radial=0.025, axial=0.0125, growth=1.1, tolerance=0.01))


def worst(name: str) -> float:
    b, a = both()
    return float(np.abs(getattr(b, name) - getattr(a, name)).max())


@cache
def uneven() -> Lumen:
    """An invented root whose wall is thin towards the furcation."""
    lumen = example.lumen()
    return replace(lumen, wall=np.full(lumen.size, FURCAL))


@cache
def furcal(flow: bool) -> SolidStory:
    protocol = Protocol(example.protocol(3, 0).acts)
    lost = Materials() if flow else replace(Materials(), ligament_perfusion=0.0, bone_perfusion=0.0)
    walls = solid.eccentric(uneven(), OTHER, 0.0)
    beside = solid.Neighbour(distance=5.0, angle=0.0, radius=1.6)
    root = solid.from_lumen(uneven(), walls=walls, neighbour=beside, materials=lost, voxels=CELLS)
    return solid.simulate(root, protocol, materials=lost, voxels=CELLS, every=1e9)


def side(flow: bool, quarter: int) -> float:
    values = furcal(flow).surface
    at = np.mod(values.angle - 45.0 + 90.0, 360.0) // 90.0 == quarter
    return float(values.peak_rise[at].max())


def level_third() -> float:
    """Where the hottest place lies, as a share of the canal's length from the terminus."""
    return furcal(True).surface_level / 16.0


@cache
def round_root() -> float:
    """Greatest difference of the peak rise between solid and (r, z), by level 1 to 15 mm."""
    lumen, protocol = example.lumen(), example.protocol(2, 1)
    ours = solid.simulate(solid.from_lumen(lumen, crown=0.0, voxels=CELLS), protocol, voxels=CELLS, every=1e9)
    flat = heat.simulate(lumen, protocol, resolution=Resolution(radial=0.05, axial=0.25, growth=1.15, tolerance=0.05))
    row = np.clip((ours.surface.station / 0.25).astype(int), 0, 63)
    mean = np.bincount(row, ours.surface.peak_rise, 64) / np.maximum(np.bincount(row, minlength=64), 1)
    z = (np.arange(64) + 0.5) * 0.25
    return float(np.abs(mean - np.interp(z, flat.z, flat.peak_rise))[4:60].max())


CHECKS = [
    Check(
        ROOM, f"solid: hollow cylinder, {t:g} s, r 1.5 mm", lambda t=t: hollow_extrapolated(t), theirs, 0.02,
        "four digits of the rise; cells of 0.05 and 0.025 mm, extrapolated: the cylinders cut square cells askew", "deg C", CARSLAW,
        "closed form", "k 0.6, alpha 2e-7; inside 0.5 mm stepped to 200, outside 2.5 mm held at 37",
    )
    for t, theirs in ((2.0, 63.04), (10.0, 88.12))
] + [
    Check(
        ROOM, f"solid: outside a sphere of 0.5 mm, 5 s, r {r:g} mm", lambda r=r: sphere(5.0, r), outside_sphere(5.0, r), 0.5,
        "cells of 0.05 mm, not extrapolated", "deg C", CARSLAW, "closed form", "k 0.6, alpha 2e-7, sphere held at 200",
    )
    for r in (1.0,)
] + [
    Check(
        ROOM, "solid: layers round a hot pin, greatest difference at five places", heat_brick.difference, 0.0, 0.3,
        "the aim of the model; both sides extrapolated from two widths", "K", "scikit-fem 12, trilinear elements", "reference library",
        "4 x 4 x 4 mm, dentine, ligament, bone, perfused; pin at 120 deg C for 4 s",
    ),
    Check(
        ROOM, "solid: reference problem, root surface, greatest difference in 60 s", lambda: worst("surface"), 0.0, 0.15,
        "cells from 0.05 mm against the (r, z) model's finest; voxels of 0.1 mm by the cell's centre differ by 0.46 K", "K",
        "canalwright.heat.reference, itself checked against libraries", "reference library", "carrier at 200 deg C for 3 s",
    ),
    Check(
        ROOM, "solid: reference problem, axis 1 to 5 mm below the tip, greatest difference", lambda: worst("axis"), 0.0, 0.2,
        "as above; voxels by the cell's centre differ by 0.76 K", "K",
        "canalwright.heat.reference, itself checked against libraries", "reference library", "carrier at 200 deg C for 3 s",
    ),
    Check(
        ROOM, "solid: round root, whole protocol, peak rise by level against (r, z)", round_root, 0.0, 0.1,
        "the aim: one protocol object drives both", "K", "canalwright.heat", "reference library", "invented canal, voxels 0.1 mm",
    ),
    Check(
        ROOM, "solid: furcal side less the opposite side, greatest rise", lambda: side(True, 0) - side(True, 2), (0.5, 40.0), 0.0,
        "an ordering", "K", "finite elements of a mandibular first molar from micro-CT, J Endod 2018", "read in an abstract",
        "invented: wall 0.9 mm towards the furcation, 1.8 opposite; a root beside it at 5 mm",
    ),
    Check(
        ROOM, "solid: the same without blood flow", lambda: side(False, 0) - side(False, 2), (0.5, 40.0), 0.0, "an ordering", "K",
        "finite elements of a mandibular first molar from micro-CT, J Endod 2018", "read in an abstract", "as above",
    ),
    Check(
        ROOM, "solid: level of the hottest place, share of the length", level_third, (1 / 3, 2 / 3), 0.05,
        "middle third; a row of cells is 0.016", "1", "finite elements of a mandibular first molar from micro-CT, J Endod 2018",
        "read in an abstract", "as above",
    ),
    Check(
        ROOM, "solid: rise without blood flow less with it", lambda: furcal(False).surface_rise - furcal(True).surface_rise,
        (0.0, 20.0), 0.0, "an ordering: flow cools", "K", "finite elements of a mandibular first molar from micro-CT, J Endod 2018",
        "read in an abstract", "as above",
    ),
    Check(
        ROOM, "solid: hottest bone with blood flow", lambda: furcal(True).bone_peak, (37.0, 47.0), 0.0,
        "with flow every peak on the bone side stayed under 47", "deg C",
        "finite elements of a mandibular first molar from micro-CT, J Endod 2018", "read in an abstract", "as above",
        miss="their walls and blood flow are not in the abstract; ours are invented. In our model flow takes away 0.2 K while heat "
        "passes the ligament in seconds, so that the wall decides, not the flow: with 0.9 mm of dentine bone passes 47 either way",
    ),
    Check(
        ROOM, "solid: hottest bone without blood flow", lambda: furcal(False).bone_peak, (47.0, 80.0), 0.0,
        "without flow it went above 47", "deg C", "finite elements of a mandibular first molar from micro-CT, J Endod 2018",
        "read in an abstract", "as above",
    ),
]  # fmt: skip
