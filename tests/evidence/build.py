"""Write `docs/evidence.md` from the rows of the evidence: `python -m tests.evidence.build`."""

from collections import Counter
from pathlib import Path

from tests.evidence.collect import all_checks
from tests.evidence.table import Check

PAGE = Path(__file__).parents[2] / "docs" / "evidence.md"


def _number(value: float) -> str:
    return f"{value:.4g}"


def _theirs(check: Check) -> str:
    if isinstance(check.theirs, tuple):
        return f"{_number(check.theirs[0])} to {_number(check.theirs[1])}"
    return _number(check.theirs)


def _verdict(check: Check) -> str:
    if check.miss:
        return f"**miss**: {check.miss}"
    return "agrees"


def render(checks: list[Check]) -> str:
    """The page as Markdown."""
    misses = sum(bool(c.miss) for c in checks)
    rooms = Counter(c.room for c in checks)
    lines = [
        "# Evidence: our results beside published ones",
        "",
        "Built by `make evidence` from the rows that the tests run; do not edit. "
        f"{len(checks)} rows, {misses} of them misses, which stay on the page with the reason. "
        "*calibration* marks a figure that set a parameter; it judges nothing.",
        "",
        "How a figure was seen is said in each row: *from memory* means that nobody could open the source "
        "here, so look it up before you lean on it.",
        "",
        "| room | rows |",
        "|---|---|",
        *[f"| {room} | {count} |" for room, count in rooms.items()],
    ]
    for room in rooms:
        lines += ["", f"## {room}", "", "| what | conditions | ours | theirs | tolerance, and why | source (how seen) | verdict |",
                  "|---|---|---|---|---|---|---|"]  # fmt: skip
        for c in (c for c in checks if c.room == room):
            role = " *(calibration)*" if c.role == "calibration" else ""
            lines.append(
                f"| {c.name}{role} | {c.conditions} | {_number(c.value)} {c.unit} | {_theirs(c)} {c.unit} | "
                f"± {_number(c.tolerance)}: {c.why} | {c.source} ({c.seen}) | {_verdict(c)} |"
            )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    PAGE.write_text(render(all_checks()), encoding="utf-8")
    print(PAGE)
