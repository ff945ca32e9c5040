"""The wall towards the sides of the tooth reaches the case as it was measured, and no side is made up."""

from dataclasses import replace

import numpy as np
import pytest

from canalwright import casefile
from canalwright.anatomy.tooth import Tooth
from canalwright.imaging import called, side_walls
from tests.imaging.scans import phantom, traced

MESIAL, BUCCAL = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)


def test_wall_by_side_is_the_phantoms_own() -> None:
    """Along x from the true centre: distance of the root's surface less that of the lumen's."""
    found, shape = traced(1), phantom(1)
    walls = {w.side: w for w in side_walls(found, Tooth(36), mesial=MESIAL)}
    assert set(walls) == {"mesial", "distal", "buccal", "lingual"}
    for side, way in (("mesial", np.array(MESIAL)), ("distal", -np.array(MESIAL))):
        for level, value in zip(walls[side].levels, walls[side].values, strict=True):
            i = int(np.argmin(np.abs(found.lumen.z - level)))
            tangent = np.gradient(found.lumen.centre, found.lumen.z, axis=0)[i]
            flat = way - (way @ tangent) * tangent
            ray = found.lumen.centre[i] + np.arange(0, 5, 0.005)[:, None] * flat / np.linalg.norm(flat)
            outer = int(np.argmax(shape.root.level(ray) > 0))
            inner = int(np.argmax(shape.canals[0].level(ray) > 0))
            if 2.0 < level < 7.0:
                assert abs(value - 0.005 * (outer - inner)) < 0.15


def test_without_a_direction_only_the_furcation_is_known_and_only_with_another_root() -> None:
    found = traced(1).named("distal")
    assert side_walls(found, Tooth(36)) == ()
    away = np.array([6.0, 0.0, 0.0])
    lumen = replace(found.lumen, centre=found.lumen.centre + away)
    other = replace(
        found, name="mesiobuccal", lumen=lumen, orifice=found.orifice + away, terminus=found.terminus + away
    )
    (wall,) = side_walls(found, Tooth(36), others=[other])
    assert wall.side == "mesial"
    across = {w.side: w for w in side_walls(found, Tooth(36), mesial=MESIAL, others=[other])}
    middle = slice(2, -4)
    assert np.allclose(wall.values[middle], across["mesial"].values[middle], atol=0.15)
    assert side_walls(replace(found, surface=None), Tooth(36), mesial=MESIAL) == ()
    with pytest.raises(ValueError, match="do not fit tooth 36"):
        side_walls(found, Tooth(36), mesial=MESIAL, buccal=tuple(-np.array(_buccal())))


def _buccal() -> tuple[float, ...]:
    from canalwright.imaging.mesh.names import directions

    known = directions(Tooth(36), traced(1).crown, np.array(MESIAL), None)
    assert known is not None
    return tuple(known.buccal)


def test_case_keeps_the_wall_by_side() -> None:
    found = traced(1).named("distal")
    walls = side_walls(found, Tooth(36), mesial=MESIAL)
    case = casefile.from_found(
        [found], tooth=36, label="x", finishing_file=(30, 0.04), wall_sides={"distal": walls}, invented=True
    )
    (canal,) = casefile.loads(casefile.dumps(case)).canals
    kept = {w.side: w for w in canal.sides}
    assert kept["mesial"].values == walls[0].values


def test_fewer_canals_than_usual_are_said() -> None:
    (one,) = called([traced(1)], Tooth(36))
    assert any("1 canal found where 3 are usual" in note for note in one.notes)
    (single,) = called([traced(1)], Tooth(33))
    assert not any("are usual" in note for note in single.notes)
