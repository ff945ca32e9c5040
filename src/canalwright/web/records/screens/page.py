"""The frame of every record screen: head, ways within the records, trouble, caution."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from canalwright.records.accounts import Act, Role, may
from canalwright.web.markup import shell
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.prefs import Prefs

WAYS = (
    ("", "Cases", Act.SEE_LISTS),
    ("recalls", "Recalls", Act.SEE_LISTS),
    ("outcomes", "Outcomes", Act.SEE_OUTCOMES),
    ("keeping", "Keeping", Act.BACK_UP),
    ("users", "Users", Act.MANAGE_USERS),
    ("me", "Your account", None),
)


@dataclass(frozen=True)
class Who:
    """Who is signed in, what forms bring along, which way is shown, and what went wrong with the last backup."""

    name: str
    role: Role
    csrf: str
    here: str
    trouble: str = ""


def document(prefs: Prefs, title: str, content: Sequence[Safe | str], who: Who | None) -> str:
    """The whole document."""
    words = prefs.words
    ways = _ways(prefs, who) if who else Safe("")
    trouble = el("p", who.trouble, role="alert", class_="problems") if who and who.trouble else Safe("")
    body = join(
        shell.top(prefs),
        ways,
        el("main", trouble, *content, id="content", tabindex="-1", class_="page records"),
        shell.caution(prefs),
        el("dialog", el("div", id="where-content"), id="where", aria_labelledby="where-title"),
    )
    head = (
        '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(words(title))} · canalwright</title>"
        '<script src="/records/static/theme.js"></script><link rel="stylesheet" href="/colours.css">'
        '<link rel="stylesheet" href="/static/look.css"><link rel="stylesheet" href="/records/static/records.css">'
        '<link rel="icon" href="/favicon.ico"><script type="module" src="/static/page.js"></script>'
        + ('<script defer src="/records/static/watch.js"></script>' if who else "")
    )
    return f'<!doctype html><html lang="{prefs.language}"><head>{head}</head><body>{body}</body></html>'


def _ways(prefs: Prefs, who: Who) -> Safe:
    words = prefs.words
    tabs = [
        el("a", words(title), href=f"/records/{path}", class_="tab", aria_current="page" if path == who.here else None)
        for path, title, act in WAYS
        if act is None or may(who.role, act)
    ]
    out = form("/records/sign-out", who.csrf, el("button", words("Sign out"), class_="tab"))
    return el("nav", *tabs, out, aria_label=words("Ways within the records"), class_="tabs ways-within")


def form(action: str, token: str, *inside: Safe | str, files: bool = False, kind: str = "") -> Safe:
    """A form that is sent; `token` binds it to the session."""
    return el(
        "form",
        el("input", type="hidden", name="csrf", value=token),
        *inside,
        method="post",
        action=action,
        enctype="multipart/form-data" if files else None,
        class_=kind or None,
    )


def field(
    title: str, name: str, *, kind: str = "text", value: str = "", hint: str = "", ident: str = "",
    **marks: str | bool | None,
) -> Safe:  # fmt: skip
    """A labelled input; `ident` tells it apart where a page has several of one name."""
    mark = f"{name}-{ident}" if ident else name
    label = el("label", title, for_=f"f-{mark}")
    told = el("span", hint, id=f"h-{mark}", class_="usual") if hint else Safe("")
    described = f"h-{mark}" if hint else None
    made = el("input", type=kind, id=f"f-{mark}", name=name, value=value or None, aria_describedby=described, **marks)
    return el("div", label, made, told, class_="field")


def choice(title: str, name: str, options: Sequence[tuple[str, str]], chosen: str = "") -> Safe:
    """A labelled list to choose from: (value, words)."""
    inside = [el("option", shown, value=value, selected=value == chosen) for value, shown in options]
    return el(
        "div", el("label", title, for_=f"f-{name}"), el("select", *inside, id=f"f-{name}", name=name), class_="field"
    )


def radios(title: str, name: str, options: Sequence[tuple[str, str]], chosen: str) -> Safe:
    """One of a few, all in sight."""
    return el(
        "fieldset", el("legend", title), *(_box("radio", name, v, w, v == chosen) for v, w in options), class_="boxes"
    )


def boxes(title: str, name: str, options: Sequence[tuple[str, str]], chosen: Sequence[str]) -> Safe:
    """Any of a few."""
    return el(
        "fieldset",
        el("legend", title),
        *(_box("checkbox", name, v, w, v in chosen) for v, w in options),
        class_="boxes",
    )


def told(problem: str) -> Safe:
    """What is wrong with what was sent; nothing when nothing is."""
    return el("p", problem, role="alert", class_="problems") if problem else Safe("")


def button(words: str, *, main: bool = True, **marks: str | bool | None) -> Safe:
    """The button that sends a form."""
    return el("button", words, type="submit", class_="button main" if main else "button", **marks)


def table(head: Sequence[str], rows: Sequence[Sequence[Safe | str]], caption: str) -> Safe:
    """A table with a caption; its first column names the row."""
    top = el("tr", *(el("th", h, scope="col") for h in head))
    body = [el("tr", *(el("td", cell) for cell in row)) for row in rows]
    inside = el("table", el("caption", caption, class_="unseen"), el("thead", top), el("tbody", *body))
    return el("div", inside, class_="scroll", tabindex="0", role="region", aria_label=caption)


def _box(kind: str, name: str, value: str, words: str, checked: bool) -> Safe:
    return el("label", el("input", type=kind, name=name, value=value, checked=checked), el("span", words))
