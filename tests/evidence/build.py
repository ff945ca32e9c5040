"""Write `docs/evidence.md`, the figure of each model's check, and the rows that the page shows: `python -m tests.evidence.build`."""

import json
from collections import Counter
from pathlib import Path

from tests.evidence.collect import by_module
from tests.evidence.figure import figure
from tests.evidence.table import Check

HOUSE = Path(__file__).parents[2]
PAGE = HOUSE / "docs" / "evidence.md"
FIGURES = HOUSE / "docs" / "models" / "checks"
ROWS = HOUSE / "src" / "canalwright" / "web" / "evidence.json"


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


def rows(checks: list[Check]) -> str:
    """The same rows for the page in the browser, as JSON."""
    told = [
        {
            "room": c.room,
            "name": c.name,
            "conditions": c.conditions,
            "ours": f"{_number(c.value)} {c.unit}".strip(),
            "theirs": f"{_theirs(c)} {c.unit}".strip(),
            "tolerance": f"± {_number(c.tolerance)}: {c.why}",
            "source": c.source,
            "seen": c.seen,
            "role": c.role,
            "miss": c.miss,
        }
        for c in checks
    ]
    return json.dumps(told, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    modules = by_module()
    checks = [check for found in modules.values() for check in found]
    PAGE.write_text(render(checks), encoding="utf-8")
    ROWS.write_text(rows(checks), encoding="utf-8")
    FIGURES.mkdir(exist_ok=True)
    for name, found in modules.items():
        title = f"{name.replace('_', ', ')}: our results within what their checks accept"
        (FIGURES / f"{name}.svg").write_text(figure(title, found, f"check-{name}") + "\n", encoding="utf-8")
    print(PAGE, ROWS, FIGURES, sep="\n")
