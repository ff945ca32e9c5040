"""Protects: own results are gathered from the events as they stand, lost-to-recall shows, and small groups are refused."""

from datetime import date
from random import Random

import pytest

from canalwright.records import Kind, Store
from canalwright.records.errors import TooFew
from canalwright.records.outcomes import chart, outcomes_of, published, summarise
from canalwright.records.outcomes.cases import CaseOutcome
from canalwright.records.outcomes.summary import hazards_by, strata
from canalwright.records.outcomes.tables import chart_csv, strata_csv
from canalwright.records.recall.rules import months_after

TODAY = date(2026, 11, 25)


def _practice(store: Store, count: int = 30) -> None:
    """An invented practice: every third tooth had a lesion, every fifth patient never came back, some teeth were lost."""
    chance = Random(5)
    entries: list[tuple[str, Kind, dict[str, object]]] = []
    patient = ""
    for i in range(count):
        patient = patient if i % 4 == 3 else store.patients.add("ann")
        before = 4 if i % 3 == 0 else 1
        case = store.cases.open(
            patient, {"tooth": [11, 24, 46][i % 3], "index_before": before, "operator": "stu"}, "ann"
        )
        filled = months_after(date(2021, 1, 15), i)
        seconds = 1800 - 20 * i + chance.randrange(60)
        chair = {"on": filled.isoformat(), "finished": True, "seconds": seconds, "holds_kept": 0.9}
        plan = {"rounds": [{}] * (3 + i % 3), "heat": {"margin": {"value": 2.0 + 0.1 * i}}}
        entries += [
            (case, Kind.PLAN, {"canal": "m", "plan": plan}),
            (case, Kind.CHAIR, chair),
            (case, Kind.CHECK, {"on": filled.isoformat(), "short_mm": 0.5 + (i % 4), "void_percent": 0.1 * i}),
        ]  # fmt: skip
        if i % 5 == 0:
            continue
        grade = 3 if before == 4 and i % 2 else 1
        index = {"m": {"ann": grade, "bob": grade + (i % 7 == 0)}}
        lost = "endodontic" if i in (7, 8) else "fracture" if i == 11 else ""
        for months in (12, 24) if i < 25 and not lost else (12,):
            visit = {
                "on": months_after(filled, months).isoformat(),
                "index": index,
                "lost": lost,
                "restoration": i % 2 == 0,
            }
            entries.append((case, Kind.RECALL, visit))
    store.cases.record_all(entries, "stu")


@pytest.fixture
def practice(lone: Store) -> list[CaseOutcome]:
    _practice(lone)
    return outcomes_of(lone, TODAY)


def test_rows_are_the_same_on_either_database(store: Store) -> None:
    _practice(store, 12)
    rows = outcomes_of(store, TODAY)
    assert len(rows) == 12
    assert outcomes_of(store, TODAY, operator="nobody") == []
    first = next(r for r in rows if r.factors["plan.heat margin"] == pytest.approx(2.1))
    assert (first.strict, first.loose, first.missed, first.lost) == (True, True, True, None)
    assert first.seen == pytest.approx(24, abs=0.1)
    assert first.factors["check.short_mm"] == 1.5
    assert first.factors["plan.rounds"] == 4
    assert first.factors["tooth group"] == "premolar"


def test_summary_shows_who_was_lost_to_recall(practice: list[CaseOutcome]) -> None:
    found = summarise(practice)
    assert (found.recalls.filled, found.recalls.followed, found.recalls.lost) == (30, 24, 6)
    assert found.recalls.rate is not None and found.recalls.rate.value == 0.8
    assert found.overall.strict is not None and found.overall.loose is not None
    assert found.overall.strict.value <= found.overall.loose.value
    assert found.survival is not None and found.survival.cases == 24
    assert sum(found.survival.events) == 3
    one, two = (found.lost_by_cause[c] for c in ("endodontic", "other"))
    assert one.at(50, 0) + two.at(50, 0) + found.survival.at(50, 1) == pytest.approx(1)
    assert "lost, endodontic" not in found.refused and "healing" in found.refused
    assert found.readers is not None and found.readers.pairs > 20
    assert any(p.source.startswith("Ng") for p in found.beside)


def test_small_groups_have_a_reason_instead_of_figures(practice: list[CaseOutcome]) -> None:
    followed = [c for c in practice if c.seen]
    groups = {s.name: s for s in strata(followed, "tooth group")}
    assert groups["front"].strict is None and "too few" in groups["front"].refused
    assert sum(s.cases for s in groups.values()) <= len(followed)
    written = strata_csv("tooth group", groups.values())
    assert "too few" in written
    assert summarise(practice[:5]).refused["survival"].endswith("at least 20 are needed")
    with pytest.raises(TooFew, match="events carry too little"):
        hazards_by(practice, ["lesion before", "tooth group"])


def _lesion(number: int, quick: bool, chance: Random) -> CaseOutcome:
    """An invented tooth with a lesion; quick ones heal at twice the rate, all are followed for 40 months."""
    healing = chance.expovariate((2 if quick else 1) / 20)
    healed = healing if healing < 40 else None
    factors = {"lesion before": True, "quick": quick, "tooth group": "molar" if number % 3 else "front"}
    return CaseOutcome(
        f"C{number}", f"P{number // 2}", "ann", 46, TODAY, 40.0, healed, None, "", True, True, False, factors
    )


def test_what_goes_with_healing_is_found() -> None:
    """A factor that doubles the rate of healing is found with its interval; one without effect is not."""
    chance = Random(11)
    cases = [_lesion(i, i % 2 == 0, chance) for i in range(300)]
    model = hazards_by(cases, ["quick", "tooth group"], "healing")
    quick, group = model.hazards
    assert quick.low <= 2 <= quick.high and quick.low > 1
    assert group.factor == "tooth group: front" and group.low <= 1 <= group.high
    assert (model.cases, model.patients) == (300, 150)
    with pytest.raises(TooFew):
        hazards_by([], ["quick"])


def test_numbers_are_parted_at_their_median(practice: list[CaseOutcome]) -> None:
    groups = strata([c for c in practice if c.seen], "check.void_percent")
    assert len(groups) == 2 and abs(groups[0].cases - groups[1].cases) <= 3


def test_corrected_recall_counts_as_corrected(lone: Store) -> None:
    _practice(lone, 2)
    row = next(r for r in outcomes_of(lone, TODAY) if r.seen)
    recalls = [e for e in lone.cases.events(row.case) if e.kind is Kind.RECALL]
    lone.cases.correct(recalls[-1].seq, {"on": "2024-01-01", "lost": "endodontic"}, "wrong patient", "ann")
    assert next(r for r in outcomes_of(lone, TODAY) if r.case == row.case).lost_for == "endodontic"


def test_a_visit_that_awaits_its_second_reader_is_no_verdict_yet(lone: Store) -> None:
    """Seen, so not lost to recall; but neither healed nor judged, and healing is observed to the visit before it only."""
    case = lone.cases.open(lone.patients.add("ann"), {"tooth": 46, "index_before": 4}, "ann")
    blind = {"on": "2025-01-10", "index": {"m": {"ann": 1}}, "blind": True}
    lone.cases.record_all(
        [
            (case, Kind.CHECK, {"on": "2023-01-10"}),
            (case, Kind.RECALL, {"on": "2024-01-10", "index": {"m": {"ann": 4}}}),
            (case, Kind.RECALL, blind),
        ],
        "ann",
    )
    (row,) = outcomes_of(lone, TODAY)
    assert (row.healed, row.strict, row.loose, row.missed) == (None, None, None, False)
    assert row.seen == pytest.approx(24, abs=0.1) and row.told == pytest.approx(12, abs=0.1)
    assert summarise([row]).overall.cases == 0 and summarise([row]).recalls.followed == 1
    seq = lone.cases.events(case)[-1].seq
    lone.cases.correct(seq, {**blind, "index": {"m": {"ann": 1, "bea": 2}}}, "second reading", "bea")
    (row,) = outcomes_of(lone, TODAY)
    assert row.strict is True and row.healed == pytest.approx(24, abs=0.1) and row.told == row.seen


def test_erased_person_is_gone_from_the_figures(lone: Store) -> None:
    _practice(lone, 3)
    lone.patients.erase(lone.cases.page().rows[0].patient, "asked", "ann")
    assert len(outcomes_of(lone, TODAY)) == 2


def test_chart_shows_a_student_improve(practice: list[CaseOutcome]) -> None:
    """Chair times fall by 20 s a case: the slope and its interval say so, and late points leave the first limits."""
    found = chart(practice, "chair.seconds", base=10)
    assert [p.on for p in found.points] == sorted(p.on for p in found.points)
    assert found.slope_low <= -200 <= found.slope_high < 0
    assert found.points[-1].signal == "beyond" and found.based_on == 10
    assert chart_csv(found).count("\r\n") == 31
    flat = chart(practice, "chair.holds_kept")
    assert flat.centre == pytest.approx(0.9) and {p.signal for p in flat.points} == {""}
    with pytest.raises(TooFew):
        chart(practice, "chair.unknown")


def test_published_figures_name_their_source() -> None:
    assert all(0 < p.value < 1 and p.source and p.seen for p in published())
    assert all(p.low is None or p.low <= p.value <= (p.high or 0) for p in published())
    assert published("success, secondary", "strict")[0].value == 0.77
