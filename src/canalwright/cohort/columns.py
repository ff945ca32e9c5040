"""Numbers as columns of a table: value and ends of the 5-95 % interval, empty where there is none."""

import math

from canalwright.cohort.job import Row
from canalwright.quantities import Quantity


def in_columns(name: str, quantity: Quantity | None) -> Row:
    """A number and its interval; empty where there is none."""
    values = (None, None, None) if quantity is None else (quantity.value, quantity.low, quantity.high)
    return {f"{name}{end}": finite(value) for end, value in zip(("", "_low", "_high"), values, strict=True)}


def finite(value: float | None) -> float | None:
    """A number that JSON knows; None for one without bound."""
    return None if value is None or not math.isfinite(value) else float(value)
