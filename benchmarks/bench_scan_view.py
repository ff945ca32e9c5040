"""The scan view in a real browser: a scan of 512 cubes opened and scrolled, slices in time, memory flat; three dimensions while turning.

    python -m benchmarks.bench_scan_view [minutes of scrolling, 1]

Aims: a slice within 50 ms of the wheel, memory of server and page flat, 30 frames a second while 200,000 triangles turn without a
graphics card. While they turn, as many of them are drawn as the machine can draw in time; the whole stands when the hand rests:
both numbers are printed. Beside the slices stands a general-purpose image library that cuts the same ones.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import SimpleITK
from playwright.sync_api import Page
from tests.support.browser import Server, browser
from tests.support.ward import own

from canalwright.imaging import Scan
from canalwright.imaging.viewing.planes import PLANES, Planes, Tones

SIDE, SLICE, FRAMES = 512, 50.0, 30.0
sitk: Any = SimpleITK

SCROLL = """async ([plane, steps, pause]) => {
  const scan = canalwright.scan, pane = scan.panes[plane], canvas = pane.canvas;
  scan.times.length = 0;
  let way = 1;
  for (let i = 0; i < steps; i++) {
    if (pane.number >= pane.stack.count - 2) way = -1; else if (pane.number <= 1) way = 1;
    canvas.dispatchEvent(new WheelEvent("wheel", { deltaY: 100 * way, bubbles: true, cancelable: true }));
    await new Promise((good) => setTimeout(good, pause));
  }
  await new Promise((good) => setTimeout(good, 300));
  return [...scan.times];
}"""
JUMP = """async ([plane, places]) => {
  const scan = canalwright.scan, pane = scan.panes[plane], out = [];
  for (const n of places) {
    scan.times.length = 0;
    pane.go(n);
    while (!scan.times.length) await new Promise(requestAnimationFrame);
    out.push(scan.times[0]);
    await new Promise((good) => setTimeout(good, 200));
  }
  return out;
}"""
TURN = """async (seconds) => {
  const solid = canalwright.solid.solid;
  const turn = async (ms) => {
    const from = solid.drawn, began = performance.now();
    while (performance.now() - began < ms) { solid.orbit(0.03, 0); await new Promise(requestAnimationFrame); }
    return ((solid.drawn - from) * 1000) / ms;
  };
  await turn(3000);
  const frames = await turn(1000 * seconds), level = Math.min(solid.level, solid.coarsest);
  return [frames, solid.triangles(level), solid.triangles(0), solid.fine ?? 1];
}"""
WHOLE = """async () => {
  const solid = canalwright.solid.solid, gl = solid.renderer.getContext(), pixel = new Uint8Array(4);
  clearTimeout(solid.resting); solid.moving = 0;
  const began = performance.now();
  for (let i = 0; i < 5; i++) {
    solid.turn[0] += 0.05;
    solid.draw(performance.now());
    gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, pixel);
  }
  return (performance.now() - began) / 5;
}"""


def main(minutes: float = 1.0) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        volume = _volume(Path(folder))
        _cut()
        running = Server(data=Path(folder) / "data")
        running.start()
        try:
            with browser() as chromium:
                page = chromium.new_page(viewport={"width": 1440, "height": 900}, base_url=running.address)
                page.set_default_timeout(300_000)
                _slices(page, running, volume, minutes)
                _solid(page)
        except (pytest.skip.Exception, pytest.fail.Exception) as missing:
            print(missing)
        finally:
            running.stop()


def _grey(k: int) -> np.ndarray[Any, np.dtype[np.int16]]:
    """One slice of an invented volume: rings that change with the height, and noise."""
    y, x = np.ogrid[:SIDE, :SIDE]
    rings = 900 + 800 * np.sin(np.hypot(x - SIDE / 2, y - SIDE / 2 + k / 4) / 9)
    noise = np.random.default_rng(k).integers(-90, 90, (SIDE, SIDE))
    return np.asarray(rings + noise, dtype=np.int16)


def _volume(folder: Path) -> Path:
    header = (
        f"ObjectType = Image\nNDims = 3\nBinaryData = True\nBinaryDataByteOrderMSB = False\nDimSize = {SIDE} {SIDE} {SIDE}\n"
        "ElementSpacing = 0.15 0.15 0.15\nElementType = MET_SHORT\nElementDataFile = LOCAL\n"
    )
    path = folder / "invented.mha"
    with path.open("wb") as out:
        out.write(header.encode())
        for k in range(SIDE):
            out.write(_grey(k).tobytes())
    return path


def _cut() -> None:
    """Time of cutting one slice, ours beside the library's."""
    voxels = np.stack([_grey(k) for k in range(SIDE)])
    planes = Planes(Scan(voxels, np.diag([0.15, 0.15, 0.15, 1.0])), Tones(-100.0, 1900.0, 0.0, 1800.0))
    image = sitk.GetImageFromArray(voxels)
    for plane, pick in zip(
        PLANES, (lambda n: image[:, :, n], lambda n: image[:, n, :], lambda n: image[n, :, :]), strict=True
    ):
        took = []
        for cut in (
            lambda n, p=plane: planes.picture(p, n),
            lambda n, p=pick: sitk.GetArrayFromImage(sitk.Cast(p(n), sitk.sitkUInt16)),
        ):
            began = time.perf_counter()
            for n in range(100, 120):
                cut(n)
            took.append((time.perf_counter() - began) / 20 * 1000)
        print(
            f"{f'one {plane} slice cut':44} {took[0]:8.2f} ms    library {took[1]:.2f} ms, {took[0] / took[1]:.2f} times that"
        )


def _slices(page: Page, running: Server, volume: Path, minutes: float) -> None:
    page.goto("/scan")
    first = own(running.pid)
    began = time.perf_counter()
    page.locator("#sv-path").fill(str(volume))
    page.get_by_role("button", name="Open it").click()
    page.wait_for_selector("html[data-scan=ready]")
    print(
        f"{f'{SIDE} cubes opened':44} {time.perf_counter() - began:8.1f} s     {volume.stat().st_size / 2**20:.0f} MB"
    )
    page.wait_for_timeout(1500)
    for plane, name in enumerate(PLANES):
        times = page.evaluate(SCROLL, [plane, 150, 60])
        _say(f"{name} slice after the wheel, median", statistics.median(times))
        _say(f"{name} slice after the wheel, 95 of 100", sorted(times)[int(0.95 * (len(times) - 1))])
    for plane, name in enumerate(PLANES):
        times = page.evaluate(JUMP, [plane, [40, 400, 120, 330, 75, 460, 200, 290, 20, 380]])
        _say(f"{name} slice after a far jump, median", statistics.median(times))
    sizes, until = list[tuple[float, ...]](), time.monotonic() + 60 * minutes
    while time.monotonic() < until or len(sizes) < 2:
        for plane in range(3):
            page.evaluate(SCROLL, [plane, 120, 25])
        heap = page.evaluate("performance.memory?.usedJSHeapSize ?? 0") / 2**20
        sizes.append((*own(running.pid), heap))
    print(f"{'server before the scan, own and mapped':44} {first[0]:8.0f} MB, {first[1]:.0f} MB")
    for word, k in (("server's own memory", 0), ("mapped from the voxels' file", 1), ("page's heap", 2)):
        row = [s[k] for s in sizes]
        print(
            f"{word + f', {minutes:g} min of scrolling':44} {row[0]:8.0f} MB, at the end {row[-1]:.0f} MB, most {max(row):.0f} MB"
        )


def _solid(page: Page) -> None:
    page.goto("/demo")
    page.wait_for_url("**/plan")
    page.goto(page.url.split("?")[0].replace("/plan", "/solid"))
    page.wait_for_selector("html[data-solid=playing]")
    frames, shown, whole, fine = page.evaluate(TURN, 6)
    print(
        f"{'three dimensions, frames a second turning':44} {frames:8.1f}      aim {FRAMES:g}, {frames / FRAMES:.2f} times that; "
        f"{shown:,} of {whole:,} triangles while turning, {100 * fine:.0f} % of the pixels' side"
    )
    took = page.evaluate(WHOLE)
    print(f"{'all triangles, one picture':44} {took:8.1f} ms    {1000 / took:.1f} a second; drawn when the hand rests")


def _say(what: str, took: float) -> None:
    print(f"{what:44} {took:8.1f} ms    aim {SLICE:g} ms, {took / SLICE:.2f} times that")


if __name__ == "__main__":
    main(*map(float, sys.argv[1:2]))
