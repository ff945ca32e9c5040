"""What letter, leaflet and casebook say of a case: the values of the fields of a text, and the tables of numbers.

Words are English and go through `say`, the catalogue of the reader's language. Every number has its interval beside it, or says
how it came about when it has none.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from math import inf
from typing import Any

from canalwright import casefile
from canalwright.exchange import LEAVES_OUT, Dossier, Fact
from canalwright.planning.product import CAUTION
from canalwright.quantities import Quantity
from canalwright.records.caseview import index_before
from canalwright.records.events import Kind
from canalwright.report.words import figure, interval

Say = Callable[[str], str]
IN_LETTER = (
    "plan.working_length", "plan.backfill_top", "plan.heat.surface_rise", "plan.heat.margin", "plan.chance_beyond_terminus",
    "assessment.", "check.",
)  # fmt: skip
IN_LEAFLET = (
    "plan.working_length",
    "plan.backfill_top",
    "assessment.to_terminus",
    "assessment.length_filled",
    "check.short_mm",
)
BASIS = {
    "predicted": "predicted by the plan",
    "measured": "measured for the plan",
    "read from an image": "read from an image",
    "done": "timed at the chair",
    "entered": "entered by hand",
}
FIELDS = (
    "born", "canals", "canals_kept", "case", "check_end", "check_voids", "clinic", "colleague", "date", "filled",
    "index_before", "number", "numbers", "opened", "operator", "outcome", "patient", "phone", "recall_last", "recall_next",
    "tooth", "tooth_code", "tooth_plain",
)  # fmt: skip
"""What a text may name, as `values` fills it."""
MONTHS = {
    "en": [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ],
    "es": [
        "enero",
        "febrero",
        "marzo",
        "abril",
        "mayo",
        "junio",
        "julio",
        "agosto",
        "septiembre",
        "octubre",
        "noviembre",
        "diciembre",
    ],
}


@dataclass(frozen=True)
class Given:
    """What the records do not hold and who writes adds: all of it may stay empty.

    `colleague` the letter is to, `clinic` it is from (several lines), `phone` for the patient, `on` the day on it (ISO).
    """

    colleague: str = ""
    clinic: str = ""
    phone: str = ""
    on: str = ""


def plain(text: str) -> str:
    """Words as they are: English."""
    return text


def values(dossier: Dossier, given: Given, say: Say = plain, language: str = "en") -> dict[str, str | None]:
    """Every field that a text may name, with what fills it; None where the records have nothing."""
    view, who = dossier.view, dossier.identity
    before = index_before(dossier.now)
    voids = _one(dossier, "check.void_percent", "assessment.void_share")
    tooth = dossier.tooth
    called = f"{say(tooth.kind)}, {say(tooth.side)}"
    return {
        "patient": dossier.patient,
        "born": day_words(who.born, language) if who and who.born else None,
        "number": (who.number if who else "") or None,
        "tooth": f"{tooth.code} ({called})",
        "tooth_code": str(tooth.code),
        "tooth_plain": called,
        "case": view.case_id,
        "operator": view.operator,
        "opened": day_words(view.opened[:10], language),
        "filled": day_words(view.filled, language) or None,
        "index_before": str(before) if before is not None else None,
        "check_end": _end(dossier, say),
        "check_voids": _voids(dossier, voids, say) if voids else None,
        "recall_last": day_words(view.last_recall, language) or None,
        "recall_next": day_words(view.next_due, language) or None,
        "outcome": say(view.outcome) if view.outcome and view.outcome != "not judged" else None,
        "colleague": given.colleague or None,
        "clinic": given.clinic or None,
        "phone": given.phone or None,
        "date": day_words(given.on, language) or None,
        "canals_kept": _kept(dossier, say),
        "canals": "table" if any(c.facts for c in dossier.canals) else None,
        "numbers": "table" if dossier.numbers else None,
    }


def _kept(dossier: Dossier, say: Say) -> str | None:
    """The canals that the records tell of, and which of the tooth's, as it was measured, they do not."""
    kept = [c.name for c in dossier.canals]
    texts = [t for e in dossier.now if e.kind is Kind.MEASUREMENT and isinstance(t := e.field("case_file"), str)]
    try:
        measured = [c.name for c in casefile.loads(texts[-1], "measurement").canals] if texts else []
    except casefile.CaseError:  # of another version
        measured = []
    missing = ", ".join(say(name) for name in measured if name not in kept)
    told = ", ".join(say(name) for name in kept)
    return f"{told} ({say('not kept: {canals}').format(canals=missing)})" if told and missing else told or None


def _end(dossier: Dossier, say: Say) -> str | None:
    """Where the filling ends against the terminus: short of it or beyond."""
    found = _one(dossier, "check.short_mm", "assessment.to_terminus")
    if found is None:
        return None
    if found.value >= 0:
        return say("{mm} short of the radiographic terminus").format(mm=_told(found, say))
    turned = replace(
        found,
        value=-found.value,
        low=None if found.high is None else -found.high,
        high=None if found.low is None else -found.low,
    )
    return say("{mm} beyond the radiographic terminus").format(mm=_told(turned, say))


def _voids(dossier: Dossier, found: Fact, say: Say) -> str:
    """The share of the voids; where an image showed none, with what it would not have shown."""
    smallest = _one(dossier, "", "assessment.smallest_void")
    if found.kind != "read from an image" or found.value > 0 or smallest is None:
        return _told(found, say)
    return say("none seen ({share}); a void under {size} would not show on this image").format(
        share=f"{spread(found, say)} %", size=number(smallest)
    )


def _one(dossier: Dossier, typed: str, read: str) -> Fact | None:
    """What was typed in for the tooth, or else what was read where one canal alone was; None otherwise."""
    found = [f for f in dossier.numbers if f.key == typed][-1:] or [f for f in dossier.numbers if f.key == read]
    return found[0] if len(found) == 1 else None


def _told(fact: Fact, say: Say) -> str:
    return number(fact) + ("" if spread(fact) == "-" else f" ({spread(fact, say)})")


def head(dossier: Dossier, given: Given, say: Say, language: str) -> dict[str, Any]:
    """Title lines, caution and what the numbers leave out, for a template."""
    who, tooth = dossier.identity, dossier.tooth
    refers = [
        (say("Patient"), dossier.patient),
        (say("Date of birth"), day_words(who.born, language) if who and who.born else ""),
        (say("Number"), who.number if who else ""),
        (say("Tooth"), f"{tooth.code} ({say(tooth.kind)}, {say(tooth.side)})"),
        (say("Case"), dossier.view.case_id),
    ]
    last = dossier.events[-1]
    return {
        "language": language,
        "clinic": given.clinic,
        "colleague": given.colleague,
        "date": day_words(given.on, language),
        "refers": [[k, v] for k, v in refers if v],
        "caution": say(CAUTION),
        "leaves_out": say(LEAVES_OUT),
        "from": say("From entries 1 to {n} of the records, entry {n} has the hash {hash}.").format(
            n=last.seq, hash=last.hash[:16]
        ),
        "page_of": say("page"),
    }


def tables(dossier: Dossier, say: Say = plain, keys: tuple[str, ...] = ("",)) -> list[dict[str, Any]]:
    """The numbers whose key begins with one of `keys` as tables: one a canal, one for what is known of the tooth as a whole."""
    made = []
    for canal in dossier.canals:
        facts = [f for f in canal.facts if f.key.startswith(keys)]
        point = canal.plan.get("reference_point") if canal.plan else None
        title = say(canal.name)
        if isinstance(point, str) and point:
            title += f" ({say('depths from the {point}').format(point=say(point))})"
        if facts:
            made.append({"title": title, "rows": rows(facts, say), "notes": notes(canal.assessment, say)})
    whole = [f for f in dossier.facts if f.key.startswith(keys)]
    if whole:
        made.append({"title": say("The tooth as a whole"), "rows": rows(whole, say), "notes": []})
    return made


def rows(facts: Iterable[Fact], say: Say = plain) -> list[list[str]]:
    """Name, number with unit, interval, where it comes from."""
    return [[say(f.words), number(f), spread(f, say), say(BASIS[f.kind])] for f in facts]


def number(fact: Fact) -> str:
    """The number with its unit."""
    unit = fact.unit.replace("mm3", "mm³").replace("mm2", "mm²").replace("deg C", "°C")
    return f"{figure(fact.value, fact.digits)} {unit}".strip()


def spread(fact: Fact, say: Say = plain) -> str:
    """The interval; a dash for a number that was entered, counted or timed."""
    if fact.kind in ("entered", "done"):
        return "-"
    low = -inf if fact.low is None else fact.low
    high = inf if fact.high is None else fact.high
    return interval(Quantity(fact.value, low, high, fact.unit), fact.digits).replace(" to ", say(" to "))


def notes(assessment: Mapping[str, Any] | None, say: Say = plain) -> list[str]:
    """What an assessment says besides numbers: the grade, and what its image could not show."""
    if assessment is None:
        return []
    said = []
    grade = assessment.get("grade")
    if isinstance(grade, Mapping) and grade.get("word"):
        said.append(f"{say('Grade of the filling')}: {say(str(grade['word']))}.")
    if assessment.get("basis"):
        said.append(f"{say('Read from')}: {say(str(assessment['basis']))}.")
    unseen = assessment.get("not_seen")
    if isinstance(unseen, list) and unseen:
        said.append(f"{say('Not seen on this image')}: {'; '.join(say(str(u)) for u in unseen)}.")
    return said


def day_words(day: str, language: str) -> str:
    """`25 November 2026`; empty for an empty day."""
    if not day:
        return ""
    on = date.fromisoformat(day[:10])
    month = MONTHS[language][on.month - 1]
    return f"{on.day} de {month} de {on.year}" if language == "es" else f"{on.day} {month} {on.year}"
