"""Tables of the study for the model page: `python -m tests.assessment.tables` writes them into docs/models/assessment.md."""

from pathlib import Path
from typing import Any

import numpy as np

from canalwright.records.outcomes.agreement import kappa_of
from tests.assessment.study import SIZES, stored
from tests.evidence.evidence_assessment import table

PAGE = Path(__file__).parents[2] / "docs" / "models" / "assessment.md"
BEGIN, END = "<!-- study -->", "<!-- /study -->"


def render() -> str:
    """The part of the page between its two marks."""
    told = stored()
    films = told["films"]
    read = [r for r in films if "found" in r]
    gaps = np.array([r["found"] - r["short"] for r in read])
    kappa = kappa_of(table())
    lines = [
        f"**{len(films)} films.** Read: {len(read)}. Length to the terminus: {np.mean(np.abs(gaps) <= 0.2):.1%} within 0.2 mm, root mean "
        f"square {np.sqrt(np.mean(gaps**2)):.3f} mm, mean {gaps.mean():+.3f} mm, worst {gaps[np.argmax(np.abs(gaps))]:+.2f} mm. "
        f"The truth lies in the 90 % interval in {np.mean([r['low'] <= r['short'] <= r['high'] for r in read]):.1%}.",
        "",
        f"Grade against the truth: kappa {kappa.value:.2f} ({kappa.low:.2f} to {kappa.high:.2f}), {kappa.agreement:.0%} alike.",
        "",
        "| truth | graded adequate | graded inadequate |",
        "|---|---|---|",
        *(
            f"| {name} | {int(a)} | {int(b)} |"
            for name, (a, b) in zip(("adequate", "inadequate"), table(), strict=True)
        ),
        "",
        _film_voids(read),
        "",
        "**Scans.** Four fillings with five voids each; lumen volume is that of the whole canal against its true one.",
        "",
        "| scan | void, mm | seen | volume found over true, median | true volume within the 90 % interval |",
        "|---|---|---|---|---|",
    ]
    for kind in ("micro-CT", "cone-beam scan"):
        rows = [r for r in told["scans"] if r["kind"] == kind]
        for size in SIZES:
            voids = [v for r in rows for v in r["voids"] if v["size"] == size]
            seen = [v for v in voids if v["found"]]
            ratio = f"{np.median([v['found'][0] / v['true'] for v in seen]):.2f}" if seen else "-"
            inside = f"{sum(v['found'][1] <= v['true'] <= v['found'][2] for v in seen)} of {len(seen)}" if seen else "-"
            lines.append(f"| {kind} | {size:g} | {len(seen)} of {len(voids)} | {ratio} | {inside} |")
    for kind in ("micro-CT", "cone-beam scan"):
        rows = [r for r in told["scans"] if r["kind"] == kind]
        smallest, lumen = np.mean([r["smallest"] for r in rows]), np.mean([abs(r["lumen"]) for r in rows])
        false, wide = sum(r["false"] for r in rows), np.mean([r["wide"] for r in rows])
        lines += [
            "",
            f"{kind[0].upper()}{kind[1:]}: smallest void that would be seen {smallest:.2f} mm; false voids {false} in {len(rows)} "
            f"fillings; lumen volume off by {lumen:.1%}; the filling shows {wide:.2f} times its width.",
        ]
    return "\n".join(lines)


def _film_voids(read: list[dict[str, Any]]) -> str:
    pairs = [(b, r) for r in read for b in r["bubbles"]]
    told = []
    for low, high in ((0.15, 0.25), (0.25, 0.35), (0.35, 0.5)):
        here = [(b, r) for b, r in pairs if low <= b[1] < high]
        seen = sum(any(abs(v[0] - b[0]) < 0.6 for v in r["voids"]) for b, r in here)
        told.append(f"{low:g}-{high:g} mm {seen} of {len(here)}")
    empty = [r for r in read if not r["bubbles"]]
    false = sum(bool(r["voids"]) for r in empty)
    return f"Voids seen on the films: {', '.join(told)}; false ones on {false} of {len(empty)} films without voids."


def main() -> None:
    """Write the page."""
    text = PAGE.read_text(encoding="utf-8")
    head, rest = text.split(BEGIN, 1)
    PAGE.write_text(f"{head}{BEGIN}\n{render()}\n{END}{rest.split(END, 1)[1]}", encoding="utf-8")


if __name__ == "__main__":
    main()
