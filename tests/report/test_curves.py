"""Outcomes drawn: valid, self-contained, told in words, the same each time; few cases are refused in the picture's place."""

from dataclasses import replace

import pytest

from canalwright.records.outcomes import chart, kaplan_meier, published, summarise
from canalwright.report.curves import Line, chart_svg, curves_svg, refused_svg
from canalwright.report.outcomes import outcome_files, pictures, tables
from tests.report.drawing import boxes, parse, points, size_mm, with_class
from tests.report.practice import practice


def test_every_picture_is_valid_and_keeps_its_text_on_the_paper() -> None:
    rows = practice()
    for name, svg in pictures(rows, summarise(rows)).items():
        root = parse(svg)
        assert root.get("role") == "img"
        ids = {e.get("id") for e in root.iter() if e.get("id")}
        assert set((root.get("aria-labelledby") or "").split()) == ids, "title and description name the picture"
        assert "href" not in svg and "url(" not in svg and "<script" not in svg
        width, height = size_mm(root)
        for box in boxes(root):
            assert box.left >= -0.1 and box.right <= width + 0.1 and box.top >= 0 and box.bottom <= height, (name, box)


def test_pictures_on_one_page_share_no_id() -> None:
    rows = practice()
    ids = [e.get("id") for svg in pictures(rows, summarise(rows)).values() for e in parse(svg).iter() if e.get("id")]
    assert len(ids) == len(set(ids))


def test_survival_stands_beside_the_published_figure_and_is_told_in_words() -> None:
    rows = practice()
    svg = pictures(rows, summarise(rows))["survival"]
    assert len(with_class(parse(svg), "cw-published")) == 1
    assert "759 teeth" in svg and "Ng, Mann" in svg and "(94–97)" in svg
    assert "own, at risk" in svg


def test_the_curve_is_drawn_where_it_lies() -> None:
    """20 cases, one event at 12 months with 20 at risk: a single step from 100 to 95 % a year on."""
    curve = kaplan_meier([12.0] + [24.0] * 19, [True] + [False] * 19)
    root = parse(curves_svg("test", [Line("own", curve, 1.0)]))
    line = points(with_class(root, "cw-curve")[0][1].get("d") or "")
    xs, ys = zip(*line, strict=True)
    assert xs[1] == pytest.approx((xs[0] + xs[-1]) / 2, abs=0.01), "the step lies half way to the end at 24 months"
    assert ys[0] == ys[1] < ys[2] == ys[-1]


def test_nothing_is_drawn_beyond_where_five_are_at_risk() -> None:
    times = [float(i) for i in range(1, 31)]
    curve = kaplan_meier(times, [True] * 30)
    root = parse(curves_svg("test", [Line("own", curve, 1.0)]))
    line = points(with_class(root, "cw-curve")[0][1].get("d") or "")
    assert curve.until == 26.0
    assert len({x for x, _ in line}) == 27


def test_few_cases_are_refused_in_the_pictures_place() -> None:
    rows = practice(8)
    summary = summarise(rows)
    drawn = pictures(rows, summary)
    for name in ("survival", "lost", "healing", "chair-seconds"):
        assert "Not drawn" in drawn[name] and "too few" in drawn[name]
    assert set(tables(rows, summary)) == {"success"}
    assert "8 cases are too few for a percentage" in drawn["success"]


def test_a_chart_marks_signals_by_shape_and_word() -> None:
    rows = practice()
    wild = [replace(r, factors={**r.factors, "chair.seconds": 9000.0}) if r.case == "C-40" else r for r in rows]
    svg = chart_svg(chart(wild, "chair.seconds"), "chair time, s")
    assert "beyond" in {b.text for b in boxes(parse(svg))}
    assert "Change per 10 cases" in svg and "e+" not in svg


def test_a_chart_of_equal_values_lies_on_its_centre() -> None:
    """A mean of equal numbers differs from them by rounding: the points were drawn at the top and the centre at the bottom."""
    rows = [replace(r, factors={**r.factors, "chair.holds_kept": 0.9}) for r in practice()]
    svg = chart_svg(chart(rows, "chair.holds_kept"), "holds kept")
    bottom, top = (min(b.top for b in boxes(parse(svg)) if b.text == word) for word in ("0", "holds kept"))
    assert [b.text for b in boxes(parse(svg))].count("limit") == 0
    centre = next(b.top for b in boxes(parse(svg)) if b.text == "centre")
    assert top + 10 < centre < bottom - 10


def test_files_hold_pictures_and_the_numbers_behind_them() -> None:
    rows = practice()
    files = outcome_files(rows, summarise(rows))
    assert {"survival.svg", "survival.csv", "lost-endodontic.csv", "chair-seconds.csv", "success.csv"} <= set(files)
    assert files["success.csv"].count("strict_low") == 1
    assert files == outcome_files(rows, summarise(rows))


def test_hostile_words_stay_words() -> None:
    svg = refused_svg("<b>", "a & b <script>alert(1)</script>")
    assert "<script" not in svg
    parse(svg)


def test_published_figures_without_a_time_stay_off_the_time_axis() -> None:
    curve = kaplan_meier([float(i) for i in range(1, 41)], [i % 9 == 0 for i in range(40)])
    svg = curves_svg("test", [Line("own", curve, 1.0)], published())
    assert len(with_class(parse(svg), "cw-published")) == 1
    with pytest.raises(ValueError, match="nothing to draw"):
        curves_svg("test", [])
