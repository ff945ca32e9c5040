"""Scans: where one is opened, where it is looked at, and the scan behind a case."""

from nicegui import ui

from canalwright.casefile import Case
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.scan import opening, viewer
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, html, opened, page_prefs
from canalwright.web.prefs import Prefs
from canalwright.web.reader import reader
from canalwright.web.scan.store import OpenScan

STYLE = '<link rel="stylesheet" href="/static/scan.css">'


def register(office: Office) -> None:
    """`/scan` to open one, `/scan/<key>` to look at it, `/case/<key>/<canal>/scan` for the one that a case was read from."""

    @ui.page("/scan")
    def start() -> None:
        prefs = page_prefs()
        office.scans.hands.warm()
        with frame(prefs, prefs.words("Scan"), "scanopen", kind="start"):
            ui.add_head_html(STYLE)
            html(_opening(office, prefs), kind="narrow")

    @ui.page("/scan/{key}")
    def look(key: str) -> None:
        prefs = page_prefs()
        scan = office.scans.get(key, reader())
        if scan is None:
            _gone(prefs)
        else:
            _view(office, prefs, scan)

    @ui.page("/case/{key}/{index}/scan")
    def behind(key: str, index: int) -> None:
        if (found := opened(office, key, index)) is None:
            return
        prefs, case = found
        scan = office.scans.behind(case, reader())
        if scan is not None:
            _view(office, prefs, scan, case, key, index)
            return
        with frame(
            prefs,
            prefs.words("Scan"),
            "scanopen",
            office=office,
            case=case,
            key=key,
            index=index,
            stage="scan",
            kind="start",
        ):
            ui.add_head_html(STYLE)
            html(_opening(office, prefs), kind="narrow")


def _opening(office: Office, prefs: Prefs) -> Safe:
    listed = tuple((s.key, s.name, s.phase) for s in office.scans.listed(reader()))
    return opening(prefs, listed, paths=office.scans.paths)


def _view(
    office: Office, prefs: Prefs, scan: OpenScan, case: Case | None = None, key: str = "", index: int = 0
) -> None:
    with frame(
        prefs,
        f"{prefs.words('Scan')} {scan.name}",
        "scan",
        office=office,
        case=case,
        key=key,
        index=index,
        stage="scan",
        kind="scan",
    ):
        ui.add_head_html(STYLE)
        html(viewer(prefs, scan.key, scan.name, reader(), key))


def _gone(prefs: Prefs) -> None:
    words = prefs.words
    with frame(prefs, words("Not open")):
        html(
            join(
                el("h1", words("This scan is not open any more")),
                el("p", words("Scans live with the running page only, the last three of them. Open it again.")),
                el("p", el("a", words("Open a scan"), href="/scan", class_="button main")),
            ),
            kind="narrow",
        )
