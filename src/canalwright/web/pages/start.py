"""The start: see the demo case, open a case file, or write a case."""

from nicegui import ui

from canalwright import casefile
from canalwright.anatomy import Tooth
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, html, page_prefs
from canalwright.web.prefs import Prefs
from canalwright.web.shelf import ShelfFull


def register(office: Office) -> None:
    """`/` and `/demo`."""

    @ui.page("/")
    def start() -> None:
        prefs = page_prefs()
        with frame(prefs, prefs.words("Start"), "start", kind="start"):
            kept = join(_open(office, prefs), _begun(office, prefs))
            html(_ways(prefs, known=bool(kept)), kind="narrow")
            html(kept, kind="narrow")

    @ui.page("/demo")
    def demo() -> None:
        try:
            ui.navigate.to(f"/case/{office.take(casefile.demo_case())}/0/plan")
        except ShelfFull as error:
            prefs = page_prefs()
            with frame(prefs, prefs.words("Start"), "start", kind="start"):
                html(el("p", prefs.words(str(error)), class_="problems", role="alert"), kind="narrow")
                html(_open(office, prefs), kind="narrow")


def _ways(prefs: Prefs, *, known: bool) -> Safe:
    """The ways in; who is known here, having something open, is not told again what the program is for."""
    words = prefs.words
    lead = words(
        "Plan a warm vertical compaction, see what the heat will do in this root, and take one page to the chair."
    )
    return join(
        el(
            "h1",
            words("From one canal's own measurements to numbers for the chair"),
            class_="unseen" if known else None,
        ),
        "" if known else el("p", lead, class_="lead"),
        el(
            "div",
            _way(
                words("See it work"),
                words("An invented lower molar with three canals."),
                el("a", words("Open the demo case"), href="/demo", class_="button main"),
            ),
            _way(
                words("Describe a tooth"),
                words(
                    "Five values are enough: tooth, canal, working length, size and taper of the finishing file. "
                    "The rest is filled from published averages and marked so."
                ),
                el("a", words("Write a case"), href="/measure", class_="button"),
            ),
            _way(
                words("Read a scan"),
                words("Find the canals of a tooth in its scan with one click, and measure them finer than a voxel."),
                el("a", words("Open a scan"), href="/scan", class_="button"),
            ),
            _way(
                words("Open a case file"),
                words("A case file (TOML) or an archive of a case (ZIP). It stays on this machine."),
                join(
                    el("label", words("Choose a file"), for_="file", class_="button"),
                    el(
                        "input",
                        type="file",
                        id="file",
                        class_="unseen",
                        accept=".toml,.zip,text/plain,application/zip",
                        data_failed=words("The file could not be sent; is the page still running?"),
                    ),
                ),
            ),
            class_="ways",
            id="drop",
        ),
        el(
            "div",
            id="problems",
            role="alert",
            class_="problems",
            hidden=True,
            data_title=words("This file cannot be used:"),
        ),
    )


def _way(title: str, about: str, action: Safe) -> Safe:
    return el("section", el("h2", title), el("p", about), action, class_="way")


def _begun(office: Office, prefs: Prefs) -> Safe:
    """Forms that are no case yet."""
    words, listed = prefs.words, office.begun.listed()
    rows = []
    for name, draft in listed:
        number = prefs.tooth(Tooth(int(draft.table["tooth"]["number"])))
        label = str(draft.table["case"].get("label", ""))
        inside = (el("b", number, class_="tooth"), " ", el("span", label))
        close = el(
            "button", words("Close"), type="button", class_="button small", data_give_up=name,
            data_sure=words("What was typed is erased from this machine. Go on?"),
            aria_label=words("Close {case}", case=f"{number} {label}".strip()),
        )  # fmt: skip
        rows.append(el("li", el("a", *inside, href=f"/measure/{name}"), close))
    return join(el("h2", words("Begun, not yet a case")), el("ul", *rows, class_="open-cases")) if rows else Safe("")


def _open(office: Office, prefs: Prefs) -> Safe:
    listed = office.listed()
    if not listed:
        return Safe("")
    words = prefs.words
    rows = [
        el(
            "li",
            el(
                "a",
                el("b", prefs.tooth(case.tooth), class_="tooth"),
                " ",
                el("span", case.label),
                " ",
                el("span", ", ".join(words(c.name) for c in case.canals), class_="quiet"),
                href=f"/case/{key}/{office.shelf.last(key) or '0/plan'}",
            ),
            el(
                "button",
                words("Close"),
                type="button",
                class_="button small",
                data_close=key,
                data_sure=words(
                    "The case, its radiographs and their marks are erased from this machine; sessions at the chair stay, "
                    "as do files that you saved. Go on?"
                )
                if office.radiographs.holds(office.shelf.line(key))
                else words(
                    "The case is erased from this machine; sessions at the chair stay, as do files that you saved. Go on?"
                ),
                aria_label=words("Close {case}", case=f"{prefs.tooth(case.tooth)} {case.label}".strip()),
            ),
        )
        for key, case in listed
    ]
    kept = words(
        "Kept on this machine until they are closed, through a restart too; one that nobody used for 30 days goes."
    )
    return join(el("h2", words("Open now")), el("p", kept, class_="quiet"), el("ul", *rows, class_="open-cases"))
