"""The player's controls and read-outs; `static/play.js` brings them to life."""

from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.where import live
from canalwright.web.words import Words

ONE_RUN = "none for one moment of one run; the intervals of what follows from it stand in the plan"
SPEEDS = (("0.5", "½×"), ("1", "1×"), ("2", "2×"), ("5", "5×"), ("10", "10×"))


def player(words: Words) -> Safe:
    """Transport, what is going on, values at the cursor, curves, list of acts."""
    return join(
        el(
            "section",
            el("p", "", id="act-now", class_="act-now", aria_live="off"),
            el("p", el("span", "0.0", id="clock"), " / ", el("span", "–", id="whole"), " s", class_="clock"),
            el("label", words("Time"), for_="scrub", class_="unseen"),
            el("input", type="range", id="scrub", min="0", max="1", step="0.1", value="0", disabled=True),
            el("div", id="lanes", class_="lanes", aria_hidden="true"),
            _transport(words),
            class_="transport",
            aria_label=words("Player"),
        ),
        el(
            "section",
            el("h2", words("Over time"), id="h-curves"),
            el(
                "div",
                id="curves",
                data_surface=words("root surface at the cursor, °C"),
                data_axis=words("on the axis at the cursor, °C"),
                data_limit=words("limit 10 K above the start"),
                data_panel_axis=words("axis, °C"),
                data_panel_surface=words("root surface, °C"),
            ),
            class_="part",
            aria_labelledby="h-curves",
        ),
        el(
            "section",
            el("h2", words("Acts"), id="h-acts"),
            el("ol", id="acts", class_="acts"),
            class_="part",
            aria_labelledby="h-acts",
        ),
        moving(words),
        el(
            "p",
            words("One run with the values as read. The intervals of what follows from it stand in the plan."),
            class_="quiet",
        ),
        el(
            "p",
            words("Keys: space plays and pauses, ← → a second, ⇧← ⇧→ an act, ↑ ↓ move the cursor, Home and End."),
            class_="quiet",
        ),
    )


def cursor(words: Words) -> Safe:
    """The cursor's depth and every value there."""
    return el(
        "section",
        el(
            "div",
            el("h2", words("At the cursor"), id="h-cursor"),
            el("output", "–", id="o-depth", for_="depth"),
            class_="cursor-head",
        ),
        el("label", words("Depth"), for_="depth", class_="unseen"),
        el("input", type="range", id="depth", min="0", max="1", step="0.1", value="0", disabled=True),
        el("dl", *_values(words), class_="values"),
        class_="cursor",
        aria_labelledby="h-cursor",
    )


def moving(words: Words) -> Safe:
    """The moving picture for teaching: make it, how far it is, give it up."""
    return el(
        "section",
        el("h2", words("For teaching"), id="h-moving"),
        el("p", words("The whole filling as a moving picture, with clock, act, scales and the caution in every frame."), class_="quiet"),
        el(
            "div",
            el("button", words("Moving picture (GIF)"), type="button", class_="button", id="moving-make"),
            el("progress", id="moving-share", max="1", hidden=True, aria_labelledby="h-moving"),
            el("button", words("Cancel"), type="button", class_="button", id="moving-cancel", hidden=True),
            el("span", id="moving-told", role="status"),
            class_="actions",
        ),
        class_="part",
        id="moving",
        aria_labelledby="h-moving",
        data_waiting=words("waiting its turn"),
        data_cancelled=words("Cancelled: no picture was made"),
        data_ready=words("Ready: it is being saved"),
        data_lost=words("The server does not answer; is the program still running?"),
    )  # fmt: skip


def _transport(words: Words) -> Safe:
    return el(
        "div",
        el("button", words("Act before"), type="button", class_="button", id="back", disabled=True),
        el(
            "button",
            words("Play"),
            type="button",
            class_="button main",
            id="play",
            disabled=True,
            data_play=words("Play"),
            data_pause=words("Pause"),
        ),
        el("button", words("Next act"), type="button", class_="button", id="next", disabled=True),
        el(
            "span",
            el("label", words("Speed"), for_="speed"),
            " ",
            el("select", *(el("option", shown, value=v, selected=v == "2") for v, shown in SPEEDS), id="speed"),
        ),
        class_="actions",
    )


def _values(words: Words) -> list[Safe]:
    named = (
        ("v-axis", "on the axis", "live.axis"),
        ("v-surface", "root surface", "live.surface"),
        ("v-rise", "rise outside", "live.rise"),
        ("v-pressure", "pressure", "live.pressure"),
        ("v-minor", "least width", "station.shaped_minor"),
        ("v-major", "greatest width", "station.shaped_major"),
        ("v-wall", "dentine wall", "station.wall"),
        ("v-most", "hottest outside now", "live.most"),
    )
    return [
        el("div", el("dt", words(name)), el("dd", _value(ident, words(name), key, words))) for ident, name, key in named
    ]


def _value(ident: str, name: str, key: str, words: Words) -> Safe:
    """A value that changes while the film runs; on a click it says what it is at that moment and where it is from."""
    places = {"at depth": "#o-depth", "at time, s": "#clock"}
    if ident == "v-most":
        places.pop("at depth")
    told = live(name, words, key=key, places=places, as_read=ONE_RUN)
    return el(
        "button",
        el("b", "–", class_="value", id=ident),
        el("span", " ", told["asks"], class_="unseen"),
        type="button",
        class_="num",
        data_said=told["said"],
        aria_haspopup="dialog",
    )
