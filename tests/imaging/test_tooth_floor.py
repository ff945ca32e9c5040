"""Where canals begin: a chamber's floor is told from an isthmus and from a canal that parts in two; an isthmus is told as one."""

import numpy as np
import pytest
from numpy.typing import NDArray

from canalwright.imaging.phantom.portals import IsthmusShape
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make, render
from canalwright.imaging.tooth.ends import dead_ends
from canalwright.imaging.tooth.floor import chamber_floor, parting, tops
from canalwright.imaging.tooth.isthmus import strips
from canalwright.imaging.tooth.outline import STEP, Tooth, find_tooth
from tests.imaging.scans import as_found

HIGH, WIDE = 60, 41
Z, Y, X = np.indices((HIGH, WIDE, WIDE))
MIDDLE = WIDE // 2
AWAY = 4
"""Half the distance of the two canals, nodes of 0.25 mm."""


def disc(y: float, low: int, high: int, radius: float = 0.3) -> NDArray[np.float64]:
    """Darkness of a canal of `radius` mm at row `y` from height `low` to `high` (nodes)."""
    rho = np.hypot(Y - y, X - MIDDLE) * STEP
    return np.asarray(np.clip(0.5 + (radius - rho) / 0.4, 0, 1) * (low <= Z) * (high > Z))


def sheet(low: int, high: int, dark: float, thick: float = 0.0) -> NDArray[np.float64]:
    """Between the two canals, `dark`, `thick` mm."""
    between = (abs(Y - MIDDLE) <= AWAY) & (abs(X - MIDDLE) * STEP <= thick / 2) & (low <= Z) & (high > Z)
    return np.asarray(dark * between)


def tooth(dark: NDArray[np.float64], cej: float | None = 50.0, furcated: int = 0) -> Tooth:
    """A tooth 8 mm wide of that darkness, parted in two roots below height `furcated`."""
    solid = np.hypot(Y - MIDDLE, X - MIDDLE) * STEP < 4.0
    solid &= ~((furcated > Z) & (abs(Y - MIDDLE) < 2))
    return Tooth(
        None, np.zeros(3), np.eye(3), solid, dark, (dark > 0.25) & solid, 1700.0, 1700.0, cej, (),  # type: ignore[arg-type]
    )  # fmt: skip


def way(top: int, low: int = 2, *, trunk: int = HIGH, side: int = 1) -> NDArray[np.int_]:
    """A way straight up beside the middle, from `trunk` on in it; end first."""
    heights = np.arange(low, top)
    return np.column_stack(
        [heights, np.where(heights < trunk, MIDDLE + side * AWAY, MIDDLE), np.full(len(heights), MIDDLE)]
    )


TWO = disc(MIDDLE + AWAY, 2, 58) + disc(MIDDLE - AWAY, 2, 58)


def test_a_chamber_opens_above_its_canals() -> None:
    """3 mm long and 1.5 mm wide above height 46, both canals below it: the floor is there."""
    made = tooth(np.maximum(TWO, sheet(46, 58, 1.0, 1.5)))
    ways = [way(58), way(58, side=-1)]
    assert parting(made, *ways) == 46
    assert chamber_floor(made, ways) == 46


def test_an_isthmus_is_no_floor_and_leaves_each_canal_its_own_top() -> None:
    """As dark as a sheet of a third of a voxel: two canals that run up to the crown by themselves."""
    made = tooth(np.maximum(TWO, sheet(30, 44, 0.35)))
    ways = [way(58), way(58, side=-1)]
    assert chamber_floor(made, ways) is None
    assert len(tops(made, np.where(made.pulp, 0.3, 0.0))) == 2


@pytest.mark.parametrize("parts", [20, 34, 44])
def test_a_canal_that_parts_in_two_begins_at_the_enamel(parts: int) -> None:
    """One trunk down to height `parts`, as wide as its two limbs: its parting is no floor, however high it lies."""
    limbs = disc(MIDDLE + AWAY, 2, parts) + disc(MIDDLE - AWAY, 2, parts)
    made = tooth(np.maximum(np.maximum(limbs, disc(MIDDLE, parts, 58)), sheet(parts, parts + 2, 1.0, 0.6)))
    ways = [way(58, trunk=parts), way(58, trunk=parts, side=-1)]
    assert parting(made, *ways) in range(parts - 2, parts + 3)
    assert chamber_floor(made, ways) is None


def test_where_roots_part_below_a_trunk_it_is_a_floor() -> None:
    """The same trunk above a furcation: the canals of two roots begin where they part, narrow as the chamber is."""
    parts = 40
    limbs = disc(MIDDLE + AWAY, 2, parts) + disc(MIDDLE - AWAY, 2, parts)
    dark = np.maximum(np.maximum(limbs, disc(MIDDLE, parts, 58)), sheet(parts, parts + 2, 1.0, 0.6))
    floor = chamber_floor(tooth(dark, furcated=30), [way(58, trunk=parts), way(58, trunk=parts, side=-1)])
    assert floor is not None and abs(floor - parts) <= 2


def test_a_room_far_below_the_enamel_of_a_single_root_is_no_chamber() -> None:
    wide = np.maximum(TWO, sheet(26, 58, 1.0, 1.5))
    ways = [way(58), way(58, side=-1)]
    assert chamber_floor(tooth(wide), ways) is None
    assert chamber_floor(tooth(wide, furcated=20), ways) == 26


def test_where_two_canals_join_is_no_dead_end() -> None:
    """Two orifices, one end: the fronts from both meet at the join."""
    far = np.full((5, 41, 80), np.inf)
    for n in range(30):
        far[2, 10, n] = far[2, 30, n] = 0.2 * n
    for n in range(10):
        far[2, 11 + n, 29] = far[2, 29 - n, 29] = 0.2 * (30 + n)
    far[2, 20, 29:60] = 0.2 * (39 + np.arange(31))
    (end,) = dead_ends(far)
    assert end == (2, 20, 59)


def test_an_isthmus_between_two_canals_is_told_where_it_is() -> None:
    """A sheet of 0.15 mm from 4 to 6.5 mm at 0.15 mm voxels, seen by its greys; none where there is none."""
    one = CanalShape(apical=0.34, taper=0.02, ratio=(1.2, 1.2), aside=(0.0, 0.8), bend=8.0, turn=0.0)
    other = CanalShape(apical=0.34, taper=0.02, ratio=(1.2, 1.2), aside=(0.0, -0.8), bend=8.0, turn=0.0)
    root = RootShape(height=10.0, half=(1.5, 2.3), crest=7.5, cej=9.0)
    for sheets in ((IsthmusShape(4.0, 6.5, 0.15),), ()):
        made = make((one, other), root, isthmuses=sheets)
        scan = render(made, Scanner(voxel=0.15, blur=0.12, noise=50, oversample=2, tilt=(5.0, -4.0)), 3)
        true = made.truth[0]
        seen = find_tooth(scan, true.centre[60] + [0.9, 0.0, 0.0])
        told = strips(seen, as_found(true, "one"), as_found(made.truth[1], "other"))
        if not sheets:
            assert told == []
            continue
        ((low, high),) = told
        heights = np.interp([low, high], true.z, true.centre[:, 2])
        assert heights == pytest.approx([4.0, 6.5], abs=0.4)
