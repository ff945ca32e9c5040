"""The card is one page, says the caution, cuts no danger, and the same plan gives the same bytes."""

import json

import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.planning.parts import Finding, Harm
from canalwright.planning.product import CAUTION, Plan
from canalwright.report import card, card_pdf
from canalwright.report.card import card_data
from canalwright.report.typeset import inputs as template_inputs
from canalwright.report.typeset import template
from tests.report import sample
from tests.report.test_section import NASTY

DANGERS = tuple(
    Finding(Harm.DANGER, f"d{i}", f"Danger {i}: something harmful is likely to happen here", "Do otherwise " * 6)
    for i in range(9)
)


def pages(plan: Plan, paper: str = "a4", label: str = "") -> int:
    inputs = template_inputs(card_data(plan, None, label=label, date=""), paper)
    made = typst.compile(template("card"), format="svg", sys_inputs=inputs, ignore_system_fonts=True)
    return len(made) if isinstance(made, list) else 1


def found(plan: Plan, selector: str, label: str = "") -> list[str]:
    inputs = template_inputs(card_data(plan, None, label=label, date=""), "a4")
    made = json.loads(typst.query(template("card"), selector, sys_inputs=inputs, ignore_system_fonts=True))
    return [str(element.get("child", element)["text"]) for element in made]


@settings(deadline=None, max_examples=8)
@given(
    plan=st.builds(
        sample.plan,
        st.sampled_from([46, 11]),
        length=st.floats(17.0, 26.0),
        rounds=st.integers(1, 6),
        portions=st.integers(0, 5),
        post=st.booleans(),
        findings=st.sampled_from([(), sample.FINDINGS, sample.FINDINGS * 4, DANGERS + sample.FINDINGS]),
    ),
    paper=st.sampled_from(["a4", "letter"]),
)
def test_the_card_is_always_one_page(plan: Plan, paper: str) -> None:
    assert pages(plan, paper) == 1


def test_the_caution_is_printed() -> None:
    assert found(sample.plan(), "<decision-support>") == [CAUTION]


def test_no_danger_is_cut_and_the_rest_is_counted() -> None:
    plan = sample.plan(rounds=5, findings=DANGERS + sample.FINDINGS * 3)
    assert len(found(plan, "<finding-danger>")) == len(DANGERS) + 3
    assert len(found(plan, "<finding-note>")) < 3


def test_text_of_a_case_is_never_markup() -> None:
    nasty = '#set page(fill: red) #panic("no") $x$ @ref <b> \\ "quoted" // ' + NASTY
    plan = sample.retitled(sample.plan(), nasty)
    assert pages(plan, label=nasty) == 1


def test_the_same_plan_gives_the_same_bytes_without_a_person_in_the_metadata(tmp_path) -> None:  # type: ignore[no-untyped-def]
    plan = sample.plan()
    first, second = card_pdf(plan, label="A-017"), card_pdf(sample.plan(), label="A-017")
    assert first == second
    assert first.startswith(b"%PDF")
    assert b"/Author" not in first
    assert b"/CreationDate" not in first or b"1970" in first
    path = card(plan, None, tmp_path / "card.pdf", paper="letter")
    assert path.read_bytes()[:4] == b"%PDF"


def test_every_number_on_the_card_carries_its_interval() -> None:
    data = card_data(sample.plan(), sample.story(sample.plan()), label="", date="")

    def items(value: object) -> list[dict[str, str]]:
        if isinstance(value, dict):
            own = [value] if "value" in value else []
            return own + [i for v in value.values() for i in items(v)]
        return [i for v in value for i in items(v)] if isinstance(value, list) else []

    numbers = items(data)
    assert len(numbers) > 50
    for item in numbers:
        assert item["interval"], item


def test_the_digest_follows_the_plan() -> None:
    one, other = (card_data(sample.plan(length=n), None, label="", date="")["digest"] for n in (21.0, 21.1))
    assert one != other


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(ValueError, match="choose a4 or letter"):
        card_pdf(sample.plan(), paper="a3")
