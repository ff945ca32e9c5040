"""The frame of every page: style, scripts, head, caution; and what stands there when a case is not open."""

import inspect
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Protocol

from fastapi import Request
from nicegui import ui
from nicegui.events import GenericEventArguments

from canalwright.casefile import Case
from canalwright.planning import Choices
from canalwright.web import way
from canalwright.web.choosing import from_query, query_of
from canalwright.web.gone import ERASED
from canalwright.web.markup import shell
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.office import Office
from canalwright.web.prefs import Prefs

THEME = "try{const t=localStorage.getItem('cw_theme');if(t==='light'||t==='dark')document.documentElement.dataset.theme=t}catch(e){}"


def html(content: Safe, *, tag: str = "div", kind: str = "", marks: str = "") -> ui.html:
    """Markup made by `canalwright.web.markup`, on the page."""
    made = ui.html(content, sanitize=False, tag=tag)
    if kind:
        made.classes(kind)
    if marks:
        made.props(marks)
    return made


def page_prefs() -> Prefs:
    """Preferences of the reader of the page that is being made."""
    request = ui.context.client.request
    return Prefs.of(request.cookies if request is not None else {})


@contextmanager
def frame(
    prefs: Prefs,
    title: str,
    *scripts: str,
    office: Office | None = None,
    case: Case | None = None,
    key: str = "",
    index: int = 0,
    stage: str = "",
    kind: str = "",
) -> Iterator[ui.html]:
    """Everything around the content of a page; `stage` is the view that it is, `office` lets it say how far the canal has come.

    Gives the head, which `head` fills anew where the page changes its case.
    """
    _head(prefs, title, "page", *scripts)
    top = html(head(prefs, office, case, key, index, stage), kind="shell")
    with _main(kind):
        if office is not None and key and (now := _newer(office, key)):
            html(shell.older(prefs, now), tag="p", kind="older", marks="role=status")
        yield top
    html(shell.caution(prefs, stage), kind="shell-foot")
    html(el("dialog", el("div", id="where-content"), id="where", aria_labelledby="where-title"), kind="shell-dialog")
    html(el("div", id="told", role="status", aria_live="polite", class_="unseen"))


def _newer(office: Office, key: str) -> str:
    """Where this page shows a case as it is now; empty where it does already. Said at once, not when the browser asks for it."""
    found, request = office.shelf.newer(key), ui.context.client.request
    if not found or request is None:
        return ""
    way, query = request.url.path, request.url.query
    return way.replace(f"/case/{key}/", f"/case/{found}/", 1) + (f"?{query}" if query else "")


def head(prefs: Prefs, office: Office | None, case: Case | None, key: str, index: int, stage: str) -> Safe:
    """The head of a page."""
    marks = way.marks(office, case, key, index) if office is not None and case is not None else None
    return shell.top(prefs, case, key, index, stage, marks)


@contextmanager
def bare(prefs: Prefs, title: str, *scripts: str, kind: str) -> Iterator[None]:
    """A page that is all content: the chair, dark unless the reader wants it light, with its own head and caution."""
    _head(prefs, title, *scripts)
    ui.add_head_html("<script>document.documentElement.dataset.theme ??= 'dark'</script>")
    with _main(kind):
        yield


def _head(prefs: Prefs, title: str, *scripts: str) -> None:
    ui.page_title(f"{title} · canalwright")
    head = [
        f"<script>document.documentElement.lang={json.dumps(prefs.language)};{THEME}</script>",
        '<link rel="stylesheet" href="/colours.css">',
        '<link rel="stylesheet" href="/static/look.css">',
        *(f'<script type="module" src="/static/{script}.js"></script>' for script in scripts),
    ]
    ui.add_head_html("".join(head))
    slot = ui.context.client.content.parent_slot
    if slot is not None:
        slot.parent.props('role="presentation"')  # the framework's own <main> is around head and foot too


def _main(kind: str) -> ui.element:
    return ui.element("main").props('id="content" tabindex="-1"').classes(f"page {kind}".strip())


def not_open(prefs: Prefs, *, erased: bool = False, now: str = "") -> None:
    """What a link shows whose case this server does not hold; `erased` with its person; `now`: where what it became is."""
    words = prefs.words
    about = ERASED if erased else "It was closed, or nobody used it for 30 days. Open the case file again."
    said = el("a", words(shell.AS_NOW), href=now) if now else words(about)
    title = (
        "This state of the case is not kept any more: it was changed since" if now else "This case is not open any more"
    )
    with frame(prefs, words("Not open")):
        html(
            join(
                el("h1", words(title), data_gone=True),
                el("p", said),
                el("p", el("a", words("To the start"), href="/", class_="button main")),
            ),
            kind="narrow",
        )


def opened(office: Office, key: str, index: int) -> tuple[Prefs, Case] | None:
    """Reader's preferences, and the case of an address; where it is not open the page says so, and there is None."""
    prefs, case = page_prefs(), office.found(key, index)
    if case is None:
        not_open(prefs, erased=key in office.gone, now=_newer(office, key))
        return None
    return prefs, case


class Window(Protocol):
    """One window on a case, or on none yet (an empty `key`)."""

    office: Office
    key: str


def hear(window: Window, event: str, act: Callable[..., Any]) -> None:
    """Do something at an event of a window as long as its case is open; where that was erased or closed meanwhile nothing is done: the
    page is loaded anew, and says so."""
    wants = len(inspect.signature(act).parameters) > 0

    def heard(told: GenericEventArguments) -> Any:
        if window.key and window.office.why_gone(window.key):
            ui.navigate.reload()
            return None
        return act(told) if wants else act()

    ui.on(event, heard)


def asked(office: Office, request: Request, key: str, index: int) -> tuple[Prefs, Case, Choices] | None:
    """The same with what the address chooses."""
    found = opened(office, key, index)
    return None if found is None else (*found, from_query(query_of(request), office.tray))
