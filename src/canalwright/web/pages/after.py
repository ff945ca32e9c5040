"""What comes after the filling, where no records are open: what they are for, and how to open them."""

from nicegui import ui

from canalwright.web.markup.html import el, join
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, html, page_prefs


def register(office: Office) -> None:
    """`/after`."""

    @ui.page("/after")
    def after() -> None:
        prefs = page_prefs()
        words = prefs.words
        with frame(prefs, words("Recall and outcomes"), kind="start"):
            html(
                join(
                    el("h1", words("Recall and outcomes")),
                    el(
                        "p",
                        words(
                            "Recalls, outcomes and the history of a case are kept in the records: encrypted, with accounts, here."
                        ),
                        class_="lead",
                    ),
                    el("p", words("Records are not open. Open them with these two commands, the first one only once:")),
                    el("pre", el("code", "canalwright records init HOME\ncanalwright serve --records HOME")),
                    el("p", words("What is open here can be taken along: save the case file, then open it there.")),
                ),
                kind="narrow",
            )
