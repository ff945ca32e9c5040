"""The section on the page: drawn by the room `report` in colours that the page's style sheet fills in, light or dark."""

import re
from collections.abc import Callable
from dataclasses import fields, replace
from functools import partial
from html import escape, unescape

from canalwright.anatomy import Canal, Lumen
from canalwright.planning import Plan
from canalwright.report import DARK, LIGHT, Options, Palette, section_svg
from canalwright.report.card import ENGLISH as ENGLISH_CARD
from canalwright.report.card import Tongue
from canalwright.report.palette import ISO_3630, Paint
from canalwright.web.markup.html import Safe
from canalwright.web.words import ENGLISH, Words

WIDER = 1.3
"""How much wider than English a line of another language is taken to run."""
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"


def _variables(palette: Palette) -> dict[str, str]:
    found: dict[str, str] = {}
    for entry in fields(palette):
        value = getattr(palette, entry.name)
        if isinstance(value, Paint):
            found |= {f"--cw-{entry.name}-fill": value.fill, f"--cw-{entry.name}-edge": value.edge}
        else:
            found[f"--cw-{entry.name}"] = value
    return found


def _by_name(palette: Palette) -> Palette:
    named = {
        entry.name: Paint(f"var(--cw-{entry.name}-fill)", f"var(--cw-{entry.name}-edge)")
        if isinstance(getattr(palette, entry.name), Paint)
        else f"var(--cw-{entry.name})"
        for entry in fields(palette)
    }
    return Palette(**named)  # type: ignore[arg-type]


PAGE = _by_name(LIGHT)
"""Every colour as the style sheet's variable of its name."""
OPTIONS = Options(
    scale=9.0, font=FONT, font_size=3.7, text_factor=1.16, interval_text=True, palette=PAGE, prefix="plan"
)
STAGE = Options(
    scale=9.0,
    font=FONT,
    font_size=3.6,
    text_factor=1.16,
    palette=PAGE,
    prefix="stage",
    hide=frozenset({"plugger", "carrier", "front", "backfill", "cone", "post"}),
)


def colours() -> str:
    """The style sheet's variables: light, dark by the system's wish, and either by the reader's."""

    def block(palette: Palette) -> str:
        return "".join(f"{name}:{value};" for name, value in _variables(palette).items())

    dark = block(DARK)
    sizes = "".join(f"--iso-{name}:{value};" for name, value in ISO_3630.items())
    return (
        f":root{{{block(LIGHT)}{sizes}}}"
        f"@media (prefers-color-scheme: dark){{:root:not([data-theme=light]){{{dark}}}}}"
        f":root[data-theme=dark]{{{dark}}}"
    )


def plan_picture(plan: Plan, words: Words = ENGLISH) -> Safe:
    """The section with all stops of a plan."""
    return told(section_svg(plan, options=_wide(OPTIONS, words)), words)


def stage_picture(plan: Plan, words: Words = ENGLISH, prefix: str = "stage") -> Safe:
    """The section without instruments and filling: the stage on which the page plays the downpack; `prefix` begins its ids."""
    return told(section_svg(plan, options=_wide(replace(STAGE, prefix=prefix), words)), words)


def canal_picture(canal: Canal, shaped: Lumen, words: Words = ENGLISH) -> Safe:
    """The section of a canal that has been measured but not planned."""
    return told(section_svg(canal, lumen=shaped, options=_wide(OPTIONS, words)), words)


def tongue(words: Words) -> Tongue:
    """The reader's language for the card."""
    return ENGLISH_CARD if words.language == "en" else Tongue(words.language, words, partial(told, words=words), WIDER)


def _wide(options: Options, words: Words) -> Options:
    """Room for labels in a language that takes more of it than English."""
    return options if words.language == "en" else replace(options, text_factor=WIDER * options.text_factor)


def told(svg: str, words: Words) -> Safe:
    """A drawing with its labels in the reader's language, and with what a screen reader reads out instead of it."""
    if words.language == "en":
        return Safe(svg)
    say: dict[str, Callable[[str], str]] = {"text": words, "title": words, "desc": partial(_depths, words)}

    def label(found: re.Match[str]) -> str:
        return f">{escape(say[found[2]](unescape(found[1])), quote=False)}</{found[2]}>"

    return Safe(re.sub(r">([^<>]+)</(text|title|desc)>", label, svg))


def _depths(words: Words, text: str) -> str:
    """The list of depths of a section, each name by itself; another description as a whole."""
    head, found, listed = text.partition(": ")
    if not found or not head.startswith("Depths in mm"):
        return words(text)
    marks = (mark.rpartition(" ") for mark in listed.removesuffix(".").split("; "))
    return f"{words(head)}: {'; '.join(f'{words(name)} {depth}' for name, _, depth in marks)}."
