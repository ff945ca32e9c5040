"""Run the worked studies anew and renew their pages: `python -m tests.cohort.worked FOLDER [teeth]`.

Tables and drawings go to `docs/studies`; what stands between marks in the pages (`<!-- answers -->` to `<!-- /answers -->`) is written from
them, numbers and verdicts alike, so that no sentence beside them holds a number of the study. Taken up in FOLDER where it was cut
short; run the evidence afterwards (`python -m tests.evidence.build`), which reads the same tables.
"""

import csv
import shutil
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from canalwright.cohort import answers
from canalwright.cohort.answers import Estimate, Gain, Heat, ReachAnswer
from canalwright.cohort.figures import percent, signed
from canalwright.cohort.fleet import Local
from canalwright.cohort.job import Row
from canalwright.cohort.study import study
from canalwright.cohort.study_model import Study

PAGES = Path(__file__).parents[2] / "docs" / "studies"
PUBLISHED = {
    "heat": (
        "rise of lower over upper central incisors", "deepest soft gutta-percha in upper central incisors, from the apex",
        "variance of the rise that the wall explains in lower molars",
        "lower molars whose expected rise stays under 10 K with blood flow",
    ),
    "reach": (
        "stop of stiff pluggers from 0.50 mm, median", "how much deeper the narrowest stiff plugger gets after more flare",
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Told:
    """A study and what its table answers; `count` teeth of each group."""

    study: Study
    count: int
    heat: list[Heat]
    reach: list[ReachAnswer]
    gains: list[Gain]


def renew(name: str, folder: Path, teeth: int | None) -> None:
    study(Study.load(PAGES / f"{name}.toml"), folder / name, Local(), teeth=teeth)
    out = folder / name
    for kind in ("teeth", "answers"):
        shutil.copy(out / f"{kind}.csv", PAGES / f"{name}-{kind}.csv")
    for drawn in (out / "figures").glob("*.svg"):
        shutil.copy(drawn, PAGES / f"{name}-{drawn.name.removeprefix(f'{name}-')}")
    page, made = PAGES / f"{name}.md", from_table(name)
    page.write_text(
        filled(page.read_text(encoding="utf-8"), {"teeth": teeth_of(name, made)} | told(name, made)), encoding="utf-8"
    )


def from_table(name: str) -> Told:
    """What the table beside the page of a study answers."""
    plan, rows = Study.load(PAGES / f"{name}.toml"), rows_of(name)
    asked = {q.ask for q in plan.questions}
    return Told(
        plan, len({r["tooth"] for r in rows}) // len(plan.model.group),
        answers.heat(rows, plan.model.study.limit_k) if "heat" in asked else [],
        answers.reach(rows) if "reach" in asked else [],
        answers.gains(rows) if "rounds" in asked else [],
    )  # fmt: skip


def rows_of(name: str) -> list[Row]:
    """The rows of the table beside the page of a study, without those that were set aside."""
    with (PAGES / f"{name}-teeth.csv").open(encoding="utf-8", newline="") as stream:
        rows = [{key: _value(text) for key, text in row.items()} for row in csv.DictReader(stream)]
    return [row for row in rows if row["status"] == "done"]


def _value(text: str) -> str | bool | float | None:
    if text in ("", "true", "false"):
        return {"": None, "true": True, "false": False}[text]
    try:
        return float(text)
    except ValueError:
        return text


def filled(text: str, parts: Mapping[str, str]) -> str:
    """The page with each part between its marks. Raises ValueError for a part without marks in the page."""
    for mark, part in parts.items():
        first, last = f"<!-- {mark} -->", f"<!-- /{mark} -->"
        if text.count(first) != 1 or text.count(last) != 1:
            raise ValueError(f"the page needs one place for {mark}, between {first} and {last}")
        before, rest = text.split(first)
        text = f"{before}{first}\n{part}\n{last}{rest.split(last)[1]}"
    return text


def told(name: str, found: Told) -> dict[str, str]:
    """What goes between the marks, besides how many teeth there are."""
    parts = {"published": _published(name)}
    if found.heat:
        parts |= {"answers": _heat(found), "verdicts": _verdicts(found)}
    if found.reach:
        parts["answers"] = _reach(found)
    if found.gains:
        parts["rounds"] = _rounds(found)
    return parts


def teeth_of(name: str, found: Told) -> str:
    """How many of the study's teeth there are, and the command that makes them."""
    whole, count = found.study.model.study.teeth, found.count
    each = " of each kind" if len(found.study.model.group) > 1 else ""
    if count >= whole:
        return (
            f"All {whole} teeth{each} that the file asks for:\n\n    canalwright cohort study {name}.toml --out {name}"
        )
    return (
        f"The file asks for {whole} teeth{each}; what stands here are its **first {count}**{each}. Without `--teeth` the intervals are "
        f"narrower.\n\n    canalwright cohort study {name}.toml --out {name} --teeth {count}"
    )


def _heat(found: Told) -> str:
    aim = _aim(found, "heat")
    rows = [
        (h.group, h.protocol, percent(h.fillings), h.fillings.verdict(aim), percent(h.expected), f"{h.median:.1f}; {h.highest:.1f}")
        for h in found.heat
    ]  # fmt: skip
    columns = (
        "teeth", "activation", "fillings under the limit", f"keeps {100 * aim:g} %", "teeth whose expected rise is",
        "median; highest expected rise, K",
    )  # fmt: skip
    return _table(columns, rows)


def _verdicts(found: Told) -> str:
    """For each group, which protocols keep the aim, which do not, and where that many teeth cannot tell."""
    aim, lines = _aim(found, "heat"), []
    for group in dict.fromkeys(h.group for h in found.heat):
        named = {
            v: [h.protocol for h in found.heat if h.group == group and h.fillings.verdict(aim) == v] for v in WORDS
        }
        said = "; ".join(f"{WORDS[v]} {', '.join(names)}" for v, names in named.items() if names)
        lines.append(f"- **{group.capitalize()}**, {100 * aim:g} % of fillings under the limit: {said}.")
    return "\n".join(lines)


WORDS = {"yes": "kept by", "no": "not kept by", "not decided": "not decided for"}


def _reach(found: Told) -> str:
    aim = _aim(found, "reach")
    rows = [(r.protocol, percent(r.teeth), r.teeth.verdict(aim), percent(r.chance)) for r in found.reach]
    return _table(("protocol and set", "teeth reached as planned", f"keeps {100 * aim:g} %", "mean chance"), rows)


def _rounds(found: Told) -> str:
    worth = next(q.worth_mm for q in found.study.questions if q.ask == "rounds")
    rows = [
        (
            f"{g.after} against {g.before}", signed(g.depth), g.depth.verdict(worth), signed(g.rise), signed(g.seconds, 0),
            "" if g.void is None else _points(g.void),
        )
        for g in found.gains
    ]  # fmt: skip
    columns = (
        "step", "soft gutta-percha deeper, mm", f"worth it ({worth:g} mm)", "rise, K", "time, s", "voids, % points",
    )  # fmt: skip
    return _table(columns, rows)


def _published(name: str) -> str:
    """The rows of the evidence that read this study's tables."""
    from tests.evidence.evidence_cohort import CHECKS

    rows = []
    for wanted in PUBLISHED[name]:
        check = next(c for c in CHECKS if c.name == wanted)
        theirs = " to ".join(f"{v:g}" for v in (check.theirs if isinstance(check.theirs, tuple) else (check.theirs,)))
        verdict = "agrees" if check.holds else "**miss**"
        ours, known = f"{check.value:.3g} {check.unit}".strip(), f"{theirs} {check.unit}".strip()
        rows.append((wanted, ours, f"{known} ({check.source})", f"± {check.tolerance:g}: {verdict}"))
    return _table(("finding", "here", "published", "tolerance"), rows)


def _aim(found: Told, ask: str) -> float:
    return next(q.share for q in found.study.questions if q.ask == ask)


def _points(e: Estimate) -> str:
    return f"{100 * e.value:+.2f} ({100 * e.low:+.2f} to {100 * e.high:+.2f})"


def _table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    return "\n".join(f"| {' | '.join(row)} |" for row in (columns, ["---"] * len(columns), *rows))


if __name__ == "__main__":
    for study_name in ("heat", "reach"):
        renew(study_name, Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else None)
