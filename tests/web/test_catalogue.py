"""The Spanish catalogue is whole: every text of the page and every word of the core that it shows is there, gaps and all."""

import ast
import re
import string
from dataclasses import replace
from pathlib import Path

import pytest

import canalwright.web
from canalwright import casefile
from canalwright.assessment import criteria
from canalwright.heat import readings
from canalwright.planning import CAUTION, Plan, Story
from canalwright.planning.inputs_said import INPUT_WORDS, said
from canalwright.report import finding_words, sheet
from canalwright.report.card import card_data
from canalwright.report.words import act_words
from canalwright.web import draft, hands, heatruns, stages
from canalwright.web.chair import DOES
from canalwright.web.formulas import formulas
from canalwright.web.gone import ERASED
from canalwright.web.latest import FAULT
from canalwright.web.markup import chair, controls, picture, planview
from canalwright.web.pages.measure import OVER
from canalwright.web.shelf import CLOSED
from canalwright.web.words import words_of

SPANISH = words_of("es")
ROOT = Path(canalwright.web.__file__).parent
NAMES = re.compile(r"[\d.,:/ %°×−–-]*(?:s|mm|K| to [\d.]+)?")
"""Numbers and sizes, which are the same in every language."""
UNITS = {"mm³", "min", "°C", "%", "N", "mm", "s", "K"}


def _texts() -> set[str]:
    """What `words(...)` is called with, and the tables of texts."""
    found: set[str] = set()
    for path in ROOT.rglob("*.py"):
        if "records" in path.relative_to(ROOT).parts:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "words" and node.args:
                first = node.args[0]
                options = [first.body, first.orelse] if isinstance(first, ast.IfExp) else [first]
                found |= {o.value for o in options if isinstance(o, ast.Constant) and isinstance(o.value, str)}
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Mark":
                found |= {a.value for a in node.args[1:2] if isinstance(a, ast.Constant)}
    found |= {
        *DOES.values(),
        *chair.TEXTS.values(),
        *chair.HAPPENED,
        *(t for _, t in controls.SLIDERS),
        *(stage.title for stage in stages.STAGES),
        *(title for stage in stages.STAGES for _, title in stage.views),
        *(title for _, title in stages.AFTER),
    }
    found |= {ERASED, CLOSED, OVER}
    found |= {title for title in draft.FIELDS if title}
    found |= {text for f in draft.BY_KEY.values() for text in (f.title, f.unit) if text}
    found |= {text for _, formula in formulas() for text in (formula.how, formula.leaves_out)}
    found |= {said(name) for name in (*INPUT_WORDS, *readings())}
    found |= {hands.FAULT, hands.LOST, hands.MEMORY, *(name for name, _ in heatruns.STAGES)}
    return found | {CAUTION, FAULT}


@pytest.mark.parametrize("text", sorted(_texts()))
def test_every_text_of_the_page(text: str) -> None:
    told = SPANISH.known(text)
    assert told is not None, "missing from catalogue/es.toml"
    gaps = lambda s: sorted(name for _, name, _, _ in string.Formatter().parse(s) if name)  # noqa: E731
    assert gaps(told) == gaps(text)


CITED = re.compile(r"[A-Z][\w .,&-]+ \d{4}, [^;]+(; [A-Z][\w .,&-]+ \d{4}, [^;]+)*")
"""Nothing but authors, years and journals."""


def test_every_source_of_a_formula_is_told_in_spanish_or_is_but_a_citation() -> None:
    told = {f.source for _, f in formulas()} | {
        criteria.EVEN,
        criteria.TAPERED,
        *(band.source for band in criteria.BANDS.values()),
    }
    missing = [source for source in told if SPANISH.known(source) is None and not CITED.fullmatch(source)]
    assert missing == []


def _core(plan: Plan, story: Story) -> set[str]:
    page, canal = sheet(plan), plan.canal
    found = {item.words for item in planview.all_items(plan).values()}
    found |= {q.source.detail for item in planview.all_items(plan).values() if (q := item.quantity).source.detail}
    for table in (page.trim, page.pluggers, page.rounds, page.portions):
        found |= {table.title, *table.columns, *(cell for row in table.rows for cell in row if isinstance(cell, str))}
    found |= {
        *page.setting,
        *page.provenance,
        *(act_words(a, canal) for a in plan.protocol.acts),
        *(e.what for e in story.compaction.events),
    }
    found |= {words for finding in plan.findings for words in finding_words(finding)}
    drawn = picture.plan_picture(plan)
    return found | set(re.findall(r">([^<>]+)</text>", drawn))


def test_every_word_of_the_core_that_a_plan_shows(plan: Plan, story: Story) -> None:
    missing = sorted(w for w in _core(plan, story) if w and not NAMES.fullmatch(w) and SPANISH.known(w) is None)
    assert missing == []


def test_a_sentence_is_told_whole(plan: Plan) -> None:
    """No English is left inside a finding, its names and intervals included."""
    for finding in plan.findings:
        for words in finding_words(finding):
            told = SPANISH(words)
            assert not re.search(r"\b(the|of|and|to|is|mm short|chance)\b", told), told


def test_the_plan_in_spanish(plan: Plan) -> None:
    shown = planview.headline(plan, SPANISH) + planview.tables(plan, SPANISH) + picture.plan_picture(plan, SPANISH)
    assert "Compactación apical" in shown and "cresta ósea" in shown
    assert "longest safe" not in shown


def test_the_card_in_spanish_has_no_english_word_left(plan: Plan, story: Story) -> None:
    missing: list[str] = []

    def say(text: str) -> str:
        told = SPANISH.known(text)
        if told is None and not NAMES.fullmatch(text) and text not in UNITS:
            missing.append(text)
        return text if told is None else told

    data = card_data(plan, story, label="", date="", tongue=replace(picture.tongue(SPANISH), say=say))
    assert missing == []
    assert data["language"] == "es" and "cúspide" in data["reference"] and "from" not in data["reference"]
    assert "longest safe" not in str(data["heat"]) and "Condensadores" in data["words"].values()


def test_names_of_every_tooth_and_usual_canal_are_there() -> None:
    from canalwright.anatomy import Tooth, averages

    for code in (10 * q + p for q in (1, 2, 3, 4) for p in range(1, 9)):
        tooth = Tooth(code)
        known = averages.tooth_averages(tooth)
        for name in (tooth.kind, tooth.side, *known.usual, *known.possible):
            assert SPANISH.known(name) is not None, name
    assert casefile.demo_case().canals
