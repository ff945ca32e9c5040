"""Published figures with spread and source, from `figures.toml`."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from canalwright.quantities import Origin, Reading, Shape, Source


def figure(table: str, name: str, *more: str) -> Reading:
    """A figure as a reading (lognormal where it has a spread); raises KeyError for one that is not there."""
    row: Any = tables()[table][name]
    for part in more:
        row = row[part]
    shape = Shape.LOGNORMAL if row["spread"] > 0 else Shape.NORMAL
    return Reading(float(row["value"]), float(row["spread"]), "", source(row["source"]), shape)


def source(name: str) -> Source:
    """A source by its name in the file."""
    row = tables()["sources"][name]
    if row.get("assumed"):
        return Source(Origin.ASSUMED, row["cite"])
    return Source(Origin.AVERAGE, f"{row['cite']}, {row['seen']}")


@cache
def tables() -> dict[str, Any]:
    """Everything in the file."""
    return tomllib.loads(files("canalwright.irrigation").joinpath("figures.toml").read_text(encoding="utf-8"))
