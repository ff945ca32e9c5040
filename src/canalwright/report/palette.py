"""Colours: one place, the same colour for the same thing on the card, the page, the chair and the check.

Never colour alone: each thing also has a shape, a hatch or a line style of its own (see `section`), and the
lightness of neighbours differs, so that a print in grey still reads. `tests/report/test_palette.py` holds the
colours apart under simulated protanopia, deuteranopia and tritanopia.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Paint:
    """Fill and edge of one thing."""

    fill: str
    edge: str


@dataclass(frozen=True, slots=True)
class Palette:
    """All colours of a drawing."""

    paper: str
    ink: str
    muted: str
    hairline: str
    dentine: Paint
    lumen: Paint
    bone: Paint
    cone: Paint
    backfill: Paint
    post: Paint
    plugger: Paint
    carrier: Paint
    front: Paint
    portal: Paint
    landmark: Paint


LIGHT = Palette(
    paper="#ffffff",
    ink="#1b2330",
    muted="#596273",
    hairline="#d9dce2",
    dentine=Paint("#f5eee1", "#8d7a58"),
    lumen=Paint("#ffffff", "#1b2330"),
    bone=Paint("#eef0ec", "#a3aa9c"),
    cone=Paint("#e39c84", "#8f3a22"),
    backfill=Paint("#f1dc9c", "#7c5f0b"),
    post=Paint("#dfe5ee", "#44546d"),
    plugger=Paint("#bfd6ea", "#0f4c7d"),
    carrier=Paint("#f0a35e", "#a83a00"),
    front=Paint("#dccbf2", "#8a50d2"),
    portal=Paint("#ffffff", "#1b2330"),
    landmark=Paint("#596273", "#596273"),
)
"""On paper and on a light screen."""
DARK = Palette(
    paper="#11151c",
    ink="#e9ecf2",
    muted="#a3acbb",
    hairline="#2d3440",
    dentine=Paint("#2b2720", "#b9a57e"),
    lumen=Paint("#11151c", "#e9ecf2"),
    bone=Paint("#1b201f", "#66716a"),
    cone=Paint("#a5573f", "#f3b7a3"),
    backfill=Paint("#5f4d16", "#ecd27c"),
    post=Paint("#2b3647", "#a9bbd6"),
    plugger=Paint("#1d4468", "#86c1f0"),
    carrier=Paint("#8a3c0a", "#ff9d52"),
    front=Paint("#432a66", "#a673ee"),
    portal=Paint("#11151c", "#e9ecf2"),
    landmark=Paint("#a3acbb", "#a3acbb"),
)
"""On a dark screen."""

ISO_3630 = {
    "pink": "#e79ab8",
    "grey": "#8c9096",
    "purple": "#6b3fa0",
    "white": "#ffffff",
    "yellow": "#f2c500",
    "red": "#cf1f2e",
    "blue": "#1d5fb8",
    "green": "#1e8a3c",
    "black": "#16181c",
}
"""Screen and print colours of the handle colours of ISO 3630-1 (always shown with the size as a number)."""


def warmth(fraction: float) -> str:
    """Colour of a temperature, `fraction` 0 (coolest) to 1 (hottest), from a perceptually even map of our own.

    A straight line in OKLab (Ottosson 2020) from deep blue over grey to pale yellow: equal steps of
    temperature are equal steps of colour, lightness grows throughout, and the hue pair blue-yellow
    survives red-green blindness and print in grey.
    """
    table = _warmth_table()
    rgb = table[round(min(max(fraction, 0.0), 1.0) * (len(table) - 1))]
    return "#{:02x}{:02x}{:02x}".format(*rgb)


_COOL, _HOT = (0.28, 0.0, -0.08), (0.94, -0.005, 0.10)


@lru_cache(maxsize=1)
def _warmth_table() -> NDArray[np.int_]:
    return np.array([_srgb(*lab) for lab in np.linspace(_COOL, _HOT, 256)])


def _srgb(lightness: float, a: float, b: float) -> NDArray[np.int_]:
    """OKLab to sRGB bytes (matrices of the OKLab definition)."""
    roots = np.array(
        [[1, 0.3963377774, 0.2158037573], [1, -0.1055613458, -0.0638541728], [1, -0.0894841775, -1.2914855480]]
    )
    back = np.array(
        [
            [4.0767416621, -3.3077115913, 0.2309699292],
            [-1.2684380046, 2.6097574011, -0.3413193965],
            [-0.0041960863, -0.7034186147, 1.7076147010],
        ]
    )
    linear = np.clip(back @ (roots @ np.array([lightness, a, b])) ** 3, 0, 1)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(255 * encoded), dtype=np.int_)
