"""What a clinician corrects is replayed, measured again in the voxels, kept with its author, and undone by leaving it out."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import casefile
from canalwright.imaging import CorrectionError, FoundCanal, correct
from canalwright.imaging.corrections import (
    Correction,
    Kind,
    add_canal,
    add_portal,
    barrier,
    move_orifice,
    move_point,
    move_terminus,
    remove_canal,
    remove_portal,
)
from canalwright.imaging.corrections.plan import planned
from canalwright.imaging.found import FoundPortal
from canalwright.imaging.tracing.barrier import Barrier
from tests.imaging.scans import phantom, scan_of, traced

WHO = {"author": "A. Reader", "reason": "seen in the axial slices"}


def test_moved_terminus_is_measured_again_and_stays_where_it_was_set() -> None:
    """Set 1 mm short on the true axis: shorter by that, pinned, its doubt that of a point, its author told."""
    found, true = traced(1), phantom(1).truth[0]
    log = (move_terminus("canal", true.centre[10], **WHO),)
    memory: dict[object, FoundCanal] = {}
    (canal,) = correct(scan_of(1), (found,), log, memory=memory)
    assert canal.length == pytest.approx(found.length - 1.0, abs=0.15)
    assert np.linalg.norm(canal.terminus - true.centre[10]) < 0.1
    assert canal.length_error > found.length_error
    assert canal.corrected_by == ("A. Reader",)
    assert "corrected by A. Reader (move terminus" in canal.source
    assert any("stays where it was set" in note for note in canal.notes)
    assert np.interp(4.0, canal.lumen.z, canal.lumen.minor) == pytest.approx(
        np.interp(5.0, found.lumen.z, found.lumen.minor), abs=0.02
    )
    assert len(memory) == 1
    (again,) = correct(scan_of(1), (found,), log, memory=memory)
    assert np.array_equal(again.lumen.minor, canal.lumen.minor)
    assert correct(scan_of(1), (found,), log[:-1]) == (found,)


def test_plan_keeps_the_log_and_measures_only_what_was_touched() -> None:
    one, two = traced(1), replace(traced(1), name="other")
    ways = planned((one, two), (move_orifice("canal", one.orifice + [0.2, 0, 0], **WHO),))
    assert [way.again for way in ways] == [True, False]
    assert ways[0].stops[0] == pytest.approx(one.orifice + [0.2, 0, 0])
    assert ways[1].stops[0] == pytest.approx(two.orifice)
    gone = planned((one, two), (remove_canal("other", **WHO), add_canal("third", [one.orifice, one.terminus], **WHO)))
    assert [way.name for way in gone] == ["canal", "third"]


@settings(max_examples=20, deadline=None)
@given(at=st.integers(25, 80), shift=st.tuples(*(st.floats(-1.0, 1.0),) * 3))
def test_a_moved_point_is_on_the_way_and_the_rest_stays(at: int, shift: tuple[float, float, float]) -> None:
    """The new point lies between its neighbours; stops 2 mm and more away are those of before; moving it again replaces it."""
    found = traced(1)
    place = found.lumen.centre[at]
    new = place + np.array(shift)
    (before,) = planned((found,), ())
    (way,) = planned((found,), (move_point("canal", place, new, **WHO),))
    assert np.any(np.all(np.isclose(way.stops, new), axis=1))
    far = np.linalg.norm(before.stops - place, axis=1) > 2.5
    for stop in before.stops[far]:
        assert np.any(np.all(np.isclose(way.stops, stop), axis=1))
    (twice,) = planned((found,), (move_point("canal", place, new, **WHO), move_point("canal", new, place, **WHO)))
    assert not np.any(np.all(np.isclose(twice.stops, new), axis=1)) or np.linalg.norm(new - place) < 1e-3


def test_a_branch_is_added_and_removed_by_a_place_on_it() -> None:
    found = traced(1)
    portal = FoundPortal(3.0, found.lumen.centre[30] + np.outer([0.3, 0.8], [1.0, 0, 0]), 0.15, 0.03, 0.5, 0.1)
    with_one = replace(found, portals=(portal,))
    near = portal.path[1]
    (way,) = planned((with_one,), (remove_portal("canal", near, **WHO),))
    assert len(way.dropped) == 1 and not way.again
    assert correct(scan_of(1), (with_one,), (remove_portal("canal", near, **WHO),))[0].portals == ()
    with pytest.raises(CorrectionError, match=r"correction 1, remove portal .* no side branch within 1 mm"):
        planned((with_one,), (remove_portal("canal", near + 3.0, **WHO),))
    with pytest.raises(CorrectionError, match=r"add portal .* no branch shows along the points"):
        correct(scan_of(1), (found,), (add_portal("canal", portal.path, **WHO),))


def test_barriers_block_what_crosses_them() -> None:
    ball, disc = Barrier(np.zeros(3), 0.5), Barrier(np.zeros(3), 1.0, np.array([0.0, 0, 2.0]))
    start, stop = np.array([[0.0, 0, -2], [0.8, 0, -2], [3.0, 0, -2], [0.2, 0.0, 0.1]]), np.array(
        [[0.0, 0, 2], [0.8, 0, 2], [3.0, 0, 2], [0.2, 0.0, 3.0]]
    )  # fmt: skip
    assert ball.blocks(start, stop).tolist() == [True, False, False, True]
    assert disc.blocks(start, stop).tolist() == [True, True, False, False]
    assert disc.shuts(np.array([[0.1, 0, 0.05], [0.1, 0, 0.5], [1.5, 0, 0]]), 0.1).tolist() == [True, False, False]
    found = traced(1)
    (way,) = planned((found,), (barrier(found.lumen.centre[50], 1.0, normal=(0, 0, 1), **WHO),))
    assert way.again and len(way.barriers) == 1 and len(way.stops) < len(planned((found,), ())[0].stops)


@pytest.mark.parametrize(
    ("made", "say"),
    [
        (lambda: move_terminus("", (0, 0, 0), **WHO), "no canal named"),
        (lambda: move_terminus("canal", (0, 0, np.nan), **WHO), "not three numbers"),
        (lambda: add_canal("new", [(0, 0, 0)], **WHO), "1 points given; allowed: 2 to 60"),
        (lambda: barrier((0, 0, 0), -1.0, **WHO), r"radius -1.0 mm; allowed: above 0 to 15 mm"),
        (lambda: remove_canal("canal", author=" ", reason="why"), "author ' '; allowed: 1 to 200 characters"),
        (lambda: remove_canal("canal", author="A", reason=""), "reason ''"),
        (lambda: Correction(Kind.REMOVE_CANAL, "c", (), "A", "b", datetime(2026, 1, 1)), "has no zone"),
    ],
    ids=["canal", "nan", "points", "radius", "author", "reason", "zone"],
)
def test_what_cannot_be_is_said_in_one_line(made: object, say: str) -> None:
    with pytest.raises(CorrectionError, match=say):
        made()  # type: ignore[operator]


def test_what_does_not_fit_the_canals_names_the_correction() -> None:
    found = traced(1)
    with pytest.raises(
        CorrectionError, match=r"correction 1, move terminus \(mesial\): no canal of this name; there are"
    ):
        planned((found,), (move_terminus("mesial", (0, 0, 0), **WHO),))
    with pytest.raises(CorrectionError, match=r"the point lies .* mm from the canal; pick one on its line"):
        planned((found,), (move_point("canal", found.orifice + 9.0, found.orifice, **WHO),))
    with pytest.raises(CorrectionError, match="there is a canal of this name"):
        planned((found,), (add_canal("canal", [found.orifice, found.terminus], **WHO),))


def test_corrections_are_kept_in_the_case_with_author_and_provenance(tmp_path: Path) -> None:
    """Case out and in again: same corrections, same digest; the sources of what they shaped name the author; old files load."""
    found = replace(traced(1), name="distal", corrected_by=("A. Reader",))
    stamp = datetime(2026, 1, 31, 9, 30, tzinfo=UTC)
    log = (
        replace(move_terminus("distal", found.terminus, **WHO), time=stamp),
        replace(barrier(found.orifice, 0.8, normal=(0, 0, 1), **WHO), time=stamp),
    )
    case = casefile.from_found(
        (found,), tooth=36, label="corrected", finishing_file=(30, 0.04), method="cone-beam scan", corrections=log,
        above_orifice=9.0,
    )  # fmt: skip
    path = tmp_path / "case.toml"
    casefile.dump(case, path)
    again = casefile.load(path)
    assert again.digest == case.digest
    assert [c.kind for c in again.corrections] == [Kind.MOVE_TERMINUS, Kind.BARRIER]
    assert again.corrections[0].author == "A. Reader" and again.corrections[0].time == stamp
    canal = again.canals[0]
    assert "corrected by A. Reader (move terminus, 2026-01-31)" in canal.sources["wall_mm"].detail
    assert "corrected by A. Reader" in canal.length.source.detail
    assert casefile.demo_case().corrections == ()
    own = tmp_path / "log.toml"
    casefile.dump_corrections(log, own)
    assert [c.points for c in casefile.load_corrections(own)] == [c.points for c in again.corrections]
    assert len(casefile.load_corrections(path)) == 2
    broken = path.read_text().replace('time = "2026-01-31T09:30:00Z"', 'time = "yesterday"', 1)
    with pytest.raises(casefile.CaseError, match=r"correction\[0\].time = 'yesterday'"):
        casefile.loads(broken)


def test_side_branches_enter_the_case() -> None:
    """Level, width with its error, kind and length of a found branch are those of the canal's portal."""
    found = traced(1)
    portal = FoundPortal(
        3.04, found.lumen.centre[30] + np.outer([0.3, 0.8], [1.0, 0, 0]), 0.15, 0.03, 0.5, 0.1, "delta", "mesial"
    )
    case = casefile.from_found(
        (replace(found, name="distal", portals=(portal,)),), tooth=36, label="branch", finishing_file=(30, 0.04),
        method="micro-CT", above_orifice=9.0,
    )  # fmt: skip
    (seen,) = case.canals[0].portals
    assert (seen.z, seen.kind, seen.direction, seen.length) == (3.04, "delta", "mesial", 0.5)
    assert seen.diameter.value == 0.15
    assert seen.diameter.error == pytest.approx(0.2)
