"""The pad for paper points and gauging files: few large keys, one finger."""

from typing import Any

from canalwright.instruments import iso3630
from canalwright.readiness import DryEnd, Gauge
from canalwright.report.palette import ISO_3630
from canalwright.web.markup import ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

SIDES = ("mesial", "distal", "buccal", "lingual")


def point_form(start: float, words: Words) -> Safe:
    """One paper point: how long it is dry, what its tip shows, how its border lies."""
    shows = (("", "clear"), ("blood", "blood"), ("wet_through", "wet through"))
    return el(
        "form",
        _stepper("dry_mm", words("Dry length, mm"), f"{start:.2f}", words),
        _keys("shows", words("The tip shows"), [(value, words(said)) for value, said in shows]),
        _keys("border", words("The border lies"), [("", words("square")), ("slanted", words("slanted"))]),
        el(
            "div",
            _stepper("far_side_mm", words("Dry on the longer side, mm"), "", words, enabled=False),
            _keys("side", words("Shortest on which side"), [("", "?"), *((s, words(s)) for s in SIDES)]),
            class_="pp-slanted",
            hidden=True,
        ),
        el("button", words("Note this point"), type="submit", class_="button main pp-go"),
        el("p", id="e-paper_points", class_="wrong", role="alert"),
        data_note="paper_points",
        novalidate=True,
        class_="pp-form",
    )


def gauge_form(size: int, words: Words) -> Safe:
    """One gauging file: its size, and whether it passes the end."""
    sizes = [
        el("option", f"{s:02d}", value=s, selected=s == size, data_colour=ISO_3630.get(iso3630.colour(s), ""))
        for s in iso3630.SIZES
    ]
    minus = el(
        "button", "−", type="button", class_="button pp-step", data_size=-1, aria_label=words("one size smaller")
    )
    plus = el("button", "+", type="button", class_="button pp-step", data_size=1, aria_label=words("one size larger"))
    return el(
        "form",
        el(
            "div",
            el("label", words("Gauging file, ISO size"), for_="pp-size"),
            el("div", minus, el("select", *sizes, id="pp-size", name="size"), plus, class_="pp-row"),
            class_="pp-field",
        ),
        el(
            "div",
            el("button", words("passes"), type="submit", name="passes", value="yes", class_="button pp-go"),
            el("button", words("stops"), type="submit", name="passes", value="no", class_="button pp-go"),
            class_="pp-two",
        ),
        el("p", id="e-gauges", class_="wrong", role="alert"),
        data_note="gauges",
        novalidate=True,
        class_="pp-form",
    )


def trim_field(fitted: float, words: Words) -> Safe:
    """Where the tip of the cone was fitted to."""
    return _stepper("fitted", words("Cone fitted to, mm"), f"{fitted:.2f}", words)


def dry(found: DryEnd, trim: float | None, words: Words) -> Safe:
    """What the points say so far."""
    kind = "ready" if found.stop else ("unknown" if found.end is None else "look")
    head = el("p", words(found.pattern.value), class_=f"rd-note {kind}", data_pattern=found.pattern.name.lower())
    if found.end is None or found.cone_end is None:
        return join(head, el("p", words(found.action), class_="pp-action"))
    shown = [("the canal ends at", found.end), ("end the cone at", found.cone_end)]
    if found.far_rim is not None:
        shown.append(("far rim of the foramen at", found.far_rim))
    parts = [head, ready.numbers(shown, words), el("p", words(found.action), class_="pp-action")]
    if trim is not None:
        told = (
            words("cut {trim} mm off the cone as it was fitted", trim=f"{trim:.1f}")
            if trim > 0
            else words("the cone needs no cut")
        )
        parts.append(el("p", told, class_="pp-trim", id="pp-trim"))
    return join(*parts)


def width(found: Gauge | None, words: Words) -> Safe:
    """What the gauging files say so far."""
    if found is None:
        return el("p", words("No gauging file yet."), class_="quiet rd-none")
    parts = [ready.numbers([("width at the end", found.width)], words)]
    if found.contradiction:
        parts.append(el("p", words(found.contradiction), class_="rd-note not-ready"))
    elif found.next_size is not None:
        parts.append(el("p", words("try size {size} next", size=found.next_size), class_="pp-action"))
    else:
        parts.append(
            el("p", words("bounded on both sides: no size between would add anything"), class_="rd-note ready")
        )
    return join(*parts)


def point_rows(rows: list[dict[str, Any]], used: tuple[int, ...], words: Words) -> list[str]:
    """Points as lines; those that do not count say so."""
    shown = []
    for i, row in enumerate(rows):
        more = [f"{row['dry_mm']:g} mm"]
        if row.get("far_side_mm"):
            more.append(words("slanted to {far} mm", far=f"{row['far_side_mm']:g}"))
        if row.get("side"):
            more.append(words(row["side"]))
        more += [words(name) for key, name in (("blood", "blood"), ("wet_through", "wet through")) if row.get(key)]
        if i not in used:
            more.append(words("does not count"))
        shown.append(f"{i + 1}. {', '.join(more)}")
    return shown


def gauge_rows(rows: list[dict[str, Any]], words: Words) -> list[str]:
    """Gauging files as lines."""
    return [f"{row['size']:02d} {words('passes') if row['passes'] else words('stops')}" for row in rows]


def _stepper(name: str, title: str, value: str, words: Words, *, enabled: bool = True) -> Safe:
    """A length with keys for a millimetre and a quarter of one."""
    steps = ((-1, "−1"), (-0.25, "−¼"), (0.25, "+¼"), (1, "+1"))
    keys = [
        el(
            "button", said, type="button", class_="button pp-step", data_step=step, data_for=f"pp-{name}",
            aria_label=words("{title}: {step} mm", title=title, step=f"{step:+g}"),
        )
        for step, said in steps
    ]  # fmt: skip
    field = el(
        "input", type="text", id=f"pp-{name}", name=name, value=value, inputmode="decimal", autocomplete="off", maxlength=6,
        class_="pp-value", disabled=not enabled,
    )  # fmt: skip
    row = el("div", *keys[:2], field, *keys[2:], class_="pp-row")
    return el("div", el("label", title, for_=f"pp-{name}"), row, class_="pp-field")


def _keys(name: str, title: str, options: list[tuple[str, str]]) -> Safe:
    """One of several, each a large key."""
    boxes = [
        el(
            "label",
            el("input", type="radio", name=name, value=value, checked=i == 0),
            el("span", said),
            class_="pp-key",
        )
        for i, (value, said) in enumerate(options)
    ]
    return el("fieldset", el("legend", title), el("div", *boxes, class_="pp-row"), class_="pp-field")
