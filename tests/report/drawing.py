"""Reading a drawing back: parse the SVG and find its marks, ticks and text boxes."""

import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass

from canalwright.report.labels import text_width

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Box:
    text: str
    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: "Box", slack: float = 0.05) -> bool:
        apart = self.right <= other.left + slack or other.right <= self.left + slack
        return not (apart or self.bottom <= other.top + slack or other.bottom <= self.top + slack)


def parse(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def with_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [e for e in root.iter() if name in (e.get("class") or "").split()]


def numbers(d: str) -> list[float]:
    return [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", d)]


def points(d: str) -> list[tuple[float, float]]:
    """Points of a path made of M and L with absolute coordinates."""
    values = numbers(d)
    return list(zip(values[::2], values[1::2], strict=True))


def boxes(root: ET.Element, factor: float = 1.0) -> list[Box]:
    """The box of every text, by its upper bound of width; capitals and figures are 0.7 em tall."""
    found = []
    for e in root.iter(f"{SVG}text"):
        size, text = float(e.get("font-size", "0")), e.text or ""
        wide = factor * text_width(text, size, bold=e.get("font-weight") == "bold")
        x, base = float(e.get("x", "0")), float(e.get("y", "0"))
        left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[e.get("text-anchor", "start")]
        found.append(Box(text, left, base - 0.72 * size, left + wide, base + 0.05 * size))
    return found


def size_mm(root: ET.Element) -> tuple[float, float]:
    return float(root.get("width", "0").removesuffix("mm")), float(root.get("height", "0").removesuffix("mm"))
