"""The page's HTML: everything from outside is escaped, every number has its interval and answers where it comes from."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from canalwright.planning import Choices, Plan, findings
from canalwright.planning.parts import Finding, Harm
from canalwright.report import sheet
from canalwright.web.formulas import formula_of
from canalwright.web.markup import picture, planview
from canalwright.web.markup.controls import controls
from canalwright.web.markup.html import Safe, el
from canalwright.web.markup.ready import written
from canalwright.web.markup.shell import caution, top
from canalwright.web.markup.where import where_from
from canalwright.web.prefs import Prefs
from canalwright.web.words import ENGLISH, Words, words_of


def test_text_is_escaped_and_markup_is_not() -> None:
    assert el("p", "<b>", el("i", "a & b"), title='"x"') == '<p title="&quot;x&quot;">&lt;b&gt;<i>a &amp; b</i></p>'
    assert el("input", disabled=True, value=None) == "<input disabled>"
    assert isinstance(el("p"), Safe)


def test_a_hostile_name_stays_text(plan: Plan) -> None:
    hostile = replace(plan, canal=replace(plan.canal, reference="<img src=x onerror=alert(1)>"))
    for made in (
        picture.plan_picture(hostile),
        planview.tables(hostile, ENGLISH),
        planview.worst(hostile, ENGLISH),
        planview.other_findings(hostile, ENGLISH),
    ):
        assert "<img" not in made


def test_every_number_has_an_interval_and_an_origin(plan: Plan) -> None:
    shown = planview.headline(plan, ENGLISH) + planview.tables(plan, ENGLISH)
    keys = set(re.findall(r'class="num[^"]*" data-key="([^"]+)"', shown))
    items = planview.all_items(plan)
    assert keys <= set(items) and len(keys) > 30
    own = re.findall(r'<button[^>]*data-key="[^>]*>.*?</button>', shown)
    assert len(own) == shown.count("data-key=") and all(
        ('class="interval"' in number) != bool(re.search(r'data-key="(trim\.\d+\.(cut|tip)|setting\.[^"]*)"', number))
        for number in own
    )
    assert shown.count('class="value"') == len(own), "no number stands there silent"
    for key, item in items.items():
        answer = where_from(item, plan, ENGLISH)
        assert item.value in answer and "kind of source" in answer, key
        assert formula_of(key) is not None, f"{key} has no formula"


def test_the_findings_come_worst_first(plan: Plan) -> None:
    """First the worst, every danger among them; the rest further down; none is left out or said twice."""
    dangers = tuple(Finding(Harm.DANGER, f"d{i}", f"danger {i}", "stop") for i in range(5))
    for found in (plan.findings, (*plan.findings, *dangers), ()):
        made = replace(plan, findings=found)
        first, rest = (
            re.findall(r'class="finding (\w+)"', f(made, ENGLISH)) for f in (planview.worst, planview.other_findings)
        )
        order = [*first, *rest]
        assert order == sorted(order, key=["danger", "caution", "doubt", "note"].index) and len(order) == len(found)
        assert "danger" not in rest and len(first) >= min(3, len(found))
        assert ("more below" in planview.worst(made, ENGLISH)) == bool(rest)


def test_every_page_says_where_one_is_and_the_caution(case) -> None:  # type: ignore[no-untyped-def]
    head = top(Prefs(), case, "k", 0, "plan")
    assert "46" in head and "mesiobuccal canal" in head and "invented" in head
    assert "#30" in top(Prefs(universal=True), case, "k", 0, "plan")
    assert "Not a certified medical device" in caution(Prefs())


def test_every_control_has_a_label(plan: Plan) -> None:
    shown = controls(plan, plan.choices, plan.tray, ENGLISH)
    labels, ids = (
        set(re.findall(r'<label for="([^"]+)"', shown)),
        set(re.findall(r'<(?:input|select)[^>]* id="([^"]+)"', shown)),
    )
    assert ids and ids == labels


def test_before_a_plan_a_control_says_what_was_chosen_and_nothing_else(plan: Plan) -> None:
    """A slider has to stand somewhere; its number is not a plan's until there is one."""
    shown = controls(None, Choices(force=35.0), plan.tray, ENGLISH)
    assert re.findall(r"<output[^>]*>([^<]*)<", shown) == ["…", "…", "35 N", *["…"] * 6]
    assert set(re.findall(r'data-auto="(\w+)"', shown)) == {"unknown", "false"}
    assert shown.count('data-auto="false"') == 1


def test_colours_come_in_light_and_dark() -> None:
    sheet = picture.colours()
    assert sheet.count("--cw-dentine-fill:") == 3 and "prefers-color-scheme: dark" in sheet


@pytest.mark.parametrize(
    ("value", "digits", "sign", "text"),
    [(-0.04, 1, "", "0.0"), (0.04, 1, "+", "0.0"), (-0.06, 1, "", "−0.1"), (0.06, 1, "+", "+0.1"), (7.25, 0, "", "7")],
)
def test_no_sign_stands_before_what_rounds_to_nothing(value: float, digits: int, sign: str, text: str) -> None:
    assert written(value, digits, sign) == text


@pytest.mark.parametrize("words", [ENGLISH, words_of("es")])
def test_every_finding_answers_with_each_number_that_its_sentence_speaks_of(plan: Plan, words: Words) -> None:
    """Each with how it is found; one stop of the Tab key for all of them."""
    found = sheet(plan).findings
    for n, finding in enumerate(found):
        told = planview.answer(plan, f"finding.{n}", words) or ""
        numbers = {id(q) for q in (finding.quantity, *(number.quantity for number in finding.rests)) if q is not None}
        assert told.count("where-rows") == told.count(words("how it is found")) == len(numbers), finding.code
    assert sum(bool(f.quantity or f.rests) for f in found) >= 4
    shown = planview.worst(plan, words) + planview.other_findings(plan, words)
    assert shown.count('class="num asks"') == sum(bool(f.quantity or f.rests) for f in found)
    for key in ("finding.99", "finding.x", "finding.", "nothing"):
        assert planview.answer(plan, key, words) is None


def test_a_number_that_only_a_finding_names_has_a_formula_and_is_told_in_spanish() -> None:
    code = Path(findings.__file__).read_text(encoding="utf-8")
    names = re.findall(r'Number\("([^"]+)", (?:_exact|Quantity.exact)', code)
    assert len(names) == 5
    for name in names:
        assert formula_of(f"named.{name}") is not None and words_of("es").known(name) is not None, name
