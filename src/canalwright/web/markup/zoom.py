"""Beside the section: zoom, and a cursor that tells every value at its level. `static/zoom.js` brings it to life."""

import json

from canalwright.anatomy import Canal
from canalwright.quantities.provenance import COMPUTED
from canalwright.web.markup.html import Safe, el
from canalwright.web.markup.where import live
from canalwright.web.words import Words


def zoom(words: Words, *, cursor: bool = True) -> Safe:
    """Buttons of the zoom; with `cursor` the level and the values there."""
    buttons = [
        el("button", shown, type="button", class_="button small", data_zoom=way, aria_label=title, title=title)
        for way, shown, title in (
            ("in", "+", words("Larger")),
            ("out", "−", words("Smaller")),
            ("whole", words("Whole"), words("The whole section")),
        )
    ]
    bar = el("div", *buttons, role="group", aria_label=words("Zoom of the section"), class_="actions")
    if not cursor:
        return el("div", bar, class_="zoom")
    level = el(
        "div",
        el("label", words("Depth"), for_="zoom-depth"),
        el("output", "–", id="o-zoom-depth"),
        el("input", type="range", id="zoom-depth", min=0, max=1, step=0.1, value=0, disabled=True),
        class_="slider",
    )
    return el(
        "div",
        bar,
        level,
        el("dl", id="zoom-values", class_="values"),
        class_="zoom",
        data_words=json.dumps(_told(words)),
    )


def sources(canal: Canal, words: Words) -> dict[str, str]:
    """By value of the cursor: what kind of source it has in this canal."""
    measured = {"short": "working_length_mm", "minor": "widths", "major": "ovality", "wall": "wall_mm"}
    found = {name: canal.sources.get(key, COMPUTED) for name, key in measured.items()}
    shaped = {name: words("computed") for name in ("shaped_minor", "shaped_major")}
    return shaped | {
        name: words(s.origin.value) + (f": {words(s.detail)}" if s.detail else "") for name, s in found.items()
    }


def _told(words: Words) -> dict[str, dict[str, str]]:
    titles = {
        "short": words("to the working length"),
        "minor": words("least width, native"),
        "major": words("greatest width, native"),
        "shaped_minor": words("least width, shaped"),
        "shaped_major": words("greatest width, shaped"),
        "wall": words("dentine left"),
    }
    return {
        name: live(title, words, key=f"station.{name}", places={"at depth": "#o-zoom-depth"}, spread=name != "short")
        for name, title in titles.items()
    }
