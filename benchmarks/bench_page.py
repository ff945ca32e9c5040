"""The page in a real browser: first view, moved control to new numbers, frames of the player, memory after many cases, twenty cases open
at once, eight hours of the chair's clock run fast.

    python -m benchmarks.bench_page [page] [many] [day]

Aims: first view within 1 s warm, a moved control answered by new numbers (and, where they change it, a new picture)
within 0.3 s, 30 frames a second, memory flat while
cases are opened and looked at. There is no general-purpose library to stand beside a page; the ratio printed is to the aim.
"""

import statistics
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from tests.support.browser import Server, browser
from tests.support.chairday import Day
from tests.support.ward import MOVE, Ward, resident

from canalwright import casefile
from canalwright.web.draft import Draft

FIRST, MOVED, FRAMES = 1.0, 0.3, 30.0
CASES = 20

HOURS, SESSION = 8, 45 * 60
"""A day at the chair: a filling begins every `SESSION` seconds."""
PLAY = """async () => {
  const player = window.canalwright.player;
  player.seek(0);
  player.start();
  let count = 0;
  const began = performance.now();
  while (performance.now() - began < 3000) { await new Promise(requestAnimationFrame); count++; }
  player.pause();
  return count / 3;
}"""


def main() -> None:
    """Measure and print; all parts, or those that are named."""
    wanted = sys.argv[1:] or ["page", "many", "day"]
    with tempfile.TemporaryDirectory() as folder:
        running = Server(data=Path(folder))
        running.start()
        try:
            with browser() as chromium:
                if "page" in wanted:
                    page = chromium.new_page(viewport={"width": 1440, "height": 900}, base_url=running.address)
                    page.set_default_timeout(60_000)
                    _measure(page, running)
                    page.close()
                if "many" in wanted:
                    _many(chromium, running)
                if "day" in wanted:
                    _day(chromium, running, Path(folder))
        except (pytest.skip.Exception, pytest.fail.Exception) as missing:
            print(missing)
        finally:
            running.stop()


def _many(chromium: Browser, running: Server) -> None:
    with ExitStack() as stack:
        before, began = resident(running.pid), time.perf_counter()
        ward = Ward.open(chromium, running.address, CASES, stack)
        opened, heap = resident(running.pid), ward.heap()
        print(f"{f'{CASES} cases opened and planned whole':44} {time.perf_counter() - began:8.0f} s", flush=True)
        moved = [took for i in range(3) for took in ward.move(1.5 + 0.5 * i)]
        page, firsts = ward.pages[0].context.new_page(), []
        for _ in range(5):
            began = time.perf_counter()
            page.goto("/")
            page.wait_for_selector(".ways")
            firsts.append(time.perf_counter() - began)
        _say(f"first view with {CASES} cases open", statistics.median(firsts), FIRST, "s")
        _moved("moved control there", moved)
        began = time.perf_counter()
        ward.planned()
        print(f"{f'until all {CASES} are planned whole again':44} {time.perf_counter() - began:8.0f} s", flush=True)
        after, later = resident(running.pid), ward.heap()
        print(f"{'server and planner before, open, moved':44} {before:8.0f} MB, {opened:.0f} MB, {after:.0f} MB")
        print(f"{'JavaScript memory of all pages':44} {heap:8.0f} MB, {later:.0f} MB after {len(moved)} moves")


def _day(chromium: Browser, running: Server, data: Path) -> None:
    """A filling every three quarters of an hour, each with its timers run out; between them the screen stands."""
    page = chromium.new_page(viewport={"width": 1280, "height": 800}, base_url=running.address)
    page.set_default_timeout(60_000)
    day, off, late, began = Day.begin(page, data, HOURS), [], [], time.perf_counter()
    before, server = day.memory(), resident(running.pid)
    while (passed := day.screen()["now"] - day.began) < 3600 * HOURS:
        told = day.state()
        if told["phase"] == "done":
            for _ in range(told["total"]):
                told = day.press("Backspace")
        while told["phase"] != "done" and told["index"] < 8:
            told = day.press()
            if told["phase"] == "running":
                first, seconds = len(day.heard), told["step"]["seconds"]
                day.page.clock.run_for(round(1000 * (seconds + 0.3)))
                off.append(day.off(told))
                late += [abs(at - told["since"] - seconds) for _, what, at in day.heard[first:] if what == "880"]
        for _ in range(told["index"]):
            told = day.press("Backspace")
        day.stand(SESSION - (day.screen()["now"] - day.began - passed))
    after = day.memory()
    took = time.perf_counter() - began
    print(f"{f'{HOURS} hours at the chair, run in':44} {took:8.0f} s, {3600 * HOURS / took:.0f} times as fast")
    print(f"{f'timer off the true time, worst of {len(off)}':44} {max(off):8.3f} s beyond its last digit")
    print(f"{f'tone off the end, worst of {len(late)}':44} {max(late):8.3f} s, the screen looks every 0.1 s")
    print(
        f"{'memory of the screen':44} {before['heap']:8.1f} MB, {after['heap']:.1f} MB; "
        f"nodes {before['nodes']:.0f}, {after['nodes']:.0f}; listeners {before['listeners']:.0f}, {after['listeners']:.0f}"
    )
    print(f"{'memory of server and planner':44} {server:8.0f} MB, {resident(running.pid):.0f} MB")
    page.close()


def _measure(page: Page, running: Server) -> None:
    page.goto("/demo")
    page.wait_for_selector(".state.whole")
    firsts = []
    for _ in range(5):
        began = time.perf_counter()
        page.goto("/")
        page.wait_for_selector(".ways")
        firsts.append(time.perf_counter() - began)
    _say("first view, warm", statistics.median(firsts), FIRST, "s")

    page.goto("/demo")
    page.wait_for_selector(".state.whole")
    moved = []
    for i in range(20):
        moved.append(float(page.evaluate(MOVE, 1.0 + 0.1 * i)))
        page.wait_for_timeout(120)
    page.wait_for_selector(".state.whole")
    _moved("moved control to new numbers", moved)

    page.goto(page.url.split("?")[0].replace("/plan", "/play"))
    page.wait_for_selector("html[data-player=ready]")
    frames = float(page.evaluate(PLAY))
    print(f"{'player, frames a second':44} {frames:8.1f}      aim {FRAMES:g}, {frames / FRAMES:.1f} times that")

    case = Draft.of(casefile.demo_case())
    sizes = []
    for i in range(2 * CASES):
        text = casefile.dumps(case.with_label(f"case {i}").case())
        told = page.request.post(
            "/open?name=case.toml", data=text.encode(), headers={"content-type": "text/plain"}
        ).json()
        page.goto(told["go"])
        page.wait_for_selector(".tab")
        if i + 1 in (CASES, 2 * CASES):
            page.wait_for_timeout(4000)
            sizes.append(resident(running.pid))
    print(
        f"{f'memory after {CASES} and {2 * CASES} cases':44} {sizes[0]:8.0f} MB, {sizes[1]:.0f} MB, {sizes[1] / sizes[0]:.2f} times"
    )


def _moved(what: str, took: list[float]) -> None:
    _say(f"{what}, median", statistics.median(took), MOVED, "s")
    _say(f"{what}, 95 of 100", sorted(took)[int(0.95 * (len(took) - 1))], MOVED, "s")


def _say(what: str, took: float, aim: float, unit: str) -> None:
    print(f"{what:44} {took:8.3f} {unit}    aim {aim:g} {unit}, {took / aim:.2f} times that", flush=True)


if __name__ == "__main__":
    main()
