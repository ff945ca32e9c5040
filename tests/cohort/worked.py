"""Run the worked studies anew and renew what stands beside their pages: `python -m tests.cohort.worked FOLDER [teeth]`.

Tables and drawings go to `docs/studies`, the answers between the marks in the pages are rewritten; the sentences about them are not: read
them again. Taken up in FOLDER where it was cut short.
"""

import re
import shutil
import sys
from pathlib import Path

from canalwright.cohort.figures import percent, signed
from canalwright.cohort.fleet import Local
from canalwright.cohort.job import code_hash
from canalwright.cohort.study import Found, Study, study

PAGES = Path(__file__).parents[2] / "docs" / "studies"


def renew(name: str, folder: Path, teeth: int | None) -> None:
    found = study(Study.load(PAGES / f"{name}.toml"), folder / name, Local(), teeth=teeth)
    out = folder / name
    for kind in ("teeth", "answers"):
        shutil.copy(out / f"{kind}.csv", PAGES / f"{name}-{kind}.csv")
    for drawn in (out / "figures").glob("*.svg"):
        shutil.copy(drawn, PAGES / f"{name}-{drawn.name.removeprefix(f'{name}-')}")
    page = PAGES / f"{name}.md"
    text = page.read_text(encoding="utf-8")
    told = f"<!-- answers -->\n{answers(found)}\n<!-- /answers -->"
    page.write_text(
        re.sub(r"<!-- answers -->.*<!-- /answers -->", lambda _: told, text, flags=re.DOTALL), encoding="utf-8"
    )


def answers(found: Found) -> str:
    """All answers as Markdown tables."""
    count = len(found.ran.outcomes) // len(found.study.model.group)
    lines = [f"{count} teeth of each group; program text {code_hash()}.", ""]
    if found.heat:
        lines += [
            "| teeth | protocol | fillings under the limit | keeps the aim | median; highest expected rise, K |",
            "|---|---|---|---|---|",
        ]
        aim = next(q.share for q in found.study.questions if q.ask == "heat")
        lines += [
            f"| {h.group} | {h.protocol} | {percent(h.fillings)} | {h.fillings.verdict(aim)} | {h.median:.1f}; {h.highest:.1f} |"
            for h in found.heat
        ]
    if found.reach:
        aim = next(q.share for q in found.study.questions if q.ask == "reach")
        lines += ["| protocol and set | teeth reached as planned | keeps the aim | mean chance |", "|---|---|---|---|"]
        lines += [
            f"| {r.protocol} | {percent(r.teeth)} | {r.teeth.verdict(aim)} | {percent(r.chance)} |" for r in found.reach
        ]
    if found.gains:
        lines += ["", "| step | soft gutta-percha deeper, mm | rise, K | time, s |", "|---|---|---|---|"]
        lines += [
            f"| {g.after} against {g.before} | {signed(g.depth)} | {signed(g.rise)} | {signed(g.seconds, 0)} |"
            for g in found.gains
        ]
    return "\n".join(lines)


if __name__ == "__main__":
    for study_name in ("heat", "reach"):
        renew(study_name, Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else None)
