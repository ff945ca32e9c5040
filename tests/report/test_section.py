"""The section is to scale, its labels never overlap, and no text of a case can break it."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.anatomy.lumen import Portal
from canalwright.quantities import Reading
from canalwright.report import Options, section_svg
from canalwright.report.palette import DARK
from tests.report import sample
from tests.report.drawing import boxes, parse, points, size_mm, with_class

NASTY = "\"<&>' </svg><script>alert(1)</script> \x00\x1b ]]> é 歯"

plans = st.builds(
    sample.plan,
    st.sampled_from([46, 16, 11, 36, 25]),
    length=st.floats(17.0, 26.0),
    rounds=st.integers(1, 6),
    portions=st.integers(0, 5),
    curve=st.floats(0.0, 45.0),
    ovality=st.floats(1.0, 2.0),
    post=st.booleans(),
    portals=st.lists(
        st.builds(
            lambda z, kind, direction: Portal(z, Reading(0.1, 0.02, "mm"), kind, direction, 1.0),
            st.floats(0.5, 7.0),
            st.sampled_from(["lateral canal", "isthmus", "apical delta"]),
            st.sampled_from(["", "mesial", "buccal"]),
        ),
        max_size=4,
    ).map(tuple),
)
options = st.builds(
    Options,
    scale=st.floats(3.0, 9.0),
    widen=st.sampled_from([1.0, 2.0]),
    whole=st.booleans(),
    interval_text=st.booleans(),
    font_size=st.floats(2.5, 4.5),
)


def ticks(svg: str) -> dict[int, float]:
    """Paper y of each tick of the straight ruler by depth."""
    return {
        int(t.get("data-depth-mm", "")): points(t.get("d", "").replace("H", " "))[0][1]
        if "L" in t.get("d", "")
        else float(t.get("d", "").split()[1].split("H")[0])
        for t in with_class(parse(svg), "cw-tick")
    }


@pytest.mark.parametrize("code", [46, 16])
def test_ruler_is_to_scale_and_the_apex_points_as_on_a_radiograph(code: int) -> None:
    at = ticks(section_svg(sample.plan(code), options=Options(scale=5.5)))
    way = 1 if code == 46 else -1
    depths = sorted(at)
    assert np.allclose(np.diff([at[d] for d in depths]), way * 5.5, atol=2e-3)


@pytest.mark.parametrize("code", [46, 16])
def test_stops_stand_at_their_depth_on_the_ruler(code: int) -> None:
    plan = sample.plan(code)
    svg = section_svg(plan, options=Options(scale=6))
    at, root = ticks(svg), parse(svg)
    zero = at[10] - (at[11] - at[10]) * 10
    for i, planned in enumerate(plan.pluggers, 1):
        group = next(e for e in with_class(root, "cw-plugger") if e.get("id") == f"section-plugger-{i}")
        end = points(group[2].get("d", ""))
        for _, y in end:
            assert y == pytest.approx(zero + (at[11] - at[10]) * planned.stop.value, abs=2e-3)


def test_widths_are_to_scale_and_a_widened_drawing_says_so() -> None:
    plan = sample.plan()
    for widen in (1.0, 2.0):
        svg = section_svg(plan, options=Options(scale=6, widen=widen))
        outline = points(with_class(parse(svg), "cw-shaped")[0].get("d", "").replace("M", " ").replace("L", " "))
        half = len(outline) // 2
        left, right = outline[half - 1], outline[-1]
        assert left[1] == right[1]
        assert abs(right[0] - left[0]) == pytest.approx(plan.lumen.minor[-1] * 6 * widen, abs=3e-3)
        assert ("width ×2" in svg) == (widen == 2.0)
        assert "straightened" in svg


@settings(deadline=None, max_examples=60)
@given(plans, options)
def test_labels_never_overlap_and_stay_on_the_paper(plan, options) -> None:  # type: ignore[no-untyped-def]
    root = parse(section_svg(plan, options=options))
    width, height = size_mm(root)
    found = boxes(root)
    for a, b in combinations(found, 2):
        assert not a.overlaps(b), f"{a} on {b}"
    for box in found:
        assert box.left >= -0.1 and box.right <= width + 0.1 and box.top >= 0 and box.bottom <= height, box


@settings(deadline=None, max_examples=30)
@given(plans, st.floats(3.0, 9.0))
def test_labels_never_overlap_in_the_projected_section(plan, scale) -> None:  # type: ignore[no-untyped-def]
    root = parse(section_svg(plan, options=Options(scale=scale, projected=True)))
    ruler = {id(e) for group in with_class(root, "cw-ruler") for e in group.iter()}
    labels = [e for e in root.iter() if id(e) not in ruler]
    assert labels
    for a, b in combinations([b for b in boxes(root) if "." in b.text or b.text.isalpha()], 2):
        assert not a.overlaps(b), f"{a} on {b}"
    assert "projected on the plane of greatest curvature" in section_svg(plan, options=Options(projected=True))


@settings(deadline=None, max_examples=30)
@given(plans.filter(lambda p: len(p.rounds) > 1), st.booleans())
def test_a_moment_draws_without_overlap(plan, projected) -> None:  # type: ignore[no-untyped-def]
    svg = section_svg(plan, moment=sample.moment(plan), options=Options(projected=projected))
    found = [b for b in boxes(parse(svg)) if not (projected and b.text.isdigit())]
    for a, b in combinations(found, 2):
        assert not a.overlaps(b), f"{a} on {b}"
    assert "one run with the values as read" in svg


def test_every_predicted_depth_shows_its_interval() -> None:
    plan = sample.plan()
    root = parse(section_svg(plan))
    bars = {e.get("data-key"): e for e in with_class(root, "cw-interval")}
    assert {"plugger-1", "plugger-2", "plugger-3", "carrier-1", "front-3", "portion-2"} <= set(bars)
    stop = plan.pluggers[1].stop
    assert float(bars["plugger-2"].get("data-low-mm", "")) == pytest.approx(stop.low, abs=1e-3)
    written = section_svg(plan, options=Options(interval_text=True))
    assert f"{stop.low:.1f}–{stop.high:.1f}" in written


def test_text_of_a_case_cannot_break_the_drawing() -> None:
    plan = sample.retitled(sample.plan(), NASTY)
    plan = replace(plan, canal=replace(plan.canal, reference=NASTY))
    svg = section_svg(plan)
    root = parse(svg)
    assert "<script" not in svg
    assert not [e for e in root.iter() if e.tag.endswith("script")]


def test_the_drawing_is_accessible_and_self_contained() -> None:
    svg = section_svg(sample.plan(), options=Options(prefix="a"))
    root = parse(svg)
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    assert all(i.startswith("a-") for i in ids if i)
    assert root.get("role") == "img"
    assert set((root.get("aria-labelledby") or "").split()) <= set(ids)
    assert "apical plugger" in (root[1].text or "")
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "")
    assert root.get("viewBox", "").split()[2:] == [str(root.get(k, "")).removesuffix("mm") for k in ("width", "height")]


def test_the_same_plan_gives_the_same_drawing() -> None:
    assert section_svg(sample.plan()) == section_svg(sample.plan())


def test_hidden_kinds_are_gone_and_quiet_ones_lose_their_label() -> None:
    plan = sample.plan()
    hidden = parse(section_svg(plan, options=Options(hide=frozenset({"front"}))))
    assert not with_class(hidden, "cw-front")
    quiet = parse(section_svg(plan, options=Options(quiet=frozenset({"front"}))))
    assert with_class(quiet, "cw-front")
    assert not with_class(quiet, "cw-front-label")


def test_a_canal_alone_and_dark_colours_draw() -> None:
    canal = sample.canal(21)
    svg = section_svg(canal, options=Options(palette=DARK, background=True))
    assert "crest of bone" in svg
    with pytest.raises(ValueError, match="needs the plan"):
        section_svg(canal, moment=sample.moment(sample.plan()))


@pytest.mark.parametrize(
    "wrong", [{"scale": 0.1}, {"widen": 0.5}, {"widen": 2.0, "projected": True}, {"font_size": 0.1}]
)
def test_impossible_options_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"outside|never widened"):
        Options(**wrong)  # type: ignore[arg-type]
