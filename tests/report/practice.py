"""An invented practice of our own: rows of outcomes, for drawings."""

from datetime import date
from random import Random

from canalwright.records.outcomes import CaseOutcome
from canalwright.records.recall.rules import months_after


def practice(count: int = 60) -> list[CaseOutcome]:
    """Every third tooth had a lesion, some were lost, the chair time falls with practice."""
    chance, rows = Random(7), []
    for i in range(count):
        before = i % 3 == 0
        seen = 12.0 + 12.0 * (i % 5) + chance.random()
        lost = seen if i % 13 == 5 else None
        good = i % 6 != 0
        rows.append(
            CaseOutcome(
                case=f"C-{i}",
                patient=f"P-{i // 2}",
                operator="stu",
                tooth=46,
                filled=months_after(date(2020, 1, 6), i % 50),
                seen=seen,
                healed=12.0 + chance.random() if before and good and lost is None else None,
                lost=lost,
                lost_for="" if lost is None else "endodontic" if i % 2 else "fracture",
                strict=good,
                loose=good or i % 12 == 0,
                missed=i % 9 == 0,
                factors={
                    "lesion before": before,
                    "tooth group": "molar" if i % 2 else "premolar",
                    "restored": True,
                    "chair.seconds": 2400.0 - 12 * i + chance.randrange(90) + (900 if i == 30 else 0),
                },
            )
        )
    return rows
