"""A real browser and a real server for the tests that need them.

Without Chromium such a test is skipped on a user's machine, and fails where CI is set: there it has to run.
"""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Route, expect, sync_playwright

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--autoplay-policy=no-user-gesture-required",
]
PATIENCE = 180.0
SLOW = 600_000
"""Milliseconds before anything awaited on a page counts as never coming: a busy machine is no fault of the page."""


def load_film(page: Page, film: str | Path) -> None:
    """Load a film and wait until it is the one that is shown: one that the case had before may be shown until then."""
    page.locator("#rg-file").set_input_files(film)
    film_answered(page)


def film_answered(page: Page) -> None:
    """Wait until a film is there and what the page says answers it with its marks as they are now, not as they were before the last one."""
    expect(page.locator("#rg-stage")).to_have_attribute("aria-busy", "false")
    expect(page.locator("#rg-empty")).to_be_hidden()
    expect(page.locator("#rg-stage")).to_have_attribute("data-answered", "true")


def caught(page: Page, held: list[Route]) -> Route:
    """Wait until a page has asked for what a route holds back, and give it."""
    for _ in range(SLOW // 50):
        if held:
            return held[0]
        page.wait_for_timeout(50)
    pytest.fail(f"{page.url} did not ask for what is held back")


def planned(page: Page) -> None:
    """Wait until a plan's page shows the whole plan of what is chosen on it now."""
    expect(page.locator(".state.whole")).to_be_visible()
    expect(page.locator("html[data-settled=true]")).to_be_attached()


@contextmanager
def coming_back(*pages: Page) -> Iterator[None]:
    """In the block the server of these pages is killed and started: they load themselves anew, and what a test did before they have
    would be undone by it."""
    for page in pages:
        page.evaluate("window.before = true")
    yield
    for page in pages:
        page.wait_for_function("!window.before && document.querySelector('#content')")


def taken_in(page: Page) -> None:
    """Wait until the page has taken in all answers that came before: one that is asked for now comes after them."""
    page.evaluate("fetch('/ready').then((answer) => answer.text()).then(() => new Promise((next) => setTimeout(next)))")


def chromium_path() -> str | None:
    """Where a Chromium is on this machine, or None."""
    found = next(
        (path for name in ("chromium", "chromium-browser", "google-chrome", "chrome") if (path := shutil.which(name))),
        None,
    )
    if found:
        return found
    with sync_playwright() as driver:
        bundled = driver.chromium.executable_path
        return bundled if Path(bundled).exists() else None


@contextmanager
def browser() -> Iterator[Browser]:
    """A headless Chromium; skips (or fails in CI) where there is none."""
    path = chromium_path()
    if path is None:
        message = "no Chromium on this machine: install one (playwright install chromium) to run the browser tests"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    expect.set_options(timeout=SLOW)
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        try:
            yield opened
        finally:
            opened.close()


RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


IMPACTS = ("moderate", "serious", "critical")


def no_finding(page: Page) -> None:
    """Axe finds nothing on a page as it is against WCAG, and nothing moderate or serious against its best practice."""
    page.wait_for_load_state()  # a page that a press has led to may still be coming
    told = Axe().run(page, options={"runOnly": RULES}).response["violations"]
    found = [v for v in told if v["impact"] in IMPACTS or "best-practice" not in v["tags"]]
    assert found == [], "\n".join(f"{v['id']}: {v['help']}: {[n['html'][:160] for n in v['nodes'][:3]]}" for v in found)


def no_serious_finding(page: Page, light: dict[str, int], dark: dict[str, int]) -> None:
    """Axe finds nothing serious or moderate on a page, in the light at one size and in the dark at the other, without loading it twice."""
    for scheme, size in (("light", light), ("dark", dark)):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        page.set_viewport_size(size)  # type: ignore[arg-type]
        page.wait_for_function(
            "w => innerWidth === w && document.getAnimations().every((a) => a.playState !== 'running')",
            arg=size["width"],
        )
        no_finding(page)
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 1, f"{scheme}: cut off"


def until(done: Callable[[], bool], what: str) -> None:
    """Wait for something that no page shows, such as a file on the disk."""
    end = time.monotonic() + SLOW / 1000
    while not done():
        if time.monotonic() > end:
            pytest.fail(f"{what} did not come")
        time.sleep(0.05)


class Server:
    """A `canalwright serve` of its own on a free port; the same port again after a stop."""

    def __init__(self, *arguments: str, data: Path | None = None) -> None:
        self.port, self.arguments, self.data = free_port(), arguments, data
        self.address = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        code = "from canalwright.cli import main; main()"
        command = [sys.executable, "-c", code, "serve", "--no-open", "--port", str(self.port), *self.arguments]
        environment = os.environ | ({"CANALWRIGHT_DATA": str(self.data)} if self.data else {})
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment)
        try:
            _wait(self.address, self._process)
        except BaseException:
            self.stop(signal.SIGKILL)
            raise

    @property
    def pid(self) -> int:
        """Process number, 0 when it does not run."""
        return self._process.pid if self._process else 0

    @contextmanager
    def standing(self) -> Iterator[None]:
        """Its processes for long work stand still while the block runs: nothing is ready before it can be given up."""
        self._tell(signal.SIGSTOP)
        try:
            yield
        finally:
            self._tell(signal.SIGCONT)

    def _tell(self, what: signal.Signals) -> None:
        for child in _below(self.pid):
            with suppress(ProcessLookupError):  # it may have ended of itself
                os.kill(child, what)

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        """Stop it, gently or as a crash would."""
        if self._process is None:
            return
        self._process.send_signal(how)
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._process = None


@contextmanager
def server(*arguments: str, data: Path | None = None) -> Iterator[str]:
    """A server while the block runs; gives its address."""
    running = Server(*arguments, data=data)
    running.start()
    try:
        yield running.address
    finally:
        running.stop()


def _below(pid: int) -> list[int]:
    """The processes that a process has started, and those that they have."""
    told = subprocess.run(["ps", "-eo", "pid=,ppid="], capture_output=True, text=True, check=True).stdout
    pairs, found = [tuple(map(int, line.split())) for line in told.splitlines()], [pid]
    for parent in found:
        found += [child for child, of in pairs if of == parent]
    return found[1:]


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait(address: str, process: "subprocess.Popen[bytes]") -> None:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        if process.poll() is not None:
            pytest.fail(f"the server ended with {process.returncode} before it was ready")
        try:
            with urllib.request.urlopen(f"{address}/ready", timeout=1):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    pytest.fail("the server was not ready in time")
