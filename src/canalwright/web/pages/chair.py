"""Chair mode: one act at a time. Before it, where one begins or goes on."""

from fastapi import Request
from nicegui import ui

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.web.chairbook import ChairbookError
from canalwright.web.held import KEY
from canalwright.web.markup.chair import screen
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.shell import before
from canalwright.web.office import Office
from canalwright.web.pages.frame import bare, frame, html, not_open, opened, page_prefs
from canalwright.web.prefs import Prefs

LISTED = 5


def register(office: Office) -> None:
    """`/case/<key>/<canal>/chair` and `/practice`, and the screen itself at `/chair/<session>`."""

    @ui.page("/case/{key}/{index}/chair")
    def chair_begin(request: Request, key: str, index: int) -> None:
        _before(office, key, index, practice=False)

    @ui.page("/case/{key}/{index}/practice")
    def practice(request: Request, key: str, index: int) -> None:
        _before(office, key, index, practice=True)

    @ui.page("/chair/{ident}")
    def chair(ident: str) -> None:
        prefs = page_prefs()
        try:
            head, _ = office.chairs.book.read(ident)
        except ChairbookError:
            not_open(prefs, erased=ident in office.gone)
            return
        case = casefile.loads(head.case, "session")
        if office.found(case.digest[:KEY], head.canal) is None:
            office.put(case)
        title = f"{prefs.tooth(case.tooth)} {prefs.words(case.canals[head.canal].name)}"
        ui.add_head_html('<link rel="stylesheet" href="/static/chair.css">')
        with bare(prefs, title, "page", "chair", kind="chair"):
            html(screen(prefs.words, practice=head.practice))


def _before(office: Office, key: str, index: int, *, practice: bool) -> None:
    if (found := opened(office, key, index)) is None:
        return
    prefs, case = found
    words, stage = prefs.words, "practice" if practice else "chair"
    with frame(
        prefs,
        words("Practise" if practice else "Chair"),
        "begin",
        office=office,
        case=case,
        key=key,
        index=index,
        stage=stage,
        kind="before",
    ):
        html(_offer(prefs, key, index, practice=practice), kind="narrow")
        html(_going_on(office, prefs, case, index, practice=practice), kind="narrow")


def _offer(prefs: Prefs, key: str, index: int, *, practice: bool) -> Safe:
    words = prefs.words
    about = (
        words("The same screen and the same clock on a simulated tooth, and at the end what you did beside the plan.")
        if practice
        else words(
            "One act at a time, large enough to read from two metres. What is really done is written down as it happens."
        )
    )
    keys = (
        ("Space, Enter, →, Page Down", "go on (a foot pedal that sends one of them works too)"),
        ("←, Backspace, Page Up", "back"),
        ("P", "pause"),
        ("E", "something happened"),
        ("F", "full screen"),
    )
    return join(
        el("h2", words("Practise this filling") if practice else words("Take this plan to the chair")),
        el("p", about, class_="lead"),
        before(prefs, "chair", unfolded=True),
        el(
            "p",
            el(
                "button",
                words("Begin"),
                type="button",
                class_="button main large",
                data_begin=f"/case/{key}/{index}/begin",
                data_practice="true" if practice else "false",
            ),
        ),
        el(
            "p",
            "",
            id="begin-wrong",
            class_="wrong",
            role="alert",
            data_lost=words("The server does not answer; is the program still running?"),
        ),
        el("h3", words("Keys")),
        el("dl", *(join(el("dt", words(k)), el("dd", words(v))) for k, v in keys), class_="where-rows"),
        el(
            "p",
            words("Sessions are kept on this machine, in your own data folder, readable by you only."),
            class_="quiet",
        ),
    )


def _going_on(office: Office, prefs: Prefs, case: Case, index: int, *, practice: bool) -> Safe:
    """Sessions of this canal that were begun, the last ones."""
    words, rows = prefs.words, []
    for ident in office.chairs.book.listed():
        try:
            head, events = office.chairs.book.read(ident)
            same = (
                head.canal == index
                and head.practice == practice
                and casefile.loads(head.case, "session").digest == case.digest
            )
        except (ChairbookError, casefile.CaseError):
            continue
        if same:
            when = el("time", "", data_moment=f"{head.began:.0f}")
            rows.append(
                el(
                    "li",
                    el(
                        "a",
                        el("b", words("Go on"), data_done=words("Done")),
                        when,
                        el(
                            "span",
                            words("{n} entries", n=len(events)),
                            class_="quiet",
                            data_session=f"/chair/{ident}/state.json",
                            data_at=words("act {n} of {of}", n="%n", of="%of"),
                        ),
                        href=f"/chair/{ident}",
                    ),
                )
            )
        if len(rows) == LISTED:
            break
    return join(el("h2", words("Begun before")), el("ul", *rows, class_="open-cases")) if rows else Safe("")
