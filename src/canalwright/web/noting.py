"""What is noted of a canal before its filling: rows added, taken out, undone, in the draft of its case.

Every note leaves a case that can be read: a row that cannot be is refused with what is wrong, and nothing changes. `Notes` keeps the
drafts it came from, so that each step can be taken back.
"""

import copy
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from canalwright.anatomy import averages
from canalwright.casefile import Case, CaseError
from canalwright.quantities import Quantity
from canalwright.readiness import Length
from canalwright.web.draft import Draft

ROWS: dict[str, tuple[str, ...]] = {
    "lengths": ("method", "value_mm", "error_mm"),
    "paper_points": ("dry_mm", "far_side_mm", "blood", "wet_through", "side"),
    "gauges": ("size", "passes"),
    "files_used": ("size", "taper", "short_mm"),
}
"""Kinds of rows and what a row may hold."""
SINGLE = ("percent", "temperature_C", "agitation", "hypochlorite_s", "chelator_s", "rate_mL_s")
"""What is said once of the irrigation."""
NAMES, FLAGS, WHOLE = {"method", "agitation", "side"}, {"blood", "wet_through", "passes"}, {"size"}
MOST_STEPS = 200
Z90 = 1.645


@dataclass(frozen=True)
class Notes:
    """The notes of canal number `index` in a case; `before` are the drafts that can be gone back to, the newest last."""

    case: Case
    index: int
    draft: Draft
    before: tuple[Draft, ...] = ()

    @classmethod
    def of(cls, case: Case, index: int) -> "Notes":
        """The notes of an open case."""
        return cls(case, index, Draft.of(case))

    def with_row(self, kind: str, values: Mapping[str, Any]) -> "Notes":
        """One row more at the end; raises CaseError for what cannot be, KeyError for a kind that there is not."""
        row = {key: _read(key, values.get(key)) for key in ROWS[kind] if _given(values.get(key)) or key == "passes"}
        table = self._table()
        table[kind] = [*table.get(kind, []), row]
        return self._with(table)

    def without_row(self, kind: str, at: int) -> "Notes":
        """One row less."""
        table = self._table()
        if kind not in ROWS or not 0 <= at < len(table.get(kind, [])):
            return self
        table[kind] = [row for i, row in enumerate(table[kind]) if i != at]
        return self._with(table)

    def with_age(self, text: object) -> "Notes":
        """Another age of the patient, or none."""
        table = self._table()
        table["age_years"] = _read("age_years", text) if _given(text) else None
        return self._with(table)

    def with_bath(self, key: str, text: object) -> "Notes":
        """Another value of the irrigation, or none; raises CaseError, KeyError as `with_row`."""
        if key not in SINGLE:
            raise KeyError(key)
        table = self._table()
        bath = {**(table.get("irrigation") or {})}
        bath[key] = _read(key, text) if _given(text) else None
        table["irrigation"] = {k: v for k, v in bath.items() if v is not None} or None
        return self._with(table)

    def with_order(self, order: list[str]) -> "Notes":
        """Other solutions in another order."""
        table = self._table()
        table["irrigation"] = {**(table.get("irrigation") or {}), "order": order}
        return self._with(table)

    def with_length(self, length: Length) -> "Notes":
        """The constriction, as all measurements together have it, for working length."""
        made = copy.deepcopy(self.draft.table)
        way = next((s.method for s in length.soundings if s.method in averages.methods("length")), "apex locator")
        told = {"value": round(length.constriction.value, 1), "method": way, "error": _spread(length.constriction)}
        made["canal"][self.index]["working_length_mm"] = told
        return self._kept(replace(self.draft, table=made))

    def with_curve(self, angle: Quantity, radius: Quantity, start: Quantity) -> "Notes":
        """The curve of the canal as a film shows it (Pruett's angle); towards which side, and a second curve, stay as they were."""
        made = copy.deepcopy(self.draft.table)
        table = made["canal"][self.index]
        curve = {k: v for k, v in (table.get("curve") or {}).items() if k in ("towards", "second")}
        for key, q in (("angle_deg", angle), ("radius_mm", radius), ("start_mm", start)):
            curve[key] = {"value": round(q.value, 1), "method": "radiograph", "error": _spread(q)}
        table["curve"] = {**curve, "measure": "pruett"}
        return self._kept(replace(self.draft, table=made))

    def undone(self) -> "Notes":
        """One step back; the same where there is none."""
        if not self.before:
            return self
        draft = self.before[-1]
        return Notes(draft.case(), self.index, draft, self.before[:-1])

    def rows(self, kind: str) -> list[dict[str, Any]]:
        """The rows of a kind, in order."""
        return list(self._table().get(kind) or [])

    @property
    def measured(self) -> dict[str, Any]:
        """What the canal itself is, without what is noted of it."""
        return {key: value for key, value in self.draft.table["canal"][self.index].items() if key != "readiness"}

    @property
    def bath(self) -> dict[str, Any]:
        """What is noted of the irrigation."""
        return dict(self._table().get("irrigation") or {})

    @property
    def age(self) -> float | None:
        """Age of the patient."""
        found: float | None = self._table().get("age_years")
        return found

    def _table(self) -> dict[str, Any]:
        return copy.deepcopy(self.draft.table["canal"][self.index].get("readiness") or {})

    def _with(self, table: dict[str, Any]) -> "Notes":
        made = copy.deepcopy(self.draft.table)
        kept = {key: value for key, value in table.items() if value not in (None, [], {})}
        made["canal"][self.index].pop("readiness", None)
        if kept:
            made["canal"][self.index]["readiness"] = kept
        return self._kept(replace(self.draft, table=made))

    def _kept(self, draft: Draft) -> "Notes":
        if draft.table == self.draft.table:
            return self
        return Notes(draft.case(), self.index, draft, (*self.before, self.draft)[-MOST_STEPS:])


def said(error: CaseError, place: str = "readiness.") -> str:
    """What is wrong with a note, in one line, its place in the file left out."""
    problem = error.problems[0]
    key = problem.key.partition(place)[2] or problem.key
    if not problem.value:
        return problem.action
    allowed = f", allowed {problem.allowed}" if problem.allowed else ""
    return f"{key.rpartition('.')[2]} = {problem.value}{allowed}: {problem.action}".replace("_mm = ", " = ")


def _spread(q: Quantity) -> float:
    """The error of a case file that covers an interval."""
    return round(max((q.high - q.low) / 2 / Z90, 0.05), 2)


def _given(value: object) -> bool:
    return value is not None and value is not False and value != ""


def _read(key: str, value: object) -> Any:
    """A value as the case file holds it; text that is no number stays text, for the reader of case files to refuse."""
    if key in FLAGS:
        return value is True or value in ("yes", "true", "passes")
    if key in NAMES or not isinstance(value, str):
        return value
    try:
        number = float(value.replace(",", "."))
    except ValueError:
        return value
    return int(number) if key in WHOLE and number.is_integer() else number
