"""Many cases open at once: one page for each, all of one browser, planned, with a control moved under the hand."""

import subprocess
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, Page

from canalwright import casefile
from canalwright.web.draft import Draft

MOVE = """async (value) => {
  const input = document.getElementById("c-activation"), numbers = document.querySelector(".headline-box"), before = numbers.innerHTML;
  const began = performance.now();
  input.value = value;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  while (numbers.innerHTML === before) {
    if (performance.now() - began > 300000) return Infinity;
    await new Promise(requestAnimationFrame);
  }
  return (performance.now() - began) / 1000;
}"""
"""Move the activation's slider, as a hand does; the seconds until the numbers are new, or infinity."""


@dataclass
class Ward:
    """Pages of `count` cases on one server."""

    pages: list[Page]

    @classmethod
    def open(cls, chromium: Browser, address: str, count: int, stack: ExitStack) -> "Ward":
        """Lay the cases on the shelf and open each; returns when all have been planned."""
        context = chromium.new_context(viewport={"width": 1440, "height": 900}, base_url=address)
        stack.callback(context.close)
        draft, pages = Draft.of(casefile.demo_case()), []
        for i in range(count):
            text = casefile.dumps(draft.with_label(f"ward, bed {i + 1}").case())
            told = context.request.post(
                "/open?name=case.toml", data=text.encode(), headers={"content-type": "text/plain"}
            ).json()
            page = context.new_page()
            page.set_default_timeout(1_200_000)
            page.goto(told["go"])
            pages.append(page)
        made = cls(pages)
        made.planned()
        return made

    def planned(self) -> None:
        """Wait until every page shows a whole plan."""
        for page in self.pages:
            page.bring_to_front()  # a page behind others may not be drawn
            page.wait_for_selector(".state.whole")
            page.wait_for_selector(
                "html[data-settled=true]", state="attached"
            )  # of the last move, not of one before it

    def move(self, value: float) -> list[float]:
        """Move the control of each page; the seconds until each showed new numbers."""
        took = []
        for page in self.pages:
            page.bring_to_front()
            took.append(float(page.evaluate(MOVE, value)))
        return took

    def heap(self) -> float:
        """JavaScript memory of all pages after their waste was collected, MB."""
        used = 0.0
        for page in self.pages:
            session = page.context.new_cdp_session(page)
            session.send("HeapProfiler.collectGarbage")
            used += session.send("Runtime.getHeapUsage")["usedSize"] / 1e6
            session.detach()
        return used


def own(pid: int) -> tuple[float, float]:
    """A process's own memory and what it maps from files, MB; 0 where the system does not say."""
    try:
        text = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    except OSError:
        return 0.0, 0.0
    found = {line.split(":")[0]: line.split()[1] for line in text.splitlines() if line.startswith("Rss")}
    return int(found.get("RssAnon", 0)) / 1024, int(found.get("RssFile", 0)) / 1024


def resident(pid: int) -> float:
    """Resident memory of a process with all it has started, MB; 0 where the system does not say."""
    told = subprocess.run(["ps", "-eo", "pid=,ppid=,rss="], capture_output=True, text=True, check=False).stdout
    rows = [[int(n) for n in line.split()] for line in told.splitlines()]
    wanted, grown = {pid}, True
    while grown:
        more = {child for child, parent, _ in rows if parent in wanted} - wanted
        wanted, grown = wanted | more, bool(more)
    return sum(size for found, _, size in rows if found in wanted) / 1024
