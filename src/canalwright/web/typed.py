"""What people type into a field, read as they mean it: a comma for a point, units, per cent, rows of level and width; and back."""

import re
from collections.abc import Mapping
from typing import Any

_BETWEEN_ROWS = re.compile(r"[;\s]+|,(?=[\d.]+:)|,(?=\s)")
"""Between two rows: a comma only where the next row begins, any other is the comma of a number."""


def parsed(kind: str, text: str) -> Any:
    """The value of a field of this kind as a case file has it; None for an empty one, the text itself where it is no number."""
    if not text:
        return None
    if kind in ("text", "name", "towards"):
        return text
    if kind == "yes":
        return text == "yes" or None
    if kind == "levels" or (kind == "rows" and ":" in text):
        rows = [[_number(part) for part in re.split("[:/]", row)] for row in _BETWEEN_ROWS.split(_bare(text)) if row]
        return rows if kind == "levels" else {"by_level": rows}
    share = re.fullmatch(r"(\S+)\s*%", text) if kind == "taper" else None
    value = _number(share[1] if share else _bare(text))
    if share and isinstance(value, float):
        return round(value / 100, 6)
    return int(value) if kind == "size" and isinstance(value, float) and value.is_integer() else value


def everywhere(value: Any) -> list[list[Any]]:
    """One value for every level, as rows."""
    return [[0.0, value], [30.0, value]]


def _bare(text: str) -> str:
    """A text without the units that the form itself names beside the field."""
    return re.sub(r"(?<=[\d.,])\s*(?:mm|°)(?![^\s,;:/])", "", text)


def _number(text: str) -> Any:
    """A number as people write it, with a point or a comma; what is none stays text."""
    try:
        return float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        return text


def shown(value: Any) -> str:
    """A value of a case file as a field shows it, so that it can be typed again."""
    if value is None:
        return ""
    if isinstance(value, list):
        return shown({"by_level": value})
    if isinstance(value, Mapping):
        if "by_level" in value:
            rows = [":".join((f"{r[0]:g}", "/".join(f"{v:g}" for v in r[1:]))) for r in value["by_level"]]
            return " ".join(rows)
        return shown(value.get("value"))
    if value is True:
        return "yes"
    return f"{value:g}" if isinstance(value, int | float) else str(value)
