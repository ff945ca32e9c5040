"""The page of every parameter: `python -m release.parameters FILE` writes value, spread, and source of what the models take as given.

Read from the tables that the models themselves read, so no value on the page can be another than the one that is computed with.
"""

import sys
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

ROOMS = Path(__file__).parents[1] / "src" / "canalwright"
LOGNORMAL = "lognormal: spread is the standard deviation of the natural logarithm; uniform: half the width"
FILES = {
    "anatomy/averages.toml": (
        "Teeth and canals",
        "mm and degrees; spread: standard deviation, for the errors of the usual ways of measuring too. Levels are mm from the "
        "radiographic terminus.",
    ),
    "readiness/methods.toml": (
        "Ways of finding the length",
        "mm; `bias`: reading less truth; `shared`: the error that a second reading repeats, `own`: the one it does not, both standard "
        "deviations; `cost` in minutes.",
    ),
    "irrigation/figures.toml": (
        "Irrigation",
        "viscosity MPa s, density t/mm3, rate mm3/s, limit MPa, reach of renewal mm, diffusivity mm2/s, speed mm/s for each mg/mm3, demand "
        "mg/mm3, times s; spread: standard deviation of the natural logarithm.",
    ),
    "heat/materials.toml": ("Heat: what is drawn", f"{LOGNORMAL}."),
    "heat/constants.toml": ("Heat: what is not drawn", "nominal values only."),
    "compaction/materials.toml": ("Compaction", f"{LOGNORMAL}; viscosity of sealers in Pa s."),
    "cohort/virtual.toml": ("Virtual teeth", "spread between teeth and correlation between the canals of one tooth."),
    "records/outcomes/published.toml": ("Outcomes to lay beside one's own", "shares."),
}
"""The tables, each with its heading and its units in words."""
_TOLD = {"source", "seen", "detail", "origin", "cite", "assumed", "unit", "shape"}


def page() -> str:
    """The page as Markdown."""
    lines = [
        "# Every parameter: value, spread, source", "",
        "What the models take as given. *Our own estimate* and *assumed* mean that nobody has published the value, or that nobody could",
        "look it up: the spread is wide there on purpose. How a source was seen stands behind it; *from memory* means: look it up before",
        "you lean on it. A figure that stands here set a parameter, so it judges nothing on the [evidence page](../evidence.md).",
    ]  # fmt: skip
    for name, (heading, units) in FILES.items():
        table = tomllib.loads((ROOMS / name).read_text(encoding="utf-8"))
        sources = table.pop("sources", {})
        lines += [
            "",
            f"## {heading}",
            "",
            f"`{name}`. Units: {units}",
            "",
            "| what | value | spread | source |",
            "|---|---|---|---|",
        ]
        lines += [
            f"| {' · '.join(path) or 'for all'} | {_values(row)} | {_spread(row)} | {_source(row, sources)} |"
            for path, row in _rows(table)
        ]
    return "\n".join(lines) + "\n"


def _rows(
    table: Mapping[str, Any], path: tuple[str, ...] = (), given: str = ""
) -> Iterator[tuple[tuple[str, ...], dict[str, Any]]]:
    """Every entry that has a value, with the source that it or what it belongs to names."""
    given = table.get("source", given)
    plain = {k: v for k, v in table.items() if not isinstance(v, Mapping) and not _tables(v)}
    if set(plain) - _TOLD and not set(plain) <= {"like"}:
        yield path, {"source": given, **plain}
    for key, value in table.items():
        if isinstance(value, Mapping):
            if path and path[0] == "tooth" and key in ("usual", "possible"):
                continue
            yield from _rows(value, (*path, key), table.get(f"{key}_source", given))
        elif _tables(value):
            for one in value:
                yield from _rows(one, (*path, str(one.get("outcome", key))), given)


def _tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], Mapping)


def _values(row: Mapping[str, Any]) -> str:
    told = []
    for key, value in row.items():
        if key in _TOLD | {"error", "spread", "least", "most", "value", "like"} or key.endswith("_source"):
            continue
        told.append(f"{key} {_text(value)}")
    if "value" in row:
        told.insert(0, f"{_text(row['value'])} {row.get('unit', '')}".strip())
    return "; ".join(told)


def _spread(row: Mapping[str, Any]) -> str:
    spread = row.get("error", row.get("spread"))
    told = [f"{_text(spread)} {row.get('shape', '')}".strip()] if spread not in (None, 0, 0.0) else []
    told += [f"at {key} {_text(row[key])}" for key in ("least", "most") if key in row and "value" in row]
    return ", ".join(told)


def _source(row: Mapping[str, Any], sources: Mapping[str, Mapping[str, Any]]) -> str:
    named = [str(v) for k, v in row.items() if k.endswith("_source")]
    source = str(row.get("source", ""))
    if source in sources:
        cite = sources[source]
        named.append(cite["cite"] if cite.get("assumed") else f"{cite['cite']} ({cite['seen']})")
    elif source:
        named.append(source + (f" ({row['seen']})" if "seen" in row else ""))
    if "detail" in row:
        named.append(f"{row['origin']}: {row['detail']}")
    return "; ".join(named).replace("|", "/") or "our own choice"


def _text(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_text(v) for v in value)
    if isinstance(value, float):
        return f"{value:.6g}"
    return str(value)


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(page(), encoding="utf-8")
