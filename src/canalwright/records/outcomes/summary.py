"""Own results at a glance: who was seen, how they did, over time and by factor, beside published figures."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

from canalwright.records.errors import TooFew
from canalwright.records.outcomes.agreement import Kappa, kappa
from canalwright.records.outcomes.cases import CaseOutcome, Factor
from canalwright.records.outcomes.cox import CoxModel, cox
from canalwright.records.outcomes.proportions import Proportion, shown
from canalwright.records.outcomes.published import Published, published
from canalwright.records.outcomes.survival import Curve, aalen_johansen, kaplan_meier

T = TypeVar("T")
FOLLOWED = 11.0  # months after which a tooth counts as followed up: the one-year recall may come a little early
SOON = 1e-6  # months; a visit on the day of the filling still lies after it
HEALING = "Healing is found at a visit and happened before it: the curve is late by up to the gap between visits."
LOSS = "Loss is dated to the visit that found it, or told it."


@dataclass(frozen=True)
class Stratum:
    """Success in one group at the last recall, by both criteria; None with the reason in `refused` when too few."""

    name: str
    cases: int
    strict: Proportion | None
    loose: Proportion | None
    refused: str = ""


@dataclass(frozen=True)
class Recalls:
    """Filled teeth; those `followed` (seen at a year or later, or found lost); `lost` to recall: overdue and never
    followed; `overdue` for any recall. `rate`: followed, of those followed or lost to recall."""

    filled: int
    followed: int
    lost: int
    overdue: int
    rate: Proportion | None


@dataclass(frozen=True)
class Summary:
    """The whole picture. What could not honestly be shown is in `refused`, by name, with the reason."""

    recalls: Recalls
    overall: Stratum
    strata: dict[str, tuple[Stratum, ...]]
    survival: Curve | None
    lost_by_cause: dict[str, Curve]
    healing: Curve | None
    readers: Kappa | None
    beside: tuple[Published, ...]
    refused: dict[str, str]


def summarise(
    cases: Sequence[CaseOutcome], by: Sequence[str] = ("lesion before", "tooth group", "restored")
) -> Summary:
    """Sum up `cases`, success also by each factor in `by`."""
    refused: dict[str, str] = {}

    def tried(name: str, act: Callable[[], T]) -> T | None:
        try:
            return act()
        except TooFew as error:
            refused[name] = str(error)
            return None

    followed = [c for c in cases if c.seen is not None and (c.seen >= FOLLOWED or c.lost is not None)]
    seen = {c.case for c in followed}
    lost = sum(c.missed and c.case not in seen for c in cases)
    rate = tried("recall rate", lambda: shown(len(followed), len(followed) + lost))
    curves = {
        cause: curve
        for cause in ("endodontic", "other")
        if (curve := tried(f"lost, {cause}", lambda cause=cause: lost_to(cases, cause))) is not None  # type: ignore[misc]
    }
    return Summary(
        Recalls(len(cases), len(followed), lost, sum(c.missed for c in cases), rate),
        stratum("all", followed),
        {name: strata(followed, name) for name in by},
        tried("survival", lambda: tooth_survival(cases)),
        curves,
        tried("healing", lambda: healing(cases)),
        tried("readers", lambda: readers(cases)),
        published(),
        refused,
    )


def stratum(name: str, cases: Sequence[CaseOutcome]) -> Stratum:
    """Success in one group; refused for fewer than 10 judged cases."""
    strict, loose = ([x for x in (getattr(c, k) for c in cases) if x is not None] for k in ("strict", "loose"))
    try:
        return Stratum(name, len(strict), shown(sum(strict), len(strict)), shown(sum(loose), len(loose)))
    except TooFew as error:
        return Stratum(name, len(strict), None, None, str(error))


def strata(cases: Sequence[CaseOutcome], factor: str) -> tuple[Stratum, ...]:
    """Success by each value of a factor; numbers are parted at their median. Cases without it are left out."""
    known = [(c, c.factors[factor]) for c in cases if factor in c.factors]
    groups: dict[str, list[CaseOutcome]] = {}
    for case, value in known:
        groups.setdefault(_group(value, [v for _, v in known]), []).append(case)
    return tuple(stratum(name, groups[name]) for name in sorted(groups))


def tooth_survival(cases: Sequence[CaseOutcome]) -> Curve:
    """Share of teeth still there, whatever they were lost for. Raises TooFew."""
    seen = [c for c in cases if c.seen]
    return kaplan_meier([_end(c, c.seen) for c in seen], [c.lost is not None for c in seen], note=LOSS)


def lost_to(cases: Sequence[CaseOutcome], cause: str) -> Curve:
    """Share of teeth lost for an `endodontic` or an `other` reason, the other competing. Raises TooFew."""
    seen = [c for c in cases if c.seen]
    causes = [
        0 if c.lost is None else 1 if (c.lost_for == "endodontic") == (cause == "endodontic") else 2 for c in seen
    ]
    return aalen_johansen([_end(c, c.seen) for c in seen], causes, note=LOSS)


def healing(cases: Sequence[CaseOutcome]) -> Curve:
    """Share healed by strict criteria among teeth with a lesion before, loss of the tooth competing. Raises TooFew."""
    seen = [c for c in cases if c.told and c.factors.get("lesion before") is True]
    times = [c.healed if c.healed is not None else _end(c, c.told) for c in seen]
    causes = [1 if c.healed is not None else 2 if c.lost is not None else 0 for c in seen]
    return aalen_johansen(times, causes, note=HEALING)


def hazards_by(
    cases: Sequence[CaseOutcome], factors: Sequence[str], of: Literal["loss", "healing"] = "loss"
) -> CoxModel:
    """What goes with losing the tooth, or with healing where a lesion was: Cox model, clustered by patient.

    For healing, loss of the tooth ends observation (cause-specific hazard). Words become yes/no, the commonest being the
    base. Cases without one of the factors are left out. Raises TooFew, BadEntry.
    """
    healing_only = of == "healing"
    known = [c for c in cases if c.seen and all(f in c.factors for f in factors)]
    known = [c for c in known if c.told and c.factors.get("lesion before") is True] if healing_only else known
    columns: dict[str, list[float]] = {}
    for name in factors:
        values = [c.factors[name] for c in known]
        if not any(isinstance(v, str) for v in values):
            columns[name] = [float(v) for v in values]
            continue
        words = [word for word, _ in Counter(map(str, values)).most_common()]
        columns |= {f"{name}: {word}": [float(str(v) == word) for v in values] for word in words[1:]}
    ends = [c.healed if healing_only else c.lost for c in known]
    times = [
        _end(c, c.told if healing_only else c.seen) if end is None else max(end, SOON)
        for c, end in zip(known, ends, strict=True)
    ]
    return cox(times, [end is not None for end in ends], columns, [c.patient for c in known])


def readers(cases: Sequence[CaseOutcome]) -> Kappa:
    """Weighted kappa of the two readers who read most films together. Raises TooFew."""
    films = [grades for c in cases for grades in c.grades]
    pairs = Counter(pair for grades in films for pair in _pairs(sorted(grades)))
    if not pairs:
        raise TooFew("no film was read by two readers", 0, 1)
    a, b = pairs.most_common(1)[0][0]
    both = [grades for grades in films if a in grades and b in grades]
    return kappa([g[a] for g in both], [g[b] for g in both])


def _pairs(names: list[str]) -> list[tuple[str, str]]:
    return [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]


def _end(case: CaseOutcome, last: float | None) -> float:
    """End of observation: the loss, or the last visit that tells."""
    end = case.lost if case.lost is not None else last
    return max(end or 0.0, SOON)


def _group(value: Factor, everyone: list[Factor]) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    numbers = sorted(float(v) for v in everyone if not isinstance(v, bool | str))
    middle = numbers[len(numbers) // 2]
    return f"{middle:g} or more" if float(value) >= middle else f"under {middle:g}"
