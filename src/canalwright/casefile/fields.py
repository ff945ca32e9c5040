"""Building blocks of the case and tray models: a measured value, rows of numbers, closed tables."""

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from canalwright.anatomy import averages
from canalwright.anatomy.limits import LIMITS

PRINTABLE = r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]*$"
"""Text of one line, without control or direction-changing characters: it goes to cards and terminals."""


class Closed(BaseModel):
    """A table that takes no key but its own, no coercion, no infinite number."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class Value(Closed):
    """A measured value with its method and its error (one standard deviation, in the unit of the value)."""

    value: float
    method: str | None = None
    error: float | None = None


class Rows(Closed):
    """Values by level: rows that begin with the distance from the terminus in mm."""

    by_level: list[list[float]] = Field(min_length=1, max_length=400)
    method: str | None = None
    error: float | None = None


def plain_number(value: Any) -> Any:
    """A bare number stands for a table with only a value."""
    return {"value": value} if isinstance(value, int | float) and not isinstance(value, bool) else value


def plain_rows(value: Any) -> Any:
    """A bare number holds at every level."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return {"by_level": [[0.0, value], [30.0, value]]}
    return value


def value_schema(limit: str, quantity: str, description: str) -> dict[str, Any]:
    """JSON Schema of a measured value: a number within its limits, or a table of value, method and error."""
    bound = LIMITS[limit]
    number = _number(limit)
    table = _table({"value": number, **_method(quantity)}, "value")
    return {"anyOf": [number, table], "description": f"{description} [{bound.unit.strip('()')}]"}


def rows_schema(quantity: str, columns: tuple[int, int], description: str, *, bare: str = "") -> dict[str, Any]:
    """JSON Schema of values by level; `bare` names the limits of a single number that may stand for them."""
    row = {"type": "array", "items": {"type": "number"}, "minItems": columns[0], "maxItems": columns[1]}
    table = _table({"by_level": {"type": "array", "items": row, "minItems": 1}, **_method(quantity)}, "by_level")
    return {"anyOf": [_number(bare), table] if bare else [table], "description": description}


def _number(limit: str) -> dict[str, Any]:
    return {"type": "number", "minimum": LIMITS[limit].low, "maximum": LIMITS[limit].high}


def _method(quantity: str) -> dict[str, Any]:
    error = {"type": "number", "minimum": 0, "maximum": LIMITS["error"].high, "description": "one standard deviation"}
    return {"method": {"enum": list(averages.methods(quantity))}, "error": error}


def _table(properties: dict[str, Any], required: str) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": [required], "additionalProperties": False}
