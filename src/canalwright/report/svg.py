"""A very small writer of SVG: elements as strings, everything escaped, numbers short and the same each time."""

import re
from collections.abc import Iterable
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import ArrayLike

_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(value: str) -> str:
    """Text without the control characters that XML 1.0 forbids."""
    return _FORBIDDEN.sub("\ufffd", value)


def number(value: float) -> str:
    """A coordinate to a thousandth, without trailing zeros and without minus zero."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def el(name: str, *children: str, **attributes: str | float | None) -> str:
    """One element. `_` in an attribute's name stands for `-`, a trailing `_` is dropped, None leaves it out."""
    written = "".join(
        f" {_attribute(key)}={quoteattr(clean(value) if isinstance(value, str) else number(value))}"
        for key, value in attributes.items()
        if value is not None
    )
    body = "".join(children)
    return f"<{name}{written}>{body}</{name}>" if body else f"<{name}{written}/>"


def text(content: str, **attributes: str | float | None) -> str:
    """A text element with escaped content."""
    return el("text", escape(clean(content)), **attributes)


def tag(name: str, content: str, **attributes: str | float | None) -> str:
    """Any element whose only child is escaped text, such as title or desc."""
    return el(name, escape(clean(content)), **attributes)


def path(points: ArrayLike, *, closed: bool = False) -> str:
    """Path data through `points`, shape (n, 2)."""
    rows = np.asarray(points, dtype=float)
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in rows) + ("Z" if closed else "")


def paths(lines: Iterable[ArrayLike]) -> str:
    """Path data of several open lines."""
    return "".join(path(line) for line in lines)


def _attribute(key: str) -> str:
    return key if key == "viewBox" else key.rstrip("_").replace("_", "-")
