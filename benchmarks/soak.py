"""Work the page for a long time and watch the memory: `python -m benchmarks.soak [--minutes N] [--pause S]`.

Each round opens the demo case, waits for its plan, moves a control to a place where it has not been for long, waits for the whole plan,
plays the filling, and opens and closes the practice scan when asked to with `--scan`; then it rests, as a reader does. At intervals it
prints the server's own memory, the resident memory of the server with its workers (what they share counts for each), and of the page what
its scripts keep after garbage collection, its nodes and its listeners. Whether it grows is for the reader to say; the last lines compare
the means of the second and of the last quarter, which leaves out the filling of what is kept on purpose: the last 40 plans and stories
(about 6 MB for each pair), and each kernel once compiled.
"""

import argparse
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from playwright.sync_api import CDPSession, Page
from tests.support.browser import Server, browser
from tests.support.ward import MOVE, own, resident

WAIT = 900_000
"""A plan on a busy machine may take long; a soak that gives up tells nothing, ms."""
PLACES = [round(1.2 + 0.1 * i, 1) for i in range(30)]
"""Where the control is moved to, s: with their stories more than the server keeps, so that it has to let go of some."""


def kept(session: CDPSession) -> tuple[float, ...]:
    """What the page keeps: its scripts' memory after garbage collection, MB, its nodes, its listeners."""
    session.send("HeapProfiler.collectGarbage")
    told = {m["name"]: float(m["value"]) for m in session.send("Performance.getMetrics")["metrics"]}
    return told["JSHeapUsedSize"] / 1e6, told["Nodes"], told["JSEventListeners"]


def work(page: Page, turn: int, scan: bool) -> None:
    """One round of the main job."""
    page.goto("/demo")
    page.locator(".state.whole").wait_for()
    page.evaluate(MOVE, PLACES[turn % len(PLACES)])
    page.locator(".state.whole").wait_for()
    page.goto(page.url.replace("/plan", "/play"))
    page.locator("html[data-player=ready]").wait_for(state="attached")
    page.get_by_role("button", name="Play", exact=True).click()
    page.wait_for_timeout(1500)
    if scan:
        page.goto("/scan")
        page.locator("[data-open=practice]").click()
        page.locator("html[data-scan=ready]").wait_for(state="attached")
        page.goto("/scan")
        page.locator("[data-close]").first.click()
        page.locator("[data-close]").wait_for(state="detached")


def rounds(server: Server, page: Page, minutes: float, pause: float, scan: bool) -> Iterator[tuple[float, ...]]:
    """Work until the time is over; after each round the minutes gone and what is kept: server, with workers, scripts, nodes, listeners."""
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable")
    begun, turn = time.monotonic(), 0
    while time.monotonic() - begun < 60 * minutes:
        work(page, turn, scan)
        turn += 1
        yield (time.monotonic() - begun) / 60, own(server.pid)[0], resident(server.pid), *kept(session)
        page.wait_for_timeout(1000 * pause)


def main() -> None:
    """Soak, and print."""
    parser = argparse.ArgumentParser(prog="soak", description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--pause", type=float, default=5.0, help="rest after each round, s")
    parser.add_argument("--scan", action="store_true", help="open and close the practice scan too")
    given = parser.parse_args()
    seen: list[tuple[float, ...]] = []
    told = -1.0
    with tempfile.TemporaryDirectory() as data, browser() as chromium:
        served = Server(data=Path(data))
        served.start()
        try:
            page = chromium.new_context(base_url=served.address).new_page()
            page.set_default_timeout(WAIT)
            for now, *sizes in rounds(served, page, given.minutes, given.pause, given.scan):
                seen.append(tuple(sizes))
                if now - told >= given.minutes / 20:
                    told = now
                    print(f"{now:5.1f} min, {len(seen)} rounds: {_say(seen[-1])}", flush=True)
        finally:
            served.stop()
    part = max(1, len(seen) // 4)
    for name, some in (("second", seen[part : 2 * part] or seen), ("last", seen[-part:])):
        print(f"mean of the {name} quarter: {_say(tuple(sum(s) / len(s) for s in zip(*some, strict=True)))}")


def _say(sizes: tuple[float, ...]) -> str:
    server, workers, scripts, nodes, listeners = sizes
    return f"server {server:.0f} MB, with workers {workers:.0f} MB, page {scripts:.1f} MB, {nodes:.0f} nodes, {listeners:.0f} listeners"


if __name__ == "__main__":
    main()
