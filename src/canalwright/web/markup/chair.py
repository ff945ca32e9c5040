"""The chair's screen: places for what `static/chair.js` fills in. Large, dark, few things."""

from canalwright.planning import CAUTION
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

HAPPENED = (
    "cone moved",
    "bled",
    "pedal held long",
    "plugger touched the wall",
    "gutta-percha came out",
    "something else",
)


TEXTS = {
    "go": "Go on",
    "start": "Begin",
    "started": "Stop: done",
    "resume": "Go on with the timer",
    "time_up": "Time is up",
    "stop": "stop",
    "lost": "Not recorded: the program does not answer. It will be tried again.",
    "warn": "Root surface may soon pass 10 K",
    "over": "Root surface may now pass 10 K",
    "of": "of",
    "interval": "5–95 %",
    "retimed": "times re-planned from what was done",
    "finished": "All steps done",
    "rise": "Outside",
    "limit": "limit 10 K",
    "working": "being worked out…",
    "unknown": "cannot be worked out",
    "wrong_depth": "A depth is between 1 and 40 mm: read the stop again.",
    "note": "Note this depth",
    "sure": "Note it all the same",
    "next": "Next",
    "wait": "wait",
    "heat": "heat",
    "hold": "hold",
    "cool": "cool",
    "planning": "Planning…",
}
"""Words that the screen's script puts in, by its names for them."""


CORNERS = el(
    "svg", el("path", d="M3 9V3h6M15 3h6v6M21 15v6h-6M9 21H3v-6", fill="none", stroke="currentColor", stroke_width="2"),
    viewBox="0 0 24 24", aria_hidden="true",
)  # fmt: skip


def screen(words: Words, *, practice: bool) -> Safe:
    """The whole screen of one session."""
    marked = el("span", words("Practice"), class_="pill") if practice else Safe("")
    picture = el("div", id="ch-tooth-now", class_="ch-picture")
    tooth = el("section", picture, class_="ch-tooth", aria_label=words("The simulated tooth")) if practice else Safe("")
    end = el("section", id="ch-end", hidden=True, class_="ch-end", aria_label=words("What was done"))
    return el(
        "div",
        el(
            "header",
            el("h1", el("span", id="ch-tooth", class_="tooth"), " ", el("span", id="ch-canal"), marked),
            el("p", el("span", id="ch-count"), id="ch-progress"),
            el("p", _asks("ch-rise", "outside", words)),
            el(
                "div",
                el("button", CORNERS, type="button", id="ch-full", class_="button", aria_label=words("Full screen")),
                el("a", words("Leave"), href="/", id="ch-leave", class_="button"),
                class_="actions",
            ),
            class_="ch-top",
        ),
        el(
            "section",
            el("p", words("The case was edited after this session began: what is shown here was planned from the older values.")),
            el("p", id="ch-older-wrong", role="alert"),
            el("button", words("Plan the rest from the edited case"), type="button", id="ch-replan", class_="button main"),
            el("button", words("Keep this plan"), type="button", id="ch-keep", class_="button"),
            id="ch-older", class_="ch-older", hidden=True, aria_label=words("The case was edited"),
        ),
        el("div", _step(words), tooth, end, class_="ch-body"),
        el(
            "div",
            el("button", words("Back"), type="button", id="ch-back", class_="button"),
            el("button", words("Go on"), type="button", id="ch-go", class_="button main"),
            el("button", words("Pause"), type="button", id="ch-pause", class_="button"),
            el("button", words("Something happened"), type="button", id="ch-event", class_="button"),
            class_="ch-keys",
        ),
        _happened(words),
        el("dialog", el("div", id="where-content"), id="where", aria_labelledby="where-title"),
        _caution(words),
        class_="ch", id="ch", **{f"data_t_{k}": words(v) for k, v in TEXTS.items()},
    )  # fmt: skip


def _step(words: Words) -> Safe:
    """The act: what, with which instrument, how deep, how long, and what comes next or what is wrong."""
    depth = (_figure("ch-depth", "depth", "mm", words), el("p", id="ch-interval", class_="ch-small"))
    clock = (_figure("ch-clock", "clock", "s", words), el("p", id="ch-clock-words", class_="ch-small"))
    cut = el("small", _asks("ch-cut", "cut", words))
    tool = (
        el("i", id="ch-swatch", class_="swatch", hidden=True),
        el("span", id="ch-tool"),
        _asks("ch-set", "set", words),
        cut,
    )
    coming = (el("span", id="ch-next-act"), _asks("ch-next-depth", "next", words))
    return el(
        "section",
        el("p", words("Opening the session…"), id="ch-words", class_="ch-words"),
        el("p", *tool, class_="ch-tool"),
        el(
            "div",
            el("div", *depth, id="ch-depth-box", hidden=True),
            el("div", *clock, id="ch-clock-box", hidden=True),
            class_="ch-figures",
        ),
        el("ul", id="ch-lines", class_="ch-lines", aria_live="polite"),
        el("p", id="ch-warn", class_="ch-warn", role="alert"),
        el("div", el("span", id="ch-next-words", class_="ch-small"), el("p", *coming, id="ch-next"), class_="ch-next"),
        class_="ch-step", id="ch-step", aria_label=words("This step"),
    )  # fmt: skip


def _figure(ident: str, what: str, unit: str, words: Words) -> Safe:
    return el("p", _asks(ident, what, words, data_unit=unit), class_=ident)


def _asks(ident: str, what: str, words: Words, **more: str) -> Safe:
    """A number that says where it is from when it is pressed."""
    return el(
        "button", type="button", id=ident, class_="ch-asks", data_where=what, title=words("Where from?"), aria_haspopup="dialog", **more
    )  # fmt: skip


def _caution(words: Words) -> Safe:
    """The caution, all of it in sight."""
    return el("p", words(CAUTION), class_="ch-caution")


def _happened(words: Words) -> Safe:
    rows = [el("button", words(what), type="button", class_="button", data_note=what) for what in HAPPENED]
    depth = join(
        el(
            "button",
            "−",
            type="button",
            class_="button",
            data_deeper="-0.5",
            aria_label=words("half a millimetre less"),
        ),
        el("input", type="number", id="ch-real", min="1", max="40", step="0.5", inputmode="decimal"),
        el(
            "button", "+", type="button", class_="button", data_deeper="0.5", aria_label=words("half a millimetre more")
        ),
        el("button", words("Note this depth"), type="button", class_="button main", id="ch-note-depth"),
    )
    return el(
        "dialog",
        el("h2", words("What happened?"), id="ch-happened-title", tabindex="-1", autofocus=True),
        el("div", *rows, class_="ch-happened"),
        el("label", words("The stop is really at, mm"), for_="ch-real"),
        el("div", depth, class_="ch-real"),
        el("p", id="ch-real-wrong", class_="ch-real-wrong", role="alert"),
        el("form", el("button", words("Close"), class_="button"), method="dialog"),
        id="ch-happened", aria_labelledby="ch-happened-title",
    )  # fmt: skip
