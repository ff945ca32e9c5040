"""What a recall says of the outcome, by strict and by loose criteria.

Strict: no sign, no symptom, periapical index 1 or 2. Loose: strict, or no sign, no symptom and a lesion grown smaller
(Ng et al. 2007, Int Endod J 40:921-939, tells the two apart; cut of the index: Trope, Delano & Ørstavik 1999,
J Endod 25(5)). A lesion that is merely smaller four years on counts as persisting (European Society of Endodontology
2006, Int Endod J 39:921-930, from memory). Leaves out: what only a tomogram would show.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from canalwright.records.recall.rules import months_after
from canalwright.records.recall.visit import Visit

HEALTHY_UP_TO = 2
HEALING_MONTHS = 48


class Verdict(StrEnum):
    """The outcome in one word for the lists."""

    HEALED = "healed"
    HEALING = "healing"
    NOT_HEALED = "not healed"
    LOST = "tooth lost"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True)
class Judgement:
    """Success by strict and by loose criteria; None where the visit does not tell. Strict implies loose."""

    strict: bool | None
    loose: bool | None
    verdict: Verdict
    reason: str


def judge(visit: Visit, filled: date, before: int | None = None) -> Judgement:
    """Judge one `visit` of a tooth filled on `filled` whose index was `before` (1-5, None when unknown)."""
    if visit.lost:
        if visit.lost == "endodontic":
            return Judgement(False, False, Verdict.LOST, "lost for an endodontic reason")
        return Judgement(None, None, Verdict.LOST, f"lost: {visit.lost}; counts as a competing event")
    if not visit.clean:
        what = ", ".join([*visit.signs, *visit.symptoms, *(["tender to percussion"] if visit.percussion else [])])
        return Judgement(False, False, Verdict.NOT_HEALED, what)
    worst = visit.worst
    if worst is None:
        return Judgement(None, None, Verdict.NOT_JUDGED, "no film was read")
    if worst <= HEALTHY_UP_TO:
        return Judgement(True, True, Verdict.HEALED, f"no sign, no symptom, periapical index {worst}")
    smaller = visit.lesion == "smaller" or (before is not None and worst < before and visit.lesion in ("", "none"))
    if smaller and visit.on < months_after(filled, HEALING_MONTHS):
        return Judgement(False, True, Verdict.HEALING, f"lesion smaller, periapical index {worst}")
    late = f", smaller but {HEALING_MONTHS} months on" if smaller else ""
    return Judgement(False, False, Verdict.NOT_HEALED, f"periapical index {worst}{late}")
