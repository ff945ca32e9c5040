"""A filling checked on two scans in a real browser: opened by path, laid on each other behind the page, read by station, stopped, refused.

The root is invented and tiny, its case traced from the scan before. On a desk and on a tablet.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import highdicom
import numpy as np
import pydicom
import pytest
import SimpleITK
from playwright.sync_api import Browser, Download, Page, expect

from canalwright import casefile
from canalwright.imaging import Scan, trace
from canalwright.imaging.phantom.filling import Filling
from canalwright.imaging.phantom.pair import pair
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make
from tests.imaging.dicom_files import write_series
from tests.support.browser import SLOW, Server, no_finding

sitk: Any = SimpleITK
pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_check_scans")]
DESKTOP, TABLET = {"width": 1440, "height": 900}, {"width": 820, "height": 1180}


@dataclass(frozen=True)
class Made:
    """Files of the case and of both scans."""

    case: Path
    before: Path
    after: Path


def _write(scan: Scan, path: Path) -> Path:
    image = sitk.GetImageFromArray(np.rint(scan.array).astype(np.int16))
    image.SetSpacing([float(s) for s in scan.spacing])
    image.SetOrigin([float(v) for v in scan.affine[:3, 3]])
    sitk.WriteImage(image, str(path))
    return path


def _series(scan: Scan, folder: Path) -> Path:
    """A scan as a scanner hands it over, slice by slice."""
    step, across = (float(scan.spacing[i]) for i in (2, 0))
    origin = (float(scan.affine[0, 3]), float(scan.affine[1, 3]), float(scan.affine[2, 3]))
    grey = np.rint((scan.array + 1000) / 2).astype(np.int16)
    write_series(folder, grey, step=step, spacing=(across, across), origin=origin)
    return folder


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """A canal of 8 mm filled from 1.0 mm short of its terminus to 6 mm."""
    shape = CanalShape(apical=0.6, taper=0.07, ratio=(1.1, 1.2), bend=8.0, curved=3.0, aside=(0.0, 0.0))
    root = make((shape,), RootShape(height=9.0, half=(1.3, 1.5), growth=0.06))
    shots = pair(root, Filling(1.0, 6.0), Scanner(voxel=0.2, blur=0.12, noise=60.0, oversample=2), seed=5)
    folder, centre = tmp_path_factory.mktemp("scans"), root.truth[0].centre
    found = trace(shots.before, centre[-6], centre[0])
    case = casefile.from_found(
        [found], tooth=11, label="Invented", finishing_file=(60, 0.04), above_orifice={found.name: 8.0}
    )
    path = folder / "case.toml"
    path.write_text(casefile.dumps(case), encoding="utf-8")
    return Made(path, _series(shots.before, folder / "before"), _write(shots.after, folder / "after.nrrd"))


@pytest.fixture(scope="module")
def served(made: Made, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    running = Server(str(made.case), data=tmp_path_factory.mktemp("data"))
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def address(served: Server) -> str:
    return served.address


def _opened(chromium: Browser, address: str, size: dict[str, int], spanish: bool = False) -> Page:
    context = chromium.new_context(viewport=size, base_url=address)  # type: ignore[arg-type]
    if spanish:
        context.add_cookies([{"name": "cw_language", "value": "es", "url": address}])
    page = context.new_page()
    page.set_default_timeout(SLOW)
    page.goto("/")
    link = page.locator("a[href*='/case/']").first.get_attribute("href") or ""
    page.goto("/".join(link.split("/")[:3]) + "/0/checkscans")
    return page


def _kept(download: Download, folder: Path) -> str:
    download.save_as(folder / "labels.nrrd")
    return str(folder / "labels.nrrd")


def test_two_scans_are_read_by_path_and_again_among_the_open_ones(
    chromium: Browser, address: str, made: Made, tmp_path: Path
) -> None:
    page = _opened(chromium, address, DESKTOP)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.get_by_role("button", name="Read both scans").click()
    expect(page.locator("#content .wrong").filter(has_text="choose both scans")).to_be_visible()

    page.locator("#cs-before-path").fill(str(made.before))
    page.locator("#cs-after-path").fill(str(made.after))
    page.evaluate(
        "[1, 2].forEach(() => document.getElementById('cs-form').requestSubmit())"
    )  # pressed twice: read once
    expect(page.locator("#ck-length")).to_contain_text("1.")
    expect(page.get_by_role("group", name="Filling by station").locator("tbody tr").first).to_contain_text("0.0 to 0.5")
    expect(page.locator("[data-unseen] li").first).to_contain_text("voids smaller than")
    saved = page.request.get(page.get_by_role("link", name="Save this check").get_attribute("href") or "").json()
    theirs = pydicom.dcmread(next(made.before.iterdir()), stop_before_pixels=True)
    before, after = saved["scans"]["before"], saved["scans"]["after"]
    assert (
        before["series"] == theirs.SeriesInstanceUID and before["sha256"] != after["sha256"] and "series" not in after
    )
    assert np.allclose(saved["scans"]["turn"], np.eye(3), atol=0.2), "how the later lies on the earlier"
    silent = (
        "[...document.querySelectorAll('td')].filter(c => /%/.test(c.textContent) && !c.querySelector('.num')).length"
    )
    assert page.evaluate(silent) == 0, "every share of the table answers, planned ones too"
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Save the labels (NRRD)").click()
    assert {1, 2, 4} <= set(np.unique(sitk.GetArrayFromImage(sitk.ReadImage(_kept(waiting.value, tmp_path)))))
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Save the labels (DICOM segmentation)").click()
    waiting.value.save_as(tmp_path / "labels.dcm")
    kept = highdicom.seg.segread(tmp_path / "labels.dcm")
    assert (
        kept.SeriesDescription == "Root filling found in two scans" and kept.StudyInstanceUID == theirs.StudyInstanceUID
    )
    assert not kept.PatientName and str(theirs.PatientName).encode() not in (tmp_path / "labels.dcm").read_bytes()
    expect(page.locator("#against table")).to_contain_text("end of the filling")
    expect(page.get_by_role("group", name="Filling by station")).to_contain_text("not seen, at most")
    page.screenshot(path=tmp_path / "desk.png", full_page=True)
    no_finding(page)

    page.reload()
    expect(page.locator("#cs-before option", has_text="after.nrrd")).to_have_count(1)
    page.locator("#cs-before").select_option(label="after.nrrd")
    page.locator("#cs-after").select_option(label="before")
    page.get_by_role("button", name="Read both scans").click()
    expect(page.locator("#content .wrong").filter(has_text="before")).not_to_be_empty()
    expect(page.locator("#ck-length")).to_have_count(0)
    assert complaints == []


def test_it_can_be_stopped_and_fits_a_tablet_in_spanish(
    chromium: Browser, served: Server, made: Made, tmp_path: Path
) -> None:
    page = _opened(chromium, served.address, TABLET, spanish=True)
    page.locator("#cs-before-path").fill(str(made.before))
    page.locator("#cs-after-path").fill(str(made.after))
    with served.standing():
        page.get_by_role("button", name="Leer las dos tomografías").click()
        page.get_by_role("button", name="Cancelar").click()
        expect(page.locator("#content")).to_contain_text("Detenido")
    page.get_by_role("button", name="Leer las dos tomografías").click()
    expect(page.locator("#ck-length")).to_contain_text("antes del término")
    expect(page.locator("[data-unseen]")).to_contain_text("ramificaciones de menos de")
    page.screenshot(path=tmp_path / "tablet.png", full_page=True)
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, "the page scrolls sideways"
    no_finding(page)
