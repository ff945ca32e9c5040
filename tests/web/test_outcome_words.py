"""The outcomes as a reader meets them: every number says on a click where it is from, and a Spanish page is Spanish, drawings too."""

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from html import unescape

import pytest

from canalwright.assessment.habits import learned
from canalwright.records import Passphrase, Store
from canalwright.records.accounts import Act
from canalwright.records.outcomes import CoxModel, outcomes_of, summarise
from canalwright.records.outcomes.cox import Hazard
from canalwright.records.recall.visit import LESIONS, LOSSES, SIGNS, SYMPTOMS
from canalwright.report.outcomes import charts, pictures, tables
from canalwright.web.records.outcomes import OPTIONS
from canalwright.web.records.screens.checks import habits
from canalwright.web.records.screens.outcomes import outcomes
from canalwright.web.records.screens.recalls import TENDER, THERE
from canalwright.web.words import Words, words_of
from tests.records.conftest import CHEAP
from tests.records.test_outcomes import _practice

ENGLISH = re.compile(r"\b(the|and|of|at|published|teeth|cases|years|judged|strict|loose|lost|healed|is|are|for|with)\b")
"""Words that no Spanish sentence has; citations are left out below."""
CITED = re.compile(r"[A-Z][^;<>()]*? \d{4}[^;<>]*|University College London|Toronto|Kaplan|Bayesian Data Analysis")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, str]:
    with Store.create(
        tmp_path_factory.mktemp("outcomes") / "records",
        Passphrase("an invented sentence"),
        cost=CHEAP,
        clock=lambda: datetime(2028, 1, 1, tzinfo=UTC),
    ) as store:
        _practice(store, 60)
        rows = outcomes_of(store, date(2026, 11, 25))
    summary, factors = summarise(rows), ["lesion before", "chair.seconds"]
    model = CoxModel((Hazard("tooth group: molar", 1.4, 0.8, 2.5, 0.21, 0.3, 0.3),), 50, 20, 40, 0.95)

    def page(words: Words) -> str:
        drawn = pictures(rows, summary, options=replace(OPTIONS, say=words))
        shown = outcomes(
            words, summary, drawn, set(tables(rows, summary)), factors, factors, "loss", model, charts(rows)
        )
        return shown + habits(learned([[("end", 0.1 * i - 0.3)] for i in range(22)]), words)

    return {name: page(words_of(name)) for name in ("en", "es")}


def test_every_number_of_the_outcomes_says_where_it_is_from(pages: Mapping[str, str]) -> None:
    said = [unescape(found) for found in re.findall(r'data-said="([^"]*)"', pages["en"])]
    assert len(said) > 40
    assert [each for each in said if "how it is found" not in each or "source" not in each] == []
    assert any("Wilson 1927" in each for each in said) and any("Kaplan and Meier 1958" in each for each in said)
    assert any("Cox 1972" in each for each in said) and any("Gelman" in each for each in said)
    plain = re.sub(r"<svg.*?</svg>|<button.*?</button>", "", pages["en"], flags=re.DOTALL)
    assert re.findall(r"<dd>[^<]*\d", plain) == [], "every value of a list is a number that answers"


def test_a_spanish_page_of_outcomes_is_spanish_in_its_drawings_too(pages: Mapping[str, str]) -> None:
    text = re.sub(r"<style.*?</style>", "", pages["es"], flags=re.DOTALL)
    shown = [unescape(t) for t in re.findall(r">([^<>]*[a-z][^<>]*)<", text)]
    shown += [unescape(t) for t in re.findall(r'(?:aria-label|data-said)="([^"]*)"', text)]
    english = {t for t in shown if ENGLISH.search(CITED.sub("", re.sub(r"<[^>]*>", " ", t)))}
    assert english == set()


def test_what_a_recall_asks_and_the_log_of_access_tell_are_spanish() -> None:
    shown = [words for _, words in (*TENDER, *THERE)] + [*SIGNS, *SYMPTOMS, *filter(None, (*LESIONS, *LOSSES)), *Act]
    assert [text for text in shown if words_of("es").known(str(text)) is None] == []
