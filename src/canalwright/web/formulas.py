"""How each kind of number is found, in a sentence, with its source: what `where from?` shows beside the figure."""

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class Formula:
    """`how` a number is found, what the model `leaves_out`, and the `source` of the formula."""

    how: str
    leaves_out: str
    source: str


def formula_of(key: str) -> Formula | None:
    """The formula of a number by its key; None for a key that has none."""
    return next((formula for pattern, formula in formulas() if pattern.fullmatch(key)), None)


@cache
def formulas() -> tuple[tuple[re.Pattern[str], Formula], ...]:
    """Every formula with the pattern of the keys it stands for."""
    table = tomllib.loads(files("canalwright.web").joinpath("formulas.toml").read_text(encoding="utf-8"))
    return tuple((re.compile(row.pop("keys")), Formula(**row)) for row in table["formula"])
