"""Protects: canals found in a scan or in meshes become a case file that gives the same canals again."""

import numpy as np
import pytest

from canalwright import casefile
from canalwright.anatomy import Lumen
from canalwright.imaging.found import FoundCanal, Quality
from canalwright.quantities import Origin


def found(name: str = "mesiobuccal", *, unseen: int = 0, join: float | None = None) -> FoundCanal:
    z = np.arange(111) * 0.1
    n = len(z)
    minor, major = 0.25 + 0.05 * z, 0.4 + 0.07 * z
    wall = 0.8 + 0.05 * z
    wall[:unseen] = np.nan
    across, up = np.tile([0.0, 1.0, 0.0], (n, 1)), np.outer(z, [0.0, 0.0, 1.0])
    return FoundCanal(
        name=name,
        lumen=Lumen(z, minor, major, up, across, wall, np.pi / 4 * minor * major),
        length=11.04,
        foramen=0.3,
        orifice=up[-1],
        terminus=up[0],
        width_error=np.full(n, 0.03),
        wall_error=np.full(n, 0.08),
        wall_direction=across,
        inscribed=minor,
        crown=np.array([0.0, 0.0, 1.0]),
        quality=Quality(0.8, ("coarse near the apex",)),
        join=join,
        joined="mesiolingual" if join is not None else "",
    )


def test_the_lumen_survives_writing_and_reading() -> None:
    case = casefile.from_found([found()], tooth=46, label="F-1", finishing_file=(30, 0.04), above_orifice=9.5)
    canal = casefile.loads(casefile.dumps(case)).canals[0]
    assert canal.native.minor == pytest.approx(found().lumen.minor, abs=1e-4)
    assert canal.native.wall == pytest.approx(found().lumen.wall, abs=1e-4)
    assert canal.length.value == pytest.approx(20.54)
    assert canal.working_length == pytest.approx(20.04)
    assert canal.foramen == 0.3
    assert (canal.errors["width"].error, canal.errors["wall"].error) == (0.03, 0.08)
    assert canal.sources["profile"].origin is Origin.SCAN
    assert "coarse near the apex" in [doubt.message for doubt in canal.notes]


def test_without_a_reference_point_the_length_is_marked_as_supposed() -> None:
    canal = casefile.from_found([found()], tooth=46, label="F-1", finishing_file=(30, 0.04)).canals[0]
    assert canal.length.source.origin is Origin.AVERAGE
    assert canal.length.error == 1.5


def test_a_wall_partly_unseen_is_filled_and_said() -> None:
    case = casefile.from_found([found(unseen=10)], tooth=46, label="F-1", finishing_file=(30, 0.04))
    assert np.isfinite(case.canals[0].native.wall).all()
    assert any("no wall found at 10 of 111" in doubt.message for doubt in case.canals[0].notes)


def test_a_wall_never_seen_is_the_average_and_said() -> None:
    canal = casefile.from_found([found(unseen=111)], tooth=46, label="F-1", finishing_file=(30, 0.04)).canals[0]
    assert canal.sources["wall_mm"].origin is Origin.AVERAGE
    assert canal.errors["wall"].source.origin is Origin.AVERAGE


def test_files_posts_and_joins_go_to_their_canals() -> None:
    case = casefile.from_found(
        [found(), found("distal", join=2.5)],
        tooth=46,
        label="F-1",
        finishing_file={"mesiobuccal": (25, 0.06), "distal": (40, 0.04)},
        cej_level={"mesiobuccal": 13.0, "distal": 12.5},
        post=["distal"],
    )
    assert [canal.file.name for canal in case.canals] == ["25/0.06", "40/0.04"]
    assert [canal.post for canal in case.canals] == [False, True]
    assert [canal.cej for canal in case.canals] == [13.0, 12.5]
    assert any("2.5 mm from the terminus" in doubt.message for doubt in case.canals[1].notes)
