"""Protects: what happened in a case, and what the records refuse, is told in the reader's words: no key of ours, no English left."""

import ast
import itertools
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

import canalwright.records
import canalwright.web.records
from canalwright.records.accounts import Act, Role
from canalwright.records.accounts.signin import OVER, WRONG
from canalwright.records.events import Event, Kind
from canalwright.records.recall.rules import GUIDELINE
from canalwright.web.prefs import Prefs
from canalwright.web.records.screens.history import said
from canalwright.web.words import canal_words, words_of

SPANISH = words_of("es")
RECALL = {
    "on": "2026-11-26", "signs": ["sinus tract"], "symptoms": ["pain on biting"], "percussion": True,
    "index": {"mesiobuccal": {"ann": 2, "rea": 3}}, "agreed": {"mesiobuccal": 2}, "lesion": "smaller", "restoration": True,
    "restoration_sound": False, "lost": "fracture", "images": ["I-1"], "note": "", "blind": True,
}  # fmt: skip
END = {"value": 0.6, "low": 0.1, "high": 1.1, "unit": "mm"}
CHECK = {
    "on": "2026-11-26", "canal": "distal", "void_percent": 1.25, "film": "I-1", "marks": {"a": 1}, "habits": [["end", 0.1]],
    "assessment": {"grade": {"word": "adequate"}, "to_terminus": END, "voids": [{}], "smallest_void": {"value": 0.2}},
}  # fmt: skip
HAPPENED: list[tuple[Kind, dict[str, Any]]] = [
    (Kind.CASE, {"tooth": 46, "index_before": 4, "operator": "ann"}),
    (Kind.MEASUREMENT, {"case_file": "[case]", "digest": "0"}),
    (Kind.PLAN, {"canal": "canal", "plan": {"rounds": []}}),
    (Kind.CHAIR, {"on": "2026-11-26", "session": "0", "canal": "distal", "finished": True, "seconds": 301.2, "off": 2, "steps": []}),
    (Kind.CHECK, CHECK),
    (Kind.CHECK, {"on": "2026-11-26", "short_mm": 0.5, "void_percent": 3}),
    (Kind.SCHEDULE, GUIDELINE.as_json()),
    (Kind.RECALL, RECALL),
    (Kind.IMAGE, {"image": "I-1", "label": "film of the check", "media": "image/png"}),
    (Kind.CORRECTION, {"of": 3, "payload": None, "reason": "error"}),
    (Kind.CORRECTION, {"of": 3, "payload": {"canal": "distal"}, "reason": "error"}),
    (Kind.CLOSE, {"reason": "closed on the page"}),
    (Kind.IDENTITY, {"fields": ["name", "born"]}),
    (Kind.EXPORT, {"what": "letter", "language": "en", "text": "Dear colleague", "identity": False}),
    (Kind.HOLD, {"hold": True, "reason": "error"}),
]  # fmt: skip
ENGLISH = re.compile(
    r"\b(the|of|on|by|with|case|index|canal|film|filled|tender|voids?|steps?|seen|held|and|entry|is|not|months)\b|_"
)
MACHINE = {"restore.py", "backup.py", "backup_file.py", "vault.py", "keys.py", "chain.py", "crypt.py", "secret.py", "store.py",
           "migrate.py", "erasures.py", "engine.py", "canonical.py", "agreement.py", "proportions.py", "survival.py", "cox.py"}  # fmt: skip
"""What only somebody at the command line meets, or nobody."""


def _told(kind: Kind, payload: dict[str, Any], language: str) -> str:
    event = Event(7, datetime(2026, 11, 26, tzinfo=UTC), "ann", kind, "P-1", "C-1", 0.0, payload, "")
    return re.sub(r"<[^>]*>", "", said(Prefs(language), "C-1", event))


@pytest.mark.parametrize(("kind", "payload"), HAPPENED)
def test_what_happened_is_told_in_the_readers_words(kind: Kind, payload: dict[str, Any]) -> None:
    spanish, english = _told(kind, payload, "es"), _told(kind, payload, "en")
    assert spanish and english
    assert not ENGLISH.search(spanish), spanish
    assert not re.search(r"_|\{|\bNone\b|case_file|digest", english), english


def test_a_tooth_with_one_canal_does_not_say_canal_twice() -> None:
    assert canal_words(words_of("en"), "canal") == "canal" and canal_words(SPANISH, "canal") == "conducto"
    assert canal_words(words_of("en"), "distal") == "distal canal"


def _samples(node: ast.expr) -> list[str]:
    """A refusal with a name in its gaps, a number where one is formatted."""
    match node:
        case ast.Constant():
            return [str(node.value)]
        case ast.JoinedStr(values=parts):
            gaps = [
                _samples(p) if isinstance(p, ast.Constant) else ["3" if getattr(p, "format_spec", None) else "C-17"]
                for p in parts
            ]
            return ["".join(each) for each in itertools.product(*gaps)]
        case ast.IfExp(body=body, orelse=other):
            return [*_samples(body), *_samples(other)]
    return []


def _refusals() -> set[str]:
    found: set[str] = set()
    for room in (canalwright.records, canalwright.web.records):
        for path in Path(str(room.__file__)).parent.rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if path.name not in MACHINE else ():
                if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call) and node.exc.args:
                    found |= set(_samples(node.exc.args[0]))
                if isinstance(node, ast.Yield) and node.value and path.name == "sense.py":
                    found |= set(_samples(node.value))
    return {
        text
        for text in found
        if text.count(" ") > 2 and not text.endswith((" is no JSON number", " is no stamp", "a JSON object"))
    }


def test_every_refusal_is_told_in_spanish_whatever_names_stand_in_it() -> None:
    refusals = _refusals()
    assert len(refusals) > 80
    assert sorted(text for text in refusals if SPANISH.known(text) is None) == []
    assert all(
        SPANISH.known(text)
        for text in (
            WRONG,
            OVER,
            "password refused: use at least 12 characters: several words in a row are easy to keep in mind",
        )
    )
    told = {SPANISH(f"a {role.value} may not {act.value}: ask a clinician") for role in Role for act in Act}
    assert not any(re.search(r"\b(see|record|the|and|write|take)\b", text) for text in told), told
