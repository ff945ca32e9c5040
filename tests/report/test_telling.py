"""A simulation in words: every act named, one-run numbers never dressed as certain, the caution said."""

import json
from types import SimpleNamespace
from typing import Any

import numpy as np

from canalwright.planning.product import CAUTION
from canalwright.report import story_json, story_text
from tests.report import sample


def told(draws: int = 1) -> tuple[Any, Any]:
    """A plan and a story whose compaction is invented; all that the words read is there."""
    plan = sample.plan()
    scatter = np.linspace(0.9, 1.1, draws) if draws > 1 else np.ones(1)
    moved = SimpleNamespace(
        portals=plan.canal.portals,
        fill=SimpleNamespace(share=lambda part: {"gutta": 0.9, "sealer": 0.08, "void": 0.02}[part] * scatter),
        sealer_length=np.column_stack([0.01 * scatter, 1.1 * scatter]),
        gutta_length=np.column_stack([0.0 * scatter, 0.2 * scatter]),
        puff=np.column_stack([0.002 * scatter, 0.1 * scatter]),
        gutta_beyond=0.0 * scatter,
        stress_ratio=0.2 * scatter,
        filled=lambda i: np.minimum(scatter, 1.0),
        events=(SimpleNamespace(time=1.0, z=2.0, what="heat"),),
    )
    return plan, SimpleNamespace(heat=sample.story(plan), compaction=moved)


def test_every_act_is_named_and_the_basis_and_caution_are_said() -> None:
    plan, story = told()
    text = story_text(plan, story)
    assert text.count("carrier at 200 °C down to") == 3
    assert text.count("backfill up to") == 3
    assert "one run with the values as read" in text
    assert "(4.9–8.7, from the plan)" in text
    assert CAUTION in text


def test_one_run_has_null_ends_and_many_draws_have_an_interval() -> None:
    plan, story = told()
    data = json.loads(json.dumps(story_json(plan, story), allow_nan=False))
    assert {(e["low"], e["high"]) for e in data["end"]} == {(None, None)}
    plan, story = told(draws=201)
    voids = next(e for e in story_json(plan, story)["end"] if e["words"].startswith("voids"))
    assert 1.8 <= voids["low"] < voids["high"] <= 2.2
    assert "(2–2)" in story_text(plan, story)


def test_the_course_has_one_value_a_frame_and_null_where_an_instrument_is_out() -> None:
    plan, story = told()
    course = story_json(plan, story)["course"]
    assert {len(v) for v in course.values()} == {len(story.heat.time)}
    assert None in course["carrier_depth_mm"]
    assert story_json(plan, story)["caution"] == CAUTION
