"""How canals of a root join and part: every type of Vertucci's from phantoms made that way, and what has no type."""

from functools import cache

import numpy as np
import pytest

from canalwright.anatomy.lumen import Lumen
from canalwright.imaging import FoundCanal, find_canals, trace
from canalwright.imaging.joins import joined
from canalwright.imaging.phantom.scan import CanalShape, Phantom, RootShape, Scanner, make, render
from canalwright.imaging.vertucci import configuration, roots
from tests.imaging.scans import as_found

END = (-np.inf, 2.5)
MIDDLE = (5.5, 8.0)
TOP = (10.5, np.inf)
TYPES = {
    "I": (((-np.inf, np.inf),), (1,)),
    "II": ((END,), (2, 1)),
    "III": ((END, TOP), (1, 2, 1)),
    "IV": ((), (2,)),
    "V": (((8.5, np.inf),), (1, 2)),
    "VI": ((MIDDLE,), (2, 1, 2)),
    "VII": (((5.0, 6.5), TOP), (1, 2, 1, 2)),
}


def shapes(together: tuple[tuple[float, float], ...]) -> tuple[CanalShape, CanalShape]:
    one = CanalShape(apical=0.3, taper=0.02, ratio=(1.2, 1.2), aside=(0.0, 0.75), bend=8.0, turn=0.0)
    two = CanalShape(
        apical=0.3, taper=0.02, ratio=(1.2, 1.2), aside=(0.0, -0.75), bend=8.0, turn=0.0, together=together
    )
    return one, two


@cache
def phantom(kind: str) -> Phantom:
    return make(shapes(TYPES[kind][0]), RootShape(height=12.0, half=(1.5, 2.2)))


@pytest.mark.parametrize("kind", list(TYPES))
def test_each_type_is_told_from_its_canals(kind: str) -> None:
    canals = [as_found(t, f"canal {i}") for i, t in enumerate(phantom(kind).truth)]
    told = configuration(canals)
    assert told.sequence == TYPES[kind][1]
    assert told.type == kind
    assert len(told.changes) == len(told.sequence) - 1
    assert str(told).startswith(f"Vertucci type {kind} (")


def test_three_canals_and_what_has_no_type() -> None:
    one, two = shapes(())
    three = CanalShape(apical=0.3, taper=0.02, ratio=(1.0, 1.0), aside=(0.0, 0.0), bend=8.0)
    canals = [as_found(t, str(i)) for i, t in enumerate(make((one, two, three), RootShape(half=(1.5, 2.4))).truth)]
    assert configuration(canals).type == "VIII"
    meets = CanalShape(apical=0.3, taper=0.02, ratio=(1.0, 1.0), aside=(0.0, 0.0), bend=8.0, together=(END,))
    canals = [as_found(t, str(i)) for i, t in enumerate(make((one, two, meets), RootShape(half=(1.5, 2.4))).truth)]
    told = configuration(canals)
    assert (told.sequence, told.type) == ((3, 2), "other")
    assert str(told).startswith("no type of Vertucci's (3-2)")


def test_canals_of_one_root_are_told_from_those_of_two() -> None:
    near = [as_found(t, str(i)) for i, t in enumerate(phantom("IV").truth)]
    shift = np.array([0.0, 6.0, 0.0])
    far = as_found(phantom("I").truth[0], "far")
    far = FoundCanal(**{**far.__dict__, "lumen": Lumen(**{**far.lumen.__dict__, "centre": far.lumen.centre + shift}),
                        "orifice": far.orifice + shift, "terminus": far.terminus + shift})  # fmt: skip
    assert [[c.name for c in root] for root in roots([*near, far])] == [["0", "1"], ["far"]]


@pytest.mark.parametrize("kind", ["II"])
def test_traced_canals_give_the_type_and_where_they_part(kind: str) -> None:
    """Seen at 0.2 mm voxels: type as made, the change within 1 mm of where the lumens touch in truth, joins marked."""
    made = phantom(kind)
    scan = render(made, Scanner(voxel=0.2, blur=0.16, noise=60, oversample=2, tilt=(6.0, 4.0)), 3, margin=1.0)
    canals = [trace(scan, t.orifice, t.centre[2], name=str(i)) for i, t in enumerate(made.truth)]
    told, truth = configuration(canals), configuration([as_found(t, str(i)) for i, t in enumerate(made.truth)])
    assert told.type == kind
    assert told.changes[0] == pytest.approx(truth.changes[0], abs=1.0)
    one, two = joined(canals)
    assert (one.join, two.joined) == (None, "0")
    assert two.join is not None and two.join == pytest.approx(told.changes[0], abs=1.0)


def test_a_canal_that_parts_in_two_is_told_from_one_click_with_its_trunk() -> None:
    """Vertucci's type V: the parting, 4 mm below the enamel, is no chamber floor; both canals begin in the trunk above it."""
    made = make(shapes(TYPES["V"][0]), RootShape(height=12.0, half=(1.5, 2.2), crest=9.5, cej=11.0))
    scan = render(made, Scanner(voxel=0.2, blur=0.16, noise=60, oversample=2, tilt=(6.0, 4.0)), 5, margin=1.0)
    found = find_canals(scan, made.truth[0].centre[60] + [0.9, 0.0, 0.0])
    told, truth = configuration(found), configuration([as_found(t, str(i)) for i, t in enumerate(made.truth)])
    assert told.type == "V"
    assert told.changes[0] == pytest.approx(truth.changes[0], abs=1.0)
    assert all(canal.orifice[2] > 10.0 for canal in found)
