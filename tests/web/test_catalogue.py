"""The Spanish catalogue is whole: every text of the page and every word of the core that it shows is there, gaps and all."""

import ast
import re
import string
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import canalwright
import canalwright.web
from canalwright import casefile
from canalwright.anatomy import Canal, Tooth, averages
from canalwright.assessment import criteria
from canalwright.heat import readings
from canalwright.planning import CAUTION, Plan, Story
from canalwright.planning.inputs_said import INPUT_WORDS, said
from canalwright.report import finding_words, sheet
from canalwright.report.card import card_data
from canalwright.report.words import act_words
from canalwright.web import chairadvice, chairsaid, draft, hands, heatruns, stages
from canalwright.web.formulas import formulas
from canalwright.web.gone import ERASED
from canalwright.web.latest import FAULT
from canalwright.web.markup import chair, controls, picture, planview
from canalwright.web.pages.measure import OVER
from canalwright.web.shelf import CLOSED
from canalwright.web.usual import usual
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
        *chairsaid.DOES.values(),
        *chairsaid.SHORT.values(),
        *chairsaid.READ.values(),
        *chairsaid.KEPT.values(),
        *chairsaid.ASKED.values(),
        *chairadvice.SAYS.values(),
        *chairadvice.MEANS.values(),
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
    return found | {CAUTION, FAULT, chairsaid.TRIED, chairsaid.BINDS}


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


ENGLISH = re.compile(
    r"\b(the|of|and|with|from|below|about|above|given|supposed|tip|gauge|opening|study|means|films|not|read|by|own|source|method|in an)\b"
)
"""Words that no Spanish text has, in brackets or out of them; what is only cited is taken out before."""
REFERENCES = re.compile(r"[A-Z][\w .,&-]+? \d{4}, [^;()]*?(?=[;)]|, leído|, citado|, de memoria|$)")


def _left(text: str) -> str:
    return REFERENCES.sub("", text) if ENGLISH.search(REFERENCES.sub("", text)) else ""


def _cites(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        yield from (v for k, v in value.items() if k in ("cite", "seen") and isinstance(v, str))
        for inner in value.values():
            yield from _cites(inner)


def test_where_a_usual_value_is_from_is_told_without_english() -> None:
    """Also inside the brackets: what the form says beside every field that was left empty, of every tooth, and of every way to measure."""
    sources: set[str] = set()
    for code in (10 * q + p for q in (1, 3) for p in range(1, 9)):
        known = averages.tooth_averages(Tooth(code))
        for name in (*known.usual, *known.possible):
            canal = Canal.from_measurements(tooth=code, canal=name, working_length=20.5, finishing_file=(30, 0.04))
            sources |= {u.source for u in usual(canal).values()} | {str(s) for s in canal.sources.values()}
    for quantity in ("length", "width", "wall", "curve"):
        for method in averages.methods(quantity):
            sources |= {str(averages.reading_error(quantity, method).source)}
    assert len(sources) > 15
    assert {text: left for text in sources if (left := _left(SPANISH(text)))} == {}


def test_every_source_in_the_data_is_told_in_spanish_or_is_but_a_citation() -> None:
    room = Path(canalwright.__file__).parent
    tables = ("anatomy/averages.toml", "irrigation/figures.toml", "readiness/methods.toml")
    told = {text for name in tables for text in _cites(tomllib.loads((room / name).read_text(encoding="utf-8")))}
    assert {t for t in told if SPANISH.known(t) is None and not CITED.fullmatch(t)} == set()


def test_names_of_the_tray_and_of_the_reference_are_told_within_a_sentence() -> None:
    canal = Canal.from_measurements(tooth=46, canal="distal", working_length=20.5, finishing_file=(30, 0.04))
    assert _left(SPANISH(f"mm from {canal.reference}")) == "" and SPANISH.known(canal.reference)
    for needle in casefile.generic_tray().needles:
        assert _left(SPANISH(f"{needle.name} goes to 3.0 mm from the end")) == "", needle.name
    for top in ("crest of bone", "orifice: the crest of bone is not below it", "orifice: crest of bone not given"):
        assert _left(SPANISH(f"backfill ends at ({top})")) == "", top


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
    read_out = re.findall(r"<(?:title|desc)[^>]*>([^<]+)<", picture.plan_picture(plan, SPANISH))
    assert len(read_out) == 2 and [text for text in read_out if _left(text) or " front" in text] == []


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
    for code in (10 * q + p for q in (1, 2, 3, 4) for p in range(1, 9)):
        tooth = Tooth(code)
        known = averages.tooth_averages(tooth)
        for name in (tooth.kind, tooth.side, *known.usual, *known.possible):
            assert SPANISH.known(name) is not None, name
    assert casefile.demo_case().canals
