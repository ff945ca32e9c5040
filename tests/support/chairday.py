"""A day at the chair in minutes: the browser's clock is ours, what is sounded and spoken is written down with its moment.

The session lies in the book as if it had begun that long ago, so that the browser's hours end now and the server hears of nothing that is
still to come.
"""

import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from canalwright import casefile
from canalwright.web.chairbook import Chairbook, Head
from tests.support.browser import SLOW

HEARD = """(() => {
  const now = () => Date.now() / 1000;
  const voice = { lang: "en-GB", localService: true, name: "here" };
  Object.defineProperty(window, "speechSynthesis", { value: {
    getVoices: () => [voice], cancel() {}, speak: (said) => window.heard("say", said.text, now()) } });
  window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
  const param = () => ({ value: 0, setValueAtTime() {}, exponentialRampToValueAtTime() {} });
  window.AudioContext = class {
    state = "running"; currentTime = 0; destination = {};
    resume() {}
    createGain() { return { gain: param(), connect: (next) => next }; }
    createOscillator() { const frequency = param(); return { frequency, connect: (next) => next, stop() {},
      start: () => window.heard("tone", String(frequency.value), now()) }; }
  };
})();"""
CLOCK = """() => {
  const text = document.getElementById("ch-clock")?.textContent, step = document.getElementById("ch-count")?.textContent;
  if (!step) return null;
  return { text, step, now: Date.now() / 1000, go: document.getElementById("ch-go").textContent };
}"""
SHOWN = "['ch-count', 'ch-go'].map((id) => document.getElementById(id).textContent)"
TICKED = """() => new Promise((told) => {
  const clock = document.getElementById("ch-clock");
  const look = (_, each) => { each.disconnect(); told({ text: clock.textContent, now: Date.now() / 1000 }); };
  new MutationObserver(look).observe(clock, { childList: true });
})"""
"""The timer and the moment at which it is drawn: between two ticks a busy machine may take its time."""


@dataclass
class Day:
    """One session in one page: `heard` are kind, what, and the browser's moment of each sound."""

    page: Page
    ident: str
    began: float
    heard: list[tuple[str, str, float]] = field(default_factory=list)

    @classmethod
    def begin(cls, page: Page, data: Path, hours: float) -> "Day":
        """Open a session of the demo case that began `hours` (and a quarter for the test itself) ago."""
        began = time.time() - 3600 * (hours + 0.25)
        book = Chairbook(data / "chair")
        day = cls(page, book.new(Head(casefile.dumps(casefile.demo_case()), 0, "", began)), began)
        page.expose_function("heard", lambda *what: day.heard.append(what))
        page.add_init_script(HEARD)
        page.clock.install(time=began)
        page.goto(f"/chair/{day.ident}")
        page.wait_for_function("document.getElementById('ch-count')?.textContent.includes(' of ')")
        return day

    def screen(self) -> dict[str, Any]:
        """What the screen shows and the browser's moment; a page that reloads after a leap is waited for."""
        found: dict[str, Any] = self.page.wait_for_function(CLOCK).json_value()
        return found

    def state(self) -> dict[str, Any]:
        """What the server says."""
        found: dict[str, Any] = self.page.request.get(f"/chair/{self.ident}/state.json").json()
        return found

    def press(self, key: str = "Space") -> dict[str, Any]:
        """Press, wait until the server has it and the screen shows it; the server's answer."""
        before = self.screen()
        with self.page.expect_response(lambda r: r.url.endswith("/events")) as answer:
            self.page.keyboard.press(key)
        told: dict[str, Any] = answer.value.json()
        for _ in range(SLOW // 20):  # not by the page's own clock, which may stand still
            if self.page.evaluate(SHOWN) != [before["step"], before["go"]]:
                return told
            self.page.wait_for_timeout(20)
        raise AssertionError(f"the screen does not show what {key} did")

    def still(self) -> None:
        """Let the clock stand, half a minute from now, until it is moved on or goes again: a busy machine takes no time then."""
        self.page.clock.pause_at(float(self.page.evaluate("Date.now() / 1000")) + 30)

    def goes(self) -> None:
        """Let the clock go."""
        self.page.clock.resume()

    def stand(self, seconds: float, leap: float = 30.0) -> None:
        """Nobody touches it: every timer fires once in each leap."""
        for _ in range(round(seconds / leap)):
            self.page.clock.fast_forward(round(1000 * leap))

    def off(self, told: dict[str, Any]) -> float:
        """How far the timer on the screen is from the true one, s, its last shown digit allowed for."""
        shown: dict[str, Any] = self.page.evaluate(TICKED)
        left = told["step"]["seconds"] - told["before"] - (shown["now"] - told["since"])
        digit = 0.05 if left < 0 or told["step"]["seconds"] < 10 else 0.5
        return max(abs(float(str(shown["text"]).replace("+", "-")) - float(left)) - digit, 0.0)

    def memory(self) -> dict[str, float]:
        """Heap after its waste was collected, MB; nodes, listeners."""
        session = self.page.context.new_cdp_session(self.page)
        session.send("HeapProfiler.collectGarbage")
        heap = session.send("Runtime.getHeapUsage")["usedSize"] / 1e6
        counts = session.send("Memory.getDOMCounters")
        session.detach()
        return {"heap": heap, "nodes": counts["nodes"], "listeners": counts["jsEventListeners"]}
