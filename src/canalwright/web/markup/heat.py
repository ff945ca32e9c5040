"""The heat page: controls, pictures to draw on, and what came of a run; `static/heat.js` brings it to life."""

import math

from canalwright.heat.solid import Choice, SolidDoubt, SolidStory
from canalwright.heat.solid.telling import LEAVES_OUT
from canalwright.quantities import Quantity
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.ready import answering
from canalwright.web.words import Words

FIELDS = (
    ("now", "temperature now, °C"),
    ("rise", "greatest rise, K"),
    ("above_47", "time above 47 °C, s"),
    ("cem43", "CEM43, min"),
)


def panel(words: Words) -> Safe:
    """Everything of the page but the numbers."""
    return join(
        el(
            "section",
            el("p", words("A run in three dimensions takes seconds to a minute: the filling, the runs behind its intervals, the choices."),
               class_="quiet"),
            el(
                "div",
                el("button", words("Run"), type="button", class_="button main", id="run"),
                el("button", words("Give up"), type="button", class_="button", id="give-up", disabled=True),
                el("progress", id="share", max="1", value="0", aria_label=words("Progress of the run")),
                el("span", "", id="doing", class_="quiet", role="status"),
                class_="actions",
            ),
            class_="part", aria_label=words("Run"),
        ),
        el(
            "section",
            el("p", "", id="act-now", class_="act-now"),
            el("p", el("span", "0.0", id="clock"), " s", class_="clock"),
            el("label", words("Time"), for_="scrub", class_="unseen"),
            el("input", type="range", id="scrub", min="0", max="1", step="1", value="0", disabled=True),
            el(
                "div",
                el("button", words("Play"), type="button", class_="button main", id="play", disabled=True,
                   data_play=words("Play"), data_pause=words("Pause")),
                el("label", words("On the root surface"), for_="field"),
                el("select", *(el("option", words(name), value=key) for key, name in FIELDS), id="field"),
                el("a", words("Save as GIF"), class_="button", id="gif", download=True, hidden=True),
                el("a", words("Save as APNG"), class_="button", id="apng", download=True, hidden=True),
                class_="actions",
            ),
            class_="transport", aria_label=words("Player"),
        ),
        el(
            "div",
            _picture("section-a", words("Section in the plane of the curve")),
            _picture("section-b", words("Section across it")),
            _picture("map", words("Root surface unrolled: direction across, level upwards"), tabindex="0"),
            class_="heat-pictures",
        ),
        el("div", _scale("scale-section", words("sections, °C")), _scale("scale-map", words("temperature now, °C")),
           class_="heat-scales"),
        el("p", words("Point at the unrolled surface, or move over it with the arrow keys, to read a place."), id="at", class_="quiet",
           role="status"),
    )  # fmt: skip


def _picture(key: str, title: str, **more: str) -> Safe:
    return el(
        "figure",
        el("canvas", id=key, role="img", aria_label=title, width="10", height="10", **more),
        el("figcaption", title),
    )


def _scale(key: str, title: str) -> Safe:
    return el(
        "p", el("span", "", id=f"{key}-low"), el("canvas", id=key, width="120", height="10", aria_hidden="true"),
        el("span", "", id=f"{key}-high"), " ", el("span", title, id=f"{key}-name"), class_="quiet heat-scale",
    )  # fmt: skip


def results(story: SolidStory, doubt: SolidDoubt, choices: tuple[Choice, ...], words: Words) -> Safe:
    """The numbers with their intervals, and the table of choices when it is there."""
    rows = [
        ("Greatest rise on the root surface", "K", "rise", 1),
        ("Time above 47 °C at the worst point", "s", "above_47", 1),
        ("CEM43 at the worst point", "min", "cem43", 2),
        ("Greatest rise in the bone", "K", "bone", 1),
        ("Longest safe activation of the deepest round", "s", "activation", 1),
        ("Shortest safe pause before it", "s", "pause", 0),
    ]
    body = [
        el("tr", el("th", words(name), scope="row"), el("td", _asked(doubt, name, unit, key, digits, words)))
        for name, unit, key, digits in rows
        if len(getattr(doubt, key))
    ]  # fmt: skip
    head = el("tr", *(el("th", t, scope="col") for t in (words("number"), words("value"))))
    brought = story.heated_by + 1
    place = words(
        "Hottest at {level} mm from the terminus, {angle}° from the greatest width, after {time} s; brought by act {act}.",
        level=f"{story.surface_level:.1f}", angle=f"{story.surface_angle:.0f}", time=f"{story.surface_time:.0f}", act=brought,
    )  # fmt: skip
    return join(
        el("h2", words("What came of it"), id="h-heat"),
        _scrolled(el("table", el("thead", head), el("tbody", *body)), words("Numbers")),
        el("p", place),
        el("p", words(LEAVES_OUT), class_="quiet"),
        _table(choices, words) if choices else Safe(""),
    )


def _table(choices: tuple[Choice, ...], words: Words) -> Safe:
    titles = (
        words("choice"), words("rise, K"), words("5–95 % interval"), words("level, mm"), words("bone, °C"), words("above 47 °C, s"),
        words("CEM43, min"), words("soft down to, mm"),
    )  # fmt: skip
    body = [
        el(
            "tr", el("th", words(c.name), scope="row"), el("td", el("b", f"{c.rise:.1f}")),
            el("td", f"{c.low:.1f}{words(' to ')}{c.high:.1f}"), el("td", f"{c.level:.1f}"), el("td", f"{c.bone:.1f}"),
            el("td", f"{c.above_47:.1f}"), el("td", f"{c.cem43:.2f}"), el("td", f"{c.front:.1f}"),
        )
        for c in choices
    ]  # fmt: skip
    whole = el("table", el("thead", el("tr", *(el("th", t, scope="col") for t in titles))), el("tbody", *body))
    return join(
        el("h2", words("What if?")),
        el("p", words("One thing changed at a time; levels from the terminus."), class_="quiet"),
        _scrolled(whole, words("What if?")),
    )


def _scrolled(table: Safe, title: str) -> Safe:
    return el("div", table, class_="scroll", tabindex="0", role="region", aria_label=title)


def _asked(doubt: SolidDoubt, name: str, unit: str, key: str, digits: int, words: Words) -> Safe:
    """A number of the run, which says on a click where it is from."""
    (low, high), value = doubt.interval(key), float(getattr(doubt, key)[0])
    between = f"{_figure(low, digits, words)}{words(' to ')}{_figure(high, digits, words)}"
    shown = (_figure(value, digits, words), between, words(unit))
    return answering(name, Quantity(value, low, high, unit), shown, words)


def _figure(value: float, digits: int, words: Words) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else words("none is enough")
