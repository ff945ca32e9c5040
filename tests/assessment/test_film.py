"""A filling read off a radiograph: where it ends, its voids, its taper; what cannot be read is refused in one line."""

import numpy as np
import pytest

from canalwright import casefile, planning
from canalwright.assessment import Sight, film
from canalwright.assessment.film.marks import FilmError
from canalwright.imaging.phantom.filling import Bubble, Filling
from canalwright.imaging.phantom.projection import Beam, Projected, film_of
from canalwright.imaging.phantom.scan import CanalShape, RootShape, make
from canalwright.imaging.radiograph.image import Film, Scale
from canalwright.planning import Choices
from tests.assessment import study


def _shot(filling: Filling, taper: float = 0.06) -> Projected:
    shape = CanalShape(0.4, taper, (1.1, 1.2), 0.0, (0.0, 0.0), 8.0, 5.0, 0.0)
    return film_of(make((shape,), RootShape(height=9.0, half=(1.3, 1.5))), filling, Beam(jaw=8.0), 3, cell=0.14)


def _read(shot: Projected, **more: object) -> film.FilmReading:
    line = [tuple(shot.at(z)) for z in (7.0, 3.5, 0.2)]
    return film.read(shot.film, shot.scale, film.Marks.of(line, **more), tooth=11, canal="only")  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def short() -> tuple[Projected, film.FilmReading]:
    shot = _shot(Filling(1.2, 7.5, (Bubble(4.0, 0.45),)))
    return shot, _read(shot)


def test_the_end_is_found_within_a_tenth_of_a_millimetre(short: tuple[Projected, film.FilmReading]) -> None:
    shot, found = short
    assert np.linalg.norm(found.end - shot.at(1.2)) * shot.scale.value < 0.1
    q = found.assessment.to_terminus
    assert q.low <= study.true_short(shot, Filling(1.2, 7.5)) <= q.high
    assert q.value == pytest.approx(study.true_short(shot, Filling(1.2, 7.5)), abs=0.2)


def test_the_void_is_seen_where_it_is_and_spoils_the_grade(short: tuple[Projected, film.FilmReading]) -> None:
    shot, found = short
    (void,) = found.assessment.voids
    shown = np.linalg.norm(found.void_places[0] - shot.at(4.0)) * shot.scale.value
    assert shown < 0.2
    assert void.size.low <= 0.45 <= void.size.high
    assert found.assessment.grade.word == "inadequate"
    length, density, taper = found.assessment.grade.criteria
    assert (length.met, density.met, taper.met) == (True, False, True)


def test_what_is_too_small_is_not_seen_and_told_so(short: tuple[Projected, film.FilmReading]) -> None:
    found = short[1].assessment
    assert found.not_seen[0].startswith(f"voids smaller than {found.smallest_void.value:.2f} mm")
    assert 0.1 < found.smallest_void.value < 0.6
    assert found.void_share is not None and found.void_share.high > found.void_share.value > 0


def test_marks_of_the_reader_go_first(short: tuple[Projected, film.FilmReading]) -> None:
    shot, _ = short
    moved = _read(shot, end=tuple(shot.at(2.5)), terminus=tuple(shot.at(0.0))).assessment
    assert moved.to_terminus.value == pytest.approx(2.5 * 0.99, abs=0.15)
    assert "terminus marked" in moved.to_terminus.source.detail


def test_an_outline_marked_by_the_reader_ends_the_root(short: tuple[Projected, film.FilmReading]) -> None:
    shot, _ = short
    foot, over = shot.at(0.0), np.array([25.0, 0.0])
    found = _read(shot, outline=[tuple(foot - over), tuple(foot), tuple(foot + over)]).assessment
    assert found.to_terminus.value == pytest.approx(1.2 * 0.99, abs=0.15)
    assert "outline marked" in found.to_terminus.source.detail
    with pytest.raises(FilmError, match="does not meet the root's outline: mark the terminus"):
        _read(shot, outline=[(1.0, 1.0), (2.0, 1.0), (3.0, 1.0)])


def test_a_film_is_laid_beside_the_plan_station_by_station(short: tuple[Projected, film.FilmReading]) -> None:
    """Where the plan fills and where it does not; another canal's plan is told not to lie well."""
    shot, _ = short
    plan = planning.plan(casefile.demo_case().canals[2], casefile.generic_tray(), Choices(draws=64))
    line = [tuple(shot.at(z)) for z in (7.0, 3.5, 0.2)]
    found = film.read(shot.film, shot.scale, film.Marks.of(line), tooth=46, canal="distal", plan=plan).assessment
    bottom = plan.canal.end + plan.cone.short.value
    for station in found.stations:
        assert station.planned is not None and station.planned.low <= station.planned.value <= station.planned.high
        if station.low >= bottom and station.high <= plan.canal.length.value - plan.backfill_top.value:
            assert station.planned.value == 1.0
    first = found.stations[0].planned
    assert first is not None and first.value == pytest.approx(1.0 - np.clip(bottom, 0.0, 1.0))
    assert first.low < first.high, "where the cone ends is known to an interval"
    assert len(found.portals) == len(plan.canal.portals)


def test_filling_beyond_the_root_counts_as_beyond() -> None:
    found = _read(_shot(Filling(0.0, 7.5, (), (), 0.7))).assessment
    assert found.beyond.sight is Sight.THERE and found.beyond.area is not None
    assert found.to_terminus.high < 0
    assert found.grade.criteria[0].met is False


def test_a_parallel_filling_has_no_taper() -> None:
    found = _read(_shot(Filling(1.0, 7.5), taper=0.0)).assessment
    assert found.grade.criteria[2].met is False
    assert found.taper is not None and abs(found.taper.value) < 0.01


def test_the_error_of_the_scale_widens_the_interval(short: tuple[Projected, film.FilmReading]) -> None:
    shot, found = short
    wide = Scale(shot.scale.value, 0.1 * shot.scale.value, "a guess")
    line = film.Marks.of([tuple(shot.at(z)) for z in (7.0, 3.5, 0.2)])
    other = film.read(shot.film, wide, line, tooth=11, canal="only").assessment.length_filled
    mine = found.assessment.length_filled
    assert other.high - other.low > 1.5 * (mine.high - mine.low)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ([[5, 5], [6, 6]], "shorter than 20 pixels"),
        ([[5, 5], [5000, 6]], "outside the picture"),
        ([[1, 2, 3]], "needs 2 or more points"),
    ],
    ids=["short", "outside", "no points"],
)
def test_marks_that_do_not_fit_are_refused_in_one_line(
    short: tuple[Projected, film.FilmReading], line: list[list[float]], told: str
) -> None:
    shot, _ = short
    with pytest.raises(film.FilmError, match=told) as caught:
        film.read(shot.film, shot.scale, film.Marks.of(line), tooth=11, canal="only")
    assert "\n" not in str(caught.value)


def test_a_film_without_a_filling_is_refused() -> None:
    rng = np.random.default_rng(0)
    noise = Film(rng.normal(1000, 20, (300, 200)).astype(np.float32))
    with pytest.raises(film.FilmError, match="no filling is seen"):
        film.read(noise, Scale(0.05, 0.0, "x"), film.Marks.of([[100, 20], [100, 250]]), tooth=11, canal="only")


def test_the_study_still_says_what_it_said() -> None:
    """Rows of the stored study, made anew."""
    for row in study.stored()["films"][:2]:
        again = study.film_row(row["seed"])
        assert again["short"] == pytest.approx(row["short"], abs=1e-6)
        assert again["found"] == pytest.approx(row["found"], abs=0.02)
