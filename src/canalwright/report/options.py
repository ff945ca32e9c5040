"""How a drawing is made, and the tools that every part of it is drawn with."""

from collections.abc import Callable
from dataclasses import dataclass

from canalwright.report.frame import Frame
from canalwright.report.labels import text_width
from canalwright.report.palette import LIGHT, Palette
from canalwright.report.svg import text

SMALL = 0.9


@dataclass(frozen=True)
class Options:
    """How to draw a section.

    `scale` paper mm per canal mm; `widen` extra factor across the straightened canal; `projected` shows the curve;
    `whole` draws from the reference point down instead of from just above the orifice; `interval_text` prints the
    5-95 % interval beside each number (a bar to scale shows it in any case); `font_size` mm; `text_factor` how wide the
    font runs beside the bound in `labels` (narrower fonts below 1); `hide` leaves out kinds
    of marks (`plugger`, `carrier`, `front`, `backfill`, `cone`, `portal`, `post`, `landmark`), `quiet` draws them without
    their labels; `prefix` begins every id, so that several drawings fit on one page; `say` gives a text of a chart in the
    reader's language. Raises ValueError for values outside their range.
    """

    scale: float = 6.0
    widen: float = 1.0
    projected: bool = False
    whole: bool = False
    interval_text: bool = False
    font: str = "'Libertinus Serif', 'Source Serif 4', Georgia, serif"
    font_size: float = 3.35
    text_factor: float = 1.0
    hide: frozenset[str] = frozenset()
    quiet: frozenset[str] = frozenset()
    palette: Palette = LIGHT
    background: bool = False
    prefix: str = "section"
    say: Callable[[str], str] = str

    def __post_init__(self) -> None:
        if not 0.5 <= self.scale <= 100:
            raise ValueError(f"scale {self.scale} is outside 0.5 to 100 paper mm per canal mm")
        if not 1 <= self.widen <= 10:
            raise ValueError(f"widen {self.widen} is outside 1 to 10")
        if self.projected and self.widen != 1:
            raise ValueError("a projected section is never widened: leave widen at 1")
        if not 1 <= self.font_size <= 20:
            raise ValueError(f"font size {self.font_size} mm is outside 1 to 20")

    def width(self, content: str, *, bold: bool = False, small: bool = False) -> float:
        """An upper bound of the width of a text [paper mm]."""
        size = self.font_size * (SMALL if small else 1.0)
        return self.text_factor * text_width(content, size, bold=bold)


@dataclass(frozen=True)
class Pen:
    """Frame and options together; `top` is the depth at which the drawing begins [mm]."""

    frame: Frame
    options: Options
    length: float
    top: float

    @property
    def palette(self) -> Palette:
        """Colours of this drawing."""
        return self.options.palette

    @property
    def upper_z(self) -> float:
        """Station of the most coronal thing drawn."""
        return self.length - self.top

    def id(self, name: str) -> str:
        """An id that no other drawing of the page has."""
        return f"{self.options.prefix}-{name}"

    def url(self, name: str) -> str:
        """A reference to a definition of this drawing."""
        return f"url(#{self.id(name)})"

    def y(self, depth: float) -> float:
        """Paper y of a depth on the straight ruler."""
        return self.frame.y0 + depth * self.frame.scale * (-1.0 if self.frame.up else 1.0)

    def write(
        self, content: str, x: float, y: float, *, anchor: str = "start", bold: bool = False, small: bool = False,
        fill: str | None = None,
    ) -> str:  # fmt: skip
        """Text with its middle at `y`."""
        size = self.options.font_size * (SMALL if small else 1.0)
        return text(
            content, x=x, y=y + 0.34 * size, font_size=size, text_anchor=anchor,
            font_weight="bold" if bold else None, fill=fill or self.palette.ink,
        )  # fmt: skip
