"""Building blocks of the case and tray models: a measured value, rows of numbers, closed tables."""

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from canalwright.anatomy.limits import LIMITS


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
        return {"by_level": [[0.0, value], [1.0, value]]}
    return value


def measured(limit: str, methods: tuple[str, ...], description: str) -> Any:
    """Type of a measured value: a number, or a table of value, method and error; its limits go into the JSON Schema."""
    bound = LIMITS[limit]
    number = {"type": "number", "minimum": bound.low, "maximum": bound.high}
    table = {
        "type": "object",
        "properties": {
            "value": number,
            "method": {"enum": list(methods)},
            "error": {"type": "number", "minimum": 0, "description": "one standard deviation"},
        },
        "required": ["value"],
        "additionalProperties": False,
    }
    schema = {"anyOf": [number, table], "description": f"{description} [{bound.unit.strip('()')}]"}
    return Annotated[Value, BeforeValidator(plain_number), WithJsonSchema(schema)]


def rows(limit: str, columns: tuple[int, int], methods: tuple[str, ...], description: str, *, bare: bool) -> Any:
    """Type of values by level: a table of rows, method and error; with `bare`, a single number as well."""
    bound = LIMITS[limit]
    number = {"type": "number", "minimum": bound.low, "maximum": bound.high}
    row = {"type": "array", "items": {"type": "number"}, "minItems": columns[0], "maxItems": columns[1]}
    table = {
        "type": "object",
        "properties": {
            "by_level": {"type": "array", "items": row, "minItems": 1},
            "method": {"enum": list(methods)},
            "error": {"type": "number", "minimum": 0},
        },
        "required": ["by_level"],
        "additionalProperties": False,
    }
    schema = {"anyOf": [number, table] if bare else [table], "description": description}
    before = [BeforeValidator(plain_rows)] if bare else []
    return Annotated[Rows, *before, WithJsonSchema(schema)]
