"""Pictures of the page for the README: `python -m tests.web.pictures` writes docs/pictures/page-*.png and card.png.

They show the invented demo case. Needs Chromium; the card needs pdftoppm (poppler), and is left out without it.
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page

from canalwright.imaging.phantom.scan import make, random_shape
from canalwright.web.scan.tasks import PRACTICE
from tests.support import film
from tests.support.browser import SLOW, browser, load_film, planned, server
from tests.support.film_marks import mark_film

OUT = Path("docs/pictures")
DESKTOP, TABLET = {"width": 1440, "height": 900}, {"width": 820, "height": 1180}
MOST = 300_000


def main() -> None:
    OUT.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, server(data=Path(folder)) as address, browser() as chromium:
        page = chromium.new_page(viewport=DESKTOP, base_url=address)  # type: ignore[arg-type]
        page.set_default_timeout(SLOW)
        page.goto("/demo")
        planned(page)
        case = page.url.removesuffix("/plan")
        _take(page, "page-plan.png")
        _card(page, Path(folder))
        page.goto(f"{case}/play")
        page.wait_for_selector("html[data-player=ready]")
        page.evaluate(
            "(() => { const p = canalwright.player, a = p.film.acts.filter((x) => x.kind === 'heat').at(-1); p.seek(a.end - 0.4); })()"
        )
        _take(page, "page-play.png")
        solid(page, case)
        scan(page)
        page.set_viewport_size({"width": 1280, "height": 800})
        page.goto(f"{case}/chair")
        page.get_by_role("button", name="Begin").click()
        page.wait_for_function("document.getElementById('ch-words')?.innerText.includes('Try')")
        for words in ("Place", "Sear", "cool", "cool", "Heat"):
            page.wait_for_timeout(2500)
            page.keyboard.press("Space")
            page.wait_for_function("w => document.getElementById('ch-words').innerText.includes(w)", arg=words)
        page.wait_for_timeout(2500)
        _take(page, "page-chair.png")
        _readiness(page, case, Path(folder))
        if "--all" in sys.argv:
            page.goto(f"{case}/measure")
            page.wait_for_selector(".picture svg")
            _take(page, "page-measure.png")


def _readiness(page: Page, case: str, folder: Path) -> None:
    """The verdict before the cone, the pad on a tablet, a marked film."""
    distal = f"{case.rpartition('/')[0]}/2"
    page.set_viewport_size(DESKTOP)  # type: ignore[arg-type]
    page.goto(f"{distal}/ready")
    page.wait_for_selector(".rd-ladder")
    page.wait_for_selector(".rd-curve")
    _take(page, "page-ready.png")
    page.set_viewport_size(TABLET)  # type: ignore[arg-type]
    page.goto(f"{distal}/points")
    page.wait_for_selector("[data-pattern]")
    _take(page, "page-points.png")
    page.set_viewport_size(DESKTOP)  # type: ignore[arg-type]
    page.goto(f"{distal}/radiograph")
    page.wait_for_selector("html[data-film=ready]")
    drawn = film.film()
    load_film(page, drawn.save(folder / "invented.png"))
    mark_film(page, drawn)
    page.wait_for_selector("[data-film-use=curve]")
    _take(page, "page-radiograph.png")


def solid(page: Page, case: str) -> None:
    """Three dimensions at the warmest moment outside."""
    page.goto(f"{case}/solid")
    page.wait_for_selector("html[data-solid=playing]")
    page.wait_for_function("!canalwright.solid.solid.moving")
    _take(page, "page-solid.png")


def scan(page: Page) -> None:
    """The practice scan with its canal found, the straightened canal beside the slices; at tablet size with three dimensions."""
    truth = make(*random_shape(PRACTICE)).truth[0]
    page.goto("/scan")
    page.get_by_role("button", name="Open the practice scan").click()
    page.wait_for_selector("html[data-scan=ready]")
    beside = truth.centre[70] + truth.axis[70] * (truth.major[70] / 2 + 0.4)
    page.evaluate("p => canalwright.scan.find(p)", beside.tolist())
    page.wait_for_function("canalwright.scan.canals.length > 0")
    page.wait_for_function("canalwright.scan.straight.line && canalwright.scan.straight.across")
    page.evaluate("canalwright.scan.tools.choose('points')")
    _take(page, "page-scan.png")
    page.set_viewport_size(TABLET)  # type: ignore[arg-type]
    page.evaluate("canalwright.scan.beside('solid')")
    page.wait_for_function("canalwright.scan.solid?.drawn > 0")
    _take(page, "page-scan-tablet.png")


def _take(page: Page, name: str) -> None:
    page.wait_for_timeout(600)
    target = OUT / name
    page.screenshot(path=target)
    _shrink(target)


def _shrink(target: Path) -> None:
    """Full colour where that is small enough, else a palette of 256."""
    with Image.open(target) as image:
        whole = image.convert("RGB")
    whole.save(target, optimize=True)
    if target.stat().st_size > MOST:
        whole.quantize(256, dither=Image.Dither.NONE).save(target, optimize=True)
    size = target.stat().st_size
    print(f"{target}: {size // 1024} kB")
    if size > MOST:
        raise SystemExit(f"{target} is {size} bytes, more than {MOST}")


def _card(page: Page, folder: Path) -> None:
    tool = shutil.which("pdftoppm")
    if tool is None:
        print("card.png left out: no pdftoppm on this machine")
        return
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Card (PDF)").click()
    waiting.value.save_as(folder / "card.pdf")
    subprocess.run([tool, "-r", "80", "-png", "-singlefile", str(folder / "card.pdf"), str(OUT / "card")], check=True)
    _shrink(OUT / "card.png")


if __name__ == "__main__":
    main()
