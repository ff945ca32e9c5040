"""The page in a real browser: first view, moved control to new numbers, frames of the player, memory after many cases.

    python -m benchmarks.bench_page

Aims: first view within 1 s warm, a moved control answered by new numbers (and, where they change it, a new picture)
within 0.3 s, 30 frames a second, memory flat while
cases are opened and looked at. There is no general-purpose library to stand beside a page; the ratio printed is to the aim.
"""

import statistics
import subprocess
import tempfile
import time
from pathlib import Path

import pytest
from playwright.sync_api import Page
from tests.support.browser import Server, browser

from canalwright import casefile
from canalwright.web.draft import Draft

FIRST, MOVED, FRAMES = 1.0, 0.3, 30.0
CASES = 20

MOVE = """async (value) => {
  const input = document.getElementById("c-activation"), numbers = document.querySelector(".headline-box"), before = numbers.innerHTML;
  const began = performance.now();
  input.value = value;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  while (numbers.innerHTML === before) await new Promise(requestAnimationFrame);
  return (performance.now() - began) / 1000;
}"""
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
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        running = Server(data=Path(folder))
        running.start()
        try:
            with browser() as chromium:
                page = chromium.new_page(viewport={"width": 1440, "height": 900}, base_url=running.address)
                page.set_default_timeout(60_000)
                _measure(page, running)
        except (pytest.skip.Exception, pytest.fail.Exception) as missing:
            print(missing)
        finally:
            running.stop()


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
    for i in range(12):
        moved.append(float(page.evaluate(MOVE, 1.0 + 0.2 * i)))
        page.wait_for_timeout(120)
    page.wait_for_selector(".state.whole")
    _say("moved control to new numbers, median", statistics.median(moved), MOVED, "s")
    _say("moved control to new numbers, worst of 12", max(moved), MOVED, "s")

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
            sizes.append(_memory(running))
    print(
        f"{f'memory after {CASES} and {2 * CASES} cases':44} {sizes[0]:8.0f} MB, {sizes[1]:.0f} MB, {sizes[1] / sizes[0]:.2f} times"
    )


def _memory(running: Server) -> float:
    """Resident memory of the server, MB; 0 where the system does not say."""
    told = subprocess.run(
        ["ps", "-o", "rss=", "-p", str(running.pid)], capture_output=True, text=True, check=False
    ).stdout
    return int(told) / 1024 if told.strip().isdigit() else 0.0


def _say(what: str, took: float, aim: float, unit: str) -> None:
    print(f"{what:44} {took:8.3f} {unit}    aim {aim:g} {unit}, {took / aim:.2f} times that")


if __name__ == "__main__":
    main()
