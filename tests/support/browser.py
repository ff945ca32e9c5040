"""A real browser and a real server for the tests that need them.

Without Chromium such a test is skipped on a user's machine, and fails where CI is set: there it has to run.
"""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--autoplay-policy=no-user-gesture-required",
]
PATIENCE = 60.0


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
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        try:
            yield opened
        finally:
            opened.close()


@contextmanager
def server(*arguments: str, data: Path | None = None) -> Iterator[str]:
    """A `canalwright serve` of its own on a free port; gives its address."""
    port = free_port()
    command = [
        sys.executable,
        "-c",
        "from canalwright.cli import main; main()",
        "serve",
        "--no-open",
        "--port",
        str(port),
        *arguments,
    ]
    environment = os.environ | ({"CANALWRIGHT_DATA": str(data)} if data else {})
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment)
    address = f"http://127.0.0.1:{port}"
    try:
        _wait(address, process)
        yield address
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


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
