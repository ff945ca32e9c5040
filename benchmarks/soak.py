"""Work the page for a long time and watch the memory: `python -m benchmarks.soak [--minutes N]`.

Each round opens the demo case, waits for its plan, moves a control, opens the player, plays, and opens the practice scan when asked to with
`--scan`. At intervals it prints the resident memory of the server with its workers, and what the page keeps after garbage collection.
Whether it grows is for the reader to say; the last line compares the mean of the second and of the last quarter.
"""

import argparse
import tempfile
import time
from pathlib import Path

from playwright.sync_api import CDPSession, Page
from tests.support.browser import browser, server

WAIT = 120_000


def resident(pid: int) -> float:
    """Resident memory of a process and all below it, MiB."""
    total, left = 0.0, [pid]
    while left:
        one = left.pop()
        try:
            status = Path(f"/proc/{one}/status").read_text()
            left += [int(c) for t in Path(f"/proc/{one}/task").iterdir() for c in (t / "children").read_text().split()]
        except OSError:
            continue  # it ended meanwhile
        total += sum(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS")) / 1024
    return total


def heap(session: CDPSession) -> float:
    """What the page's scripts keep, MiB."""
    session.send("HeapProfiler.collectGarbage")
    metrics = session.send("Performance.getMetrics")["metrics"]
    return next(float(m["value"]) for m in metrics if m["name"] == "JSHeapUsedSize") / 2**20


def work(page: Page, turn: int, scan: bool) -> None:
    """One round of the main job."""
    page.goto("/demo")
    page.locator(".state.whole").wait_for(timeout=WAIT)
    slider = page.get_by_label("Activation", exact=True)
    slider.focus()
    for _ in range(1 + turn % 6):
        slider.press("ArrowRight")
    page.wait_for_timeout(500)
    page.locator(".state.whole").wait_for(timeout=WAIT)
    base = page.url.split("?")[0]
    page.goto(base.replace("/plan", "/play"))
    page.locator("html[data-player=ready]").wait_for(state="attached", timeout=WAIT)
    page.get_by_role("button", name="Play", exact=True).click()
    page.wait_for_timeout(1500)
    if scan:
        page.goto("/scan")
        page.wait_for_timeout(1000)


def main() -> None:
    """Soak, and print."""
    parser = argparse.ArgumentParser(prog="soak", description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--scan", action="store_true", help="go over the scan's page too")
    given = parser.parse_args()
    begun, turn, seen, told = time.monotonic(), 0, [], -1.0
    with tempfile.TemporaryDirectory() as data, server(data=Path(data)) as address, browser() as chromium:
        port = int(address.rsplit(":", 1)[1])
        pid = _listener(port)
        page = chromium.new_context(base_url=address).new_page()
        page.set_default_timeout(WAIT)
        session = page.context.new_cdp_session(page)
        session.send("Performance.enable")
        while (now := (time.monotonic() - begun) / 60) < given.minutes:
            work(page, turn, given.scan)
            turn += 1
            seen.append((resident(pid), heap(session)))
            if now - told >= given.minutes / 20:
                told = now
                print(
                    f"{now:5.1f} min, {turn} rounds: server {seen[-1][0]:.0f} MiB, page {seen[-1][1]:.1f} MiB",
                    flush=True,
                )
    part = max(1, len(seen) // 4)
    for name, at in (("server", 0), ("page", 1)):
        second, last = (sum(s[at] for s in some) / len(some) for some in (seen[part : 2 * part] or seen, seen[-part:]))
        print(f"{name}: {second:.1f} MiB in the second quarter, {last:.1f} in the last, of {len(seen)} rounds")


def _listener(port: int) -> int:
    """The process that was started for a port, by its command."""
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            words = (folder / "cmdline").read_bytes().split(b"\0")
        except OSError:
            continue
        if b"serve" in words and str(port).encode() in words:
            return int(folder.name)
    raise SystemExit("the server is not there")


if __name__ == "__main__":
    main()
