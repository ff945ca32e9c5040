"""The words of a plan: every number with its interval, the caution said, findings worst first, JSON plain."""

import json
import math
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from canalwright.planning.parts import Finding, Harm
from canalwright.planning.product import CAUTION
from canalwright.quantities import Quantity
from canalwright.report import plan_json, plan_text
from canalwright.report.words import figure, finding_words, interval, sheet
from tests.report import sample


def test_the_text_says_the_caution_and_ranks_findings() -> None:
    text = plan_text(sample.plan())
    assert CAUTION in text
    assert text.index("DANGER") < text.index("CAUTION") < text.index("DOUBT") < text.index("NOTE")


def test_every_quantity_of_the_plan_is_in_the_text_with_its_interval() -> None:
    plan = sample.plan()
    text = plan_text(plan)
    for q in (plan.cone.seat, plan.pluggers[0].stop, plan.rounds[1].front, plan.portions[0].volume, plan.heat.margin):
        assert f"{q.value:.1f}" in text
        assert interval(q) in text


def test_json_is_plain_and_every_number_has_value_low_high_unit_source() -> None:
    data = json.loads(json.dumps(plan_json(sample.plan()), allow_nan=False))
    for q in (data["working_length"], data["cone"]["seat"], data["pluggers"][0]["stop"], data["rounds"][0]["hold"]):
        assert {"value", "low", "high", "unit", "source"} <= set(q)
    assert data["caution"] == CAUTION
    assert [f["harm"] for f in data["findings"]] == ["danger", "caution", "doubt", "note"]


def test_an_unbounded_number_is_null_in_json_and_words_on_paper() -> None:
    plan = sample.plan()
    endless = Quantity(math.inf, 3.0, math.inf, "s")
    plan = replace(plan, heat=replace(plan.heat, longest_activation=endless))
    assert plan_json(plan)["heat"]["longest_activation"]["value"] is None
    assert "no limit s (3.0 to no limit)" in plan_text(plan)


@given(st.floats(-1e4, 1e4), st.integers(0, 3))
def test_figures_never_say_minus_zero_and_use_a_true_minus(value: float, digits: int) -> None:
    text = figure(value, digits)
    assert "-" not in text
    assert float(text.replace("−", "-")) == float(f"{value:.{digits}f}") or float(f"{value:.{digits}f}") == 0


def test_a_finding_is_a_sentence_and_gives_its_number_once() -> None:
    q = Quantity(6.8, 3.4, 12.1, "K")
    _, once, action = finding_words(Finding(Harm.CAUTION, "x", f"root warms by {q.format()}", "wait", q))
    assert once == "Root warms by 6.8 (3.4 to 12.1) K."
    assert action == "Wait."
    _, added, _ = finding_words(Finding(Harm.CAUTION, "x", "root warms", "wait", q))
    assert added == "Root warms: 6.8 K (3.4–12.1)."


def test_chosen_numbers_say_set_and_predicted_ones_their_spread() -> None:
    page = sheet(sample.plan())
    heat = page.rounds.rows[0][2]
    assert not isinstance(heat, str)
    assert heat.interval == "set"
    assert page.length.interval == "20.1–20.9"
