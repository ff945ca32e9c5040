"""The heat page: controls, pictures to draw on, and what came of a run; `static/heat.js` brings it to life."""

import math

from canalwright.heat.solid import Choice, SolidDoubt, SolidStory
from canalwright.heat.solid.telling import LEAVES_OUT
from canalwright.quantities import Quantity
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.ready import answering, written
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


def results(
    story: SolidStory, doubt: SolidDoubt, choices: tuple[Choice, ...], words: Words, front: Quantity | None = None
) -> Safe:
    """The numbers with their intervals, and the table of choices when it is there; `front`: how far the plan's last round softens."""
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
    low, high = doubt.level_interval(story.surface_level)
    place = words(
        "Hottest at {level} mm from the terminus, {angle}° from the greatest width, after {time} s; brought by act {act}.",
        level=f"{story.surface_level:.1f} ({low:.1f}{words(' to ')}{high:.1f})", angle=f"{story.surface_angle:.0f}",
        time=f"{story.surface_time:.0f}", act=brought,
    )  # fmt: skip
    return join(
        el("h2", words("What came of it"), id="h-heat"),
        _scrolled(el("table", el("thead", head), el("tbody", *body)), words("Numbers")),
        el("p", place),
        el("p", words(LEAVES_OUT), class_="quiet"),
        _table(choices, doubt, front, words) if choices else Safe(""),
    )


MOST = 1000.0
"""From here on a number is not written out: the dose of hours at a heat that is never kept."""
COLUMNS = (
    ("rise", "rise, K", "K", 1),
    ("level", "level, mm", "mm", 1),
    ("bone", "bone, °C", "°C", 1),
    ("above_47", "above 47 °C, s", "s", 1),
    ("cem43", "CEM43, min", "min", 2),
    ("front", "soft down to, mm", "mm", 1),
)


def _table(choices: tuple[Choice, ...], doubt: SolidDoubt, front: Quantity | None, words: Words) -> Safe:
    titles = [words("choice"), words("change of the rise, K"), *(words(title) for _, title, _, _ in COLUMNS)]
    planned = choices[0]
    body = [
        el(
            "tr", el("th", words(c.name), scope="row"), el("td", "" if c is planned else _change(c, planned, words)),
            *(el("td", _what_if(c, planned, key, title, unit, digits, doubt, front, words)) for key, title, unit, digits in COLUMNS),
        )
        for c in choices
    ]  # fmt: skip
    head = el("thead", el("tr", *(el("th", t, scope="col") for t in titles)))
    whole = el("table", head, el("tbody", *body), role="grid", aria_label=words("What if?"))
    about = words(
        "One thing changed at a time, beside the plan above; levels from the terminus, 5–95 % intervals in brackets. The changes were "
        "computed on coarser cells and carried over to the run above. Arrow keys go from number to number."
    )
    return join(
        el("h2", words("What if?")), el("p", about, class_="quiet"),
        _scrolled(whole, words("What if?")),
    )  # fmt: skip


def _what_if(
    c: Choice, planned: Choice, key: str, title: str, unit: str, digits: int, doubt: SolidDoubt, front: Quantity | None,
    words: Words,
) -> Safe:  # fmt: skip
    """A number of the table, which says on a click where it is from."""
    value = float(getattr(c, key))
    low, high = value, value
    if key == "level":
        ends = doubt.level_interval(planned.level)
        low, high = (value + end - planned.level for end in ends)
    elif key == "front" and front is not None:
        low, high = value + front.low - front.value, value + front.high - front.value
    elif key in ("rise", "bone", "above_47", "cem43"):
        low, high = c.interval(key)
    return _told(title, key, Quantity(value, low, high, unit), digits, words)


def _change(c: Choice, planned: Choice, words: Words) -> Safe:
    """By how much the rise is greater than planned; its ends lie as the ends of both do."""
    ends = sorted((c.low - planned.low, c.rise - planned.rise, c.high - planned.high))
    return _told("change of the rise, K", "rise", Quantity(c.rise - planned.rise, ends[0], ends[2], "K"), 1, words, "+")


def _told(title: str, key: str, q: Quantity, digits: int, words: Words, sign: str = "") -> Safe:
    value, low, high = (_short(v, digits, sign) for v in (q.value, q.low, q.high))
    between = f"{low}{words(' to ')}{high}" if q.high > q.low else ""
    return answering(title, q, (value, between, ""), words, key=f"choice.{key}")


def _short(value: float, digits: int, sign: str = "") -> str:
    """A number to `digits`; one beyond all doses that matter as such."""
    return f">{MOST:.0f}" if value >= MOST else written(value, digits, sign)


def _scrolled(table: Safe, title: str) -> Safe:
    return el("div", table, class_="scroll", tabindex="0", role="region", aria_label=title)


def _asked(doubt: SolidDoubt, name: str, unit: str, key: str, digits: int, words: Words) -> Safe:
    """A number of the run, which says on a click where it is from."""
    (low, high), value = doubt.interval(key), float(getattr(doubt, key)[0])
    between = f"{_figure(low, digits, words)}{words(' to ')}{_figure(high, digits, words)}"
    shown = (_figure(value, digits, words), between, words(unit))
    return answering(name, Quantity(value, low, high, unit), shown, words)


def _figure(value: float, digits: int, words: Words) -> str:
    return _short(value, digits) if math.isfinite(value) else words("none is enough")
