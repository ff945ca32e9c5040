"""A small frame for plots: time or depth along the bottom, ticks at round numbers, text as text."""

from dataclasses import dataclass

import numpy as np

from canalwright.report.options import SMALL, Options
from canalwright.report.svg import el, number, text


@dataclass(frozen=True)
class Axes:
    """A rectangle on paper [mm] and the ranges that it shows; `flip` puts the greater y at the bottom."""

    left: float
    top: float
    width: float
    height: float
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    options: Options
    flip: bool = False

    def x(self, value: float) -> float:
        """Paper x of a value."""
        low, high = self.x_range
        return self.left + self.width * (value - low) / (high - low)

    def y(self, value: float) -> float:
        """Paper y of a value."""
        low, high = self.y_range
        share = (value - low) / (high - low)
        return self.top + self.height * (share if self.flip else 1 - share)

    def write(
        self, content: str, x: float, y: float, *, anchor: str = "start", bold: bool = False, muted: bool = False
    ) -> str:
        """Small text with its middle at `y`, in the reader's language."""
        size, p = self.options.font_size * SMALL, self.options.palette
        return text(
            self.options.say(content), x=x, y=y + 0.34 * size, font_size=size, text_anchor=anchor, font_weight="bold" if bold else None,
            fill=p.muted if muted else p.ink,
        )  # fmt: skip

    def x_axis(self, title: str) -> str:
        """Ticks, numbers and title below."""
        p, bottom = self.options.palette, self.top + self.height
        drawn = [
            el("path", d=f"M{number(self.left)} {number(bottom)}h{number(self.width)}", stroke=p.ink, stroke_width=0.25)
        ]
        for value in ticks(*self.x_range, self.width / 16):
            x = self.x(value)
            drawn.append(el("path", d=f"M{number(x)} {number(bottom)}v1.4", stroke=p.ink, stroke_width=0.2))
            drawn.append(self.write(number(value), x, bottom + 3.6, anchor="middle"))
        drawn.append(self.write(title, self.left + self.width, bottom + 7.6, anchor="end", muted=True))
        return el("g", *drawn)

    def y_axis(self, title: str, *, grid: bool = False) -> str:
        """Ticks and numbers on the left, title above."""
        p = self.options.palette
        drawn = [
            el(
                "path",
                d=f"M{number(self.left)} {number(self.top)}v{number(self.height)}",
                stroke=p.ink,
                stroke_width=0.25,
            )
        ]
        for value in ticks(*self.y_range, self.height / 8):
            y = self.y(value)
            if grid:
                drawn.append(
                    el(
                        "path",
                        d=f"M{number(self.left)} {number(y)}h{number(self.width)}",
                        stroke=p.hairline,
                        stroke_width=0.15,
                    )
                )
            drawn.append(el("path", d=f"M{number(self.left)} {number(y)}h-1.4", stroke=p.ink, stroke_width=0.2))
            drawn.append(self.write(number(value), self.left - 2.2, y, anchor="end"))
        drawn.append(self.write(title, self.left, self.top - 3.0, muted=True))
        return el("g", *drawn)


def ticks(low: float, high: float, most: float) -> list[float]:
    """Round numbers within the range, at most about `most` of them."""
    rough = (high - low) / max(most, 1.0)
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(float(s * power) for s in (1, 2, 5, 10) if s * power >= rough * 0.999)
    return [round(float(v), 6) for v in np.arange(np.ceil(low / step - 1e-9) * step, high + step * 1e-6, step)]
