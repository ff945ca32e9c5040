"""The hazard file as a page: `python -m release.hazards` writes docs/hazards.md from the file that the product reads."""

import re
from pathlib import Path

from canalwright.hazards import LIKELIHOODS, SEVERITIES, Hazard, caution, hazards

PAGE = Path(__file__).parents[1] / "docs" / "hazards.md"


def page() -> str:
    """The whole file as Markdown."""
    found = hazards()
    lines = [
        "# Hazards, and what is done about them",
        "",
        "In the manner of ISO 14971, which this file does not claim to fulfil: canalwright is no certified medical device. Made by "
        "`make hazards` from the file that the product itself reads (`canalwright/hazards/hazards.toml`); do not edit. Likelihoods are "
        "judgements of the authors, no measurements. A test fails when a control loses the test that proves it.",
        "",
        f"Severity: {', '.join(SEVERITIES)}. Likelihood: {', '.join(LIKELIHOODS)}.",
        "",
        f"The standing caution, on every screen, card, letter and file with a clinical number: *{caution()}*",
        "",
        "| hazard | severity | likelihood without | with the controls | controls | tests |",
        "|---|---|---|---|---|---|",
    ]
    for h in found:
        tests = sum(len(c.tests) for c in h.controls)
        lines.append(
            f"| [{h.title}](#{_anchor(h.title)}) | {h.severity} | {h.before} | {h.after} | {len(h.controls)} | {tests} |"
        )
    for h in found:
        lines += ["", *_one(h)]
    return "\n".join(lines) + "\n"


def _one(h: Hazard) -> list[str]:
    said = f"*{h.warning}* (at {', '.join(h.stages)})" if h.warning else "nothing beyond the standing caution"
    return [
        f"## {h.title}",
        "",
        f"- **Cause:** {h.cause}",
        f"- **Harm:** {h.harm}",
        f"- **Severity:** {h.severity}. **Likelihood:** {h.before} without, {h.after} with the controls.",
        "- **Controls:**",
        *(f"    - {c.does} ({', '.join(f'`{t}`' for t in c.tests)})" for c in h.controls),
        f"- **What is left:** {h.left}",
        f"- **What is said:** {said}",
    ]


def _anchor(title: str) -> str:
    """The address of a heading within a page, as Markdown sites make it."""
    return re.sub(r"[^a-z0-9 -]", "", title.lower()).replace(" ", "-")


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(PAGE)
