"""A scan in a real browser: from the practice scan to a case, by keys and by hand; three dimensions; the section brought nearer.

The scan is opened and its canal found once; each test looks at it in a window of its own.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import tifffile
from playwright.sync_api import Browser, Page, Route, expect

from canalwright.imaging.phantom.scan import make, random_shape
from canalwright.web.scan.tasks import PRACTICE
from tests.support.browser import SLOW, no_serious_finding
from tests.support.fingers import small, swipe, tablet, within

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_scan")]
DESKTOP, TABLET = {"width": 1440, "height": 900}, {"width": 820, "height": 1180}
POINT = "p => canalwright.scan.point(canalwright.scan.toIndex(p), canalwright.scan.panes[0])"
GREY = """() => {
  const c = document.querySelector('[data-plane=axial] canvas'), d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
  let sum = 0;
  for (let i = 0; i < d.length; i += 4) sum += d[i];
  return sum / d.length;
}"""
APART = """(() => {
  const s = canalwright.scan, p = s.toPatient(s.cross), c = s.canal.centre[s.straight.station()];
  return Math.hypot(...p.map((v, k) => v - c[k]));
})()"""
PAINTED = """(() => {
  const c = document.querySelector('#sv-solid canvas');
  return c.width > 0 && c.getContext('2d').getImageData(0, 0, c.width, c.height).data.some((v) => v > 0);
})()"""
WORKED = """() => {
  const box = document.getElementById("sv-work");
  const look = () => { window.worked ||= !box.hidden && box.textContent.trim().length > 0; };
  new MutationObserver(look).observe(box, { attributes: true, childList: true, subtree: true });
}"""
"""Write down whether work under way was told: it may be over before it is looked for."""
CROSS = "canalwright.scan.cross.map(Math.round)"


@dataclass(frozen=True)
class Found:
    """The practice scan with its canal found: where it is open, and the true terminus (LPS mm)."""

    path: str
    terminus: list[float]


def _window(chromium: Browser, address: str, size: dict[str, int] = DESKTOP, scheme: str = "light") -> Page:
    context = chromium.new_context(viewport=size, base_url=address, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(SLOW)
    return page


@pytest.fixture
def page(chromium: Browser, address: str) -> Iterator[Page]:
    made = _window(chromium, address)
    complaints: list[str] = []
    outside: list[str] = []
    made.on("pageerror", lambda error: complaints.append(str(error)))
    made.on(
        "request",
        lambda r: (
            outside.append(r.url) if not r.url.startswith((address, "data:", "blob:", "ws://127.0.0.1")) else None
        ),
    )
    yield made
    made.context.close()
    assert complaints == []
    assert outside == [], "a page asked something of another machine"


@pytest.fixture(scope="module")
def found(chromium: Browser, address: str) -> Found:
    """By keys alone: open the practice scan, put the cross-hair into the tooth, find its canal with Enter."""
    truth = make(*random_shape(PRACTICE)).truth[0]
    page = _window(chromium, address)
    page.goto("/scan")
    page.get_by_role("button", name="Open the practice scan").press("Enter")
    expect(page.locator("html[data-scan=ready]")).to_be_attached()
    beside = truth.centre[70] + truth.axis[70] * (truth.major[70] / 2 + 0.4)
    page.evaluate(POINT, beside.tolist())
    page.evaluate(WORKED)
    page.get_by_role("button", name="Find canals").press("Enter")
    page.locator("[data-plane=axial] canvas").press("Enter")
    expect(page.locator(".sv-canal")).to_have_count(1)
    assert page.evaluate("worked"), "that it is being found is told"
    path = re.sub(r"^https?://[^/]+", "", page.url)
    end = page.evaluate("canalwright.scan.canals[0].centre[0]")
    assert np.linalg.norm(np.array(end) - truth.terminus) < 0.5
    page.context.close()
    return Found(path, truth.terminus.tolist())


def _opened(page: Page, found: Found) -> None:
    page.goto(found.path)
    expect(page.locator("html[data-scan=ready]")).to_be_attached()
    page.wait_for_function("canalwright.scan.canals.length > 0")
    page.wait_for_function(
        "canalwright.scan.straight.line && canalwright.scan.straight.across"
    )  # nothing shifts any more


def test_slices_follow_the_wheel_the_keys_and_each_other(page: Page, found: Found) -> None:
    _opened(page, found)
    axial = page.locator("[data-plane=axial] canvas")
    axial.focus()
    before = page.evaluate(CROSS)
    for _ in range(3):
        axial.press("PageUp")
    axial.press("ArrowRight")
    after = page.evaluate(CROSS)
    assert [a - b for a, b in zip(after, before, strict=True)] == [1, 0, 3]
    expect(page.locator("[data-plane=axial] output")).to_have_text(re.compile(rf"^{after[2] + 1} of "))
    expect(page.locator("[data-plane=sagittal] output")).to_have_text(re.compile(rf"^{after[0] + 1} of "))
    axial.hover()
    page.mouse.wheel(0, 100)
    page.wait_for_function(f"{CROSS}[2] === {after[2] + 1}")
    page.get_by_label("Coronal slice").fill("20")
    page.wait_for_function(f"{CROSS}[1] === 20")
    for _ in range(5):  # one by one: a busy page leaves out slices that were passed over, never the last one
        seen = page.evaluate("canalwright.scan.times.length")
        axial.press("PageUp")
        page.wait_for_function(f"canalwright.scan.times.length > {seen}")


def test_a_click_beside_the_tooth_is_refused_and_the_reason_stays(page: Page, found: Found) -> None:
    _opened(page, found)
    axial = page.locator("[data-plane=axial] canvas")
    before = axial.bounding_box()
    page.evaluate("canalwright.scan.find(canalwright.scan.toPatient([1, 1, 1]))")
    wrong = page.locator("#sv-problem")
    expect(wrong).to_contain_text("tooth")
    page.wait_for_timeout(1000)
    expect(wrong).to_contain_text("tooth")
    assert axial.bounding_box() == before, "the next click must land where it is aimed"
    wrong.get_by_role("button", name="Close").click()
    expect(wrong).to_be_hidden()
    page.get_by_role("button", name="Add canal").click()
    axial.click(position={"x": 6, "y": 6})
    expect(wrong).to_contain_text("outside the scan")
    assert page.evaluate("canalwright.scan.tools.clicked.length") == 0
    assert axial.bounding_box() == before
    expect(page.locator(".sv-canal")).to_have_count(1)


def test_window_and_zoom_change_the_picture_and_nothing_else(page: Page, found: Found) -> None:
    _opened(page, found)
    grey = GREY
    axial = page.locator("[data-plane=axial] canvas")
    page.wait_for_function(f"({grey})() > 1")
    bright = page.evaluate(grey)
    for _ in range(8):
        axial.press("[")
    page.wait_for_function(f"before => Math.abs(({grey})() - before) > 3", arg=bright)
    scale = page.evaluate("canalwright.scan.panes[0].scale")
    axial.press("+")
    assert page.evaluate("canalwright.scan.panes[0].scale") > 1.2 * scale
    page.get_by_role("button", name="Whole picture").click()
    assert page.evaluate("canalwright.scan.panes[0].scale") == pytest.approx(scale)


def test_a_length_and_an_angle_are_measured_in_millimetres_and_degrees(page: Page, found: Found) -> None:
    _opened(page, found)
    box = page.locator("[data-plane=coronal] canvas").bounding_box()
    assert box is not None
    scale = page.evaluate("canalwright.scan.panes[1].scale")
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.get_by_role("button", name="Length").click()
    page.mouse.move(x - 40, y)
    page.mouse.down()
    page.mouse.move(x, y, steps=4)
    page.mouse.move(x + 60, y, steps=4)
    page.mouse.up()
    told = page.locator("#sv-measures li").first.inner_text()
    assert float(told.split(" mm")[0]) == pytest.approx(100 / scale, rel=0.03)
    page.get_by_role("button", name="Angle").click()
    for dx, dy in ((60, 0), (0, 0), (0, -60)):
        page.mouse.click(x + dx, y + dy)
    assert float(page.locator("#sv-measures li").nth(1).inner_text().split("°")[0]) == pytest.approx(90, abs=1)
    page.get_by_role("button", name="Clear measures").click()
    expect(page.locator("#sv-measured")).to_be_hidden()


def test_the_straightened_canal_and_the_slices_share_one_cursor(page: Page, found: Found) -> None:
    _opened(page, found)
    line = page.get_by_label("Straightened canal")
    line.focus()
    before = page.evaluate("canalwright.scan.straight.z")
    line.press("PageUp")
    page.wait_for_function("before => Math.abs(canalwright.scan.straight.z - before - 1) < 0.06", arg=before)
    apart = page.evaluate(APART)
    assert apart < 0.1
    expect(page.locator("#sv-values")).to_contain_text(re.compile(r"Least width\s*\d\.\d\d mm \(\d\.\d\d–\d\.\d\d\)"))
    page.get_by_label("Turn").fill("90")
    page.wait_for_function("canalwright.scan.straight.turn === 90")


def test_a_point_is_corrected_by_keys_kept_with_its_author_undone_and_the_canals_become_a_case(
    page: Page, found: Found
) -> None:
    _opened(page, found)
    page.get_by_text("Corrections", exact=True).click()
    page.get_by_label("Your name").fill("A. Reader")
    axial = page.locator("[data-plane=coronal] canvas")
    axial.focus()
    axial.press("n")
    expect(page.locator("#told")).to_contain_text("Point 1 of")
    for _ in range(3):
        axial.press("ArrowUp")
    axial.press("Enter")
    expect(page.locator("#sv-log li")).to_have_count(1)
    expect(page.locator("#sv-log")).to_contain_text("A. Reader")
    expect(page.locator("#sv-canals")).to_contain_text("canal 1")
    page.keyboard.press("Control+z")
    expect(page.locator("#sv-log li.undone")).to_have_count(1)
    page.get_by_role("button", name="Redo").click()
    expect(page.locator("#sv-log li.undone")).to_have_count(0)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#sv-log li.undone")).to_have_count(1)

    page.get_by_label("Tooth", exact=True).select_option("21")
    page.get_by_label("Name of canal 1").fill("single")
    page.get_by_role("button", name="Accept and go on").click()
    expect(page).to_have_url(re.compile(r"/case/[0-9a-f]+/0/measure$"))
    expect(page.locator(".picture svg.cw-section")).to_be_visible()
    assert float(page.get_by_label("Radiographic length, mm").input_value()) > 9
    page.get_by_role("link", name="Scan", exact=True).click()
    expect(page.locator("html[data-scan=ready]")).to_be_attached()
    assert page.evaluate("canalwright.scan.base") == found.path, "the case leads back to its scan"


def test_the_tooth_turns_in_three_dimensions(page: Page, found: Found) -> None:
    _opened(page, found)
    page.get_by_role("tab", name="Three dimensions").click()
    page.wait_for_function("canalwright.scan.solid?.drawn > 0")
    turned = page.evaluate("canalwright.scan.solid.turn[0]")
    page.locator("#sv-solid canvas").press("ArrowRight")
    assert page.evaluate("canalwright.scan.solid.turn[0]") != turned
    page.wait_for_function("!canalwright.scan.solid.moving")
    expect(page.locator("#sv-solid .solid-line")).to_have_text(re.compile(r"\d triangles"))
    page.get_by_label("Tooth", exact=True).and_(page.locator("input[type=checkbox]")).uncheck()
    assert page.evaluate("canalwright.scan.solid.bodies.get('tooth').shown") is False


def test_without_webgl_a_still_picture_stands_in_and_says_so(page: Page, found: Found) -> None:
    page.add_init_script("window.canalwright = { nowebgl: true }")
    _opened(page, found)
    page.get_by_role("tab", name="Three dimensions").click()
    expect(page.locator(".solid-none")).to_contain_text("no WebGL")
    painted = PAINTED
    page.wait_for_function(painted)


def test_a_scan_is_sent_from_the_browser_in_parts_and_a_bad_one_is_told(page: Page, tmp_path: Path) -> None:
    page.goto("/scan")
    bad = tmp_path / "notes.nii"
    bad.write_bytes(b"not a scan" * 40)
    page.locator("#sv-files").set_input_files(bad)
    expect(page.get_by_role("alert")).to_contain_text("notes.nii")
    page.get_by_label("File or folder").fill("relative/path")
    page.get_by_role("button", name="Open it").click()
    expect(page.get_by_role("alert")).to_contain_text("whole path")


def test_pictures_take_a_voxel_size_for_each_axis_and_a_wrong_one_is_told_before_they_are_sent(
    page: Page, tmp_path: Path
) -> None:
    path = tmp_path / "slices.tif"
    tifffile.imwrite(path, np.random.default_rng(1).integers(0, 900, (12, 14, 16)).astype(np.uint16))
    page.goto("/scan")
    page.get_by_label("Voxel size, mm").fill("0.1,0.2")
    page.locator("#sv-files").set_input_files(path)
    expect(page.get_by_role("alert")).to_contain_text("one number in mm, such as 0.2, or three above 0")
    page.get_by_label("Voxel size, mm").fill("0,1 0,2 0,3")
    page.locator("#sv-files").set_input_files(path)
    expect(page.locator("html[data-scan=ready]")).to_be_attached()
    step = page.evaluate(
        "canalwright.scan.toPatient([1, 1, 1]).map((v, k) => v - canalwright.scan.toPatient([0, 0, 0])[k])"
    )
    assert step == pytest.approx([0.1, 0.2, 0.3])


def test_no_serious_finding_of_axe(chromium: Browser, address: str, found: Found) -> None:
    page = _window(chromium, address)
    for view in ("/scan", found.path):
        page.goto(view)
        if view == found.path:
            page.wait_for_function("canalwright.scan?.canals.length > 0")
            page.get_by_text("Corrections", exact=True).click()
        no_serious_finding(page, DESKTOP, TABLET)
    page.context.close()


def test_fingers_scroll_bring_nearer_and_drag_a_traced_point(chromium: Browser, address: str, found: Found) -> None:
    """On a tablet, with no mouse and no keyboard; what is pressed is large enough for a gloved finger."""
    page = tablet(chromium, address)
    page.set_default_timeout(SLOW)
    _opened(page, found)
    assert small(page) == []
    figure = page.locator("[data-plane=axial]")
    slice_, before = figure.locator("input[type=range]"), page.evaluate(CROSS)
    swipe(page, [within(slice_, 0.5, 0.5), within(slice_, 0.7, 0.5)])
    page.wait_for_function(f"before => {CROSS}[2] !== before", arg=before[2])  # the slider goes through the slices
    canvas = page.locator("[data-plane=coronal] canvas")
    swipe(
        page,
        [within(canvas, 0.45, 0.5), within(canvas, 0.3, 0.5)],
        [within(canvas, 0.55, 0.5), within(canvas, 0.7, 0.5)],
    )
    page.wait_for_function("canalwright.scan.panes.find((p) => p.plane === 'coronal').zoom > 1.3")
    page.evaluate("canalwright.scan.panes.find((p) => p.plane === 'coronal').fit()")
    page.locator("[data-tool=points]").tap()
    place = """() => {
      const s = canalwright.scan, pane = s.panes.find((p) => p.plane === 'coronal'), box = pane.canvas.getBoundingClientRect();
      const handles = s.tools.handles(), [x, y] = pane.toScreen(s.toIndex(handles[Math.floor(handles.length / 2)].place));
      return [box.left + x, box.top + y];
    }"""
    canvas.scroll_into_view_if_needed()
    x, y = page.evaluate(place)
    looks: list[Route] = []  # answered after the tap, so that the work is not over for the page before it
    page.route("**/state.json", lambda route: looks.append(route))
    with page.expect_response(lambda r: "correct" in r.url) as told:
        swipe(page, [(x + 20, y), (x + 34, y)])
    assert told.value.ok, "a point taken beside, as a finger takes it, is moved"
    page.get_by_role("button", name="Cancel").tap()
    for look in looks:
        look.continue_()
    page.unroute("**/state.json")
    expect(page.locator("#sv-work")).to_be_hidden()
    page.context.close()


def test_memory_stays_flat_while_slices_run_by(page: Page, found: Found) -> None:
    """Pictures kept for each plane are bounded, however long one scrolls."""
    _opened(page, found)
    page.evaluate("canalwright.scan.panes.forEach((p) => { p.stack.most = 24; })")
    kept = page.evaluate(
        """async () => {
          const pane = canalwright.scan.panes[0];
          for (let n = 0; n < 2 * pane.stack.count; n++) {
            pane.go(n % pane.stack.count);
            await new Promise((good) => setTimeout(good, 4));
          }
          await Promise.all(pane.stack.asked.values());
          return pane.stack.kept.size;
        }"""
    )
    assert kept <= 24
