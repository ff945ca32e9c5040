"""What this program computes beside what others published: every row of the tests, misses first."""

from nicegui import ui

from canalwright.web.markup.evidence import evidence
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, html, page_prefs


def register(office: Office) -> None:
    """`/evidence`."""

    @ui.page("/evidence")
    def page() -> None:
        prefs = page_prefs()
        with frame(prefs, prefs.words("Evidence"), "evidence", kind="evidence-page"):
            html(evidence(prefs.words), kind="flow")
