"""Pictures of a simulation are valid, self-contained, the same each time, and do not rest on colour alone."""

import pytest

from canalwright.report.moment import Moment
from canalwright.report.pictures import heat_svg, rise_svg
from canalwright.report.section import section_svg
from tests.report import sample
from tests.report.drawing import boxes, parse, size_mm, with_class


@pytest.mark.parametrize("code", [46, 16])
def test_downpack_shows_isotherms_instruments_and_numbered_fronts(code: int) -> None:
    plan = sample.plan(code)
    svg = heat_svg(plan, sample.story(plan))
    root = parse(svg)
    assert svg.count("data:image/png;base64,") == 2
    assert len(with_class(root, "cw-isotherms")) == 2
    assert [b.text for b in boxes(with_class(root, "cw-fronts")[0])] == ["1", "2", "3"]
    assert {"47", "60"} & {b.text for b in boxes(root)}
    assert svg == heat_svg(plan, sample.story(plan))


def test_rise_shows_the_limit_and_the_interval() -> None:
    plan = sample.plan()
    svg = rise_svg(plan, sample.story(plan))
    assert "limit 10 K" in svg
    assert "6.4 K (4.9–8.7)" in svg
    narrow = parse(rise_svg(plan, sample.story(plan), width=40, height=38))
    assert size_mm(narrow) == (40, 38)


def test_text_stays_on_the_paper() -> None:
    plan = sample.plan()
    for svg in (heat_svg(plan, sample.story(plan)), rise_svg(plan, sample.story(plan))):
        root = parse(svg)
        width, height = size_mm(root)
        for box in boxes(root):
            assert box.left >= -0.1 and box.right <= width + 0.1 and box.top >= 0 and box.bottom <= height, box


def test_a_moment_of_a_story_names_the_act_and_draws() -> None:
    plan = sample.plan()
    story = sample.story(plan)
    heating = next(a for a in story.acts if type(a.act).__name__ == "Heat")
    moment = Moment.of(plan, story, heating.start + 1.5)
    assert moment.words.startswith("carrier at 200 °C down to")
    assert not moment.backfilled
    assert "carrier tip" in section_svg(plan, moment=moment)
    last = Moment.of(plan, story, story.time[-1])
    assert last.backfilled
    assert "cw-backfill" in section_svg(plan, moment=last)
