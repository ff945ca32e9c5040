"""One line for each thing wrong in a file: where, what, what is allowed, what to do."""

import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError

from canalwright.anatomy.limits import LIMITS, Fault, shown, unit_hint


@dataclass(frozen=True, slots=True)
class Problem:
    """One wrong value of a file; `key` is its path, such as `canal[1].working_length_mm`."""

    file: str
    key: str
    value: str
    allowed: str
    action: str

    def __str__(self) -> str:
        where = f"{self.file}: {self.key}" if self.key else self.file
        what = f" = {self.value}" if self.value else ""
        allowed = f": allowed {self.allowed}" if self.allowed else ""
        return " ".join(f"{where}{what}{allowed}; {self.action}".split())


class CaseError(ValueError):
    """A case or tray file that cannot be used; `problems` lists everything found, one line each."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        self.problems = problems
        super().__init__("\n".join(map(str, problems)))


def path_of(parts: tuple[int | str, ...]) -> str:
    """`('canal', 1, 'curve')` as people write it: `canal[1].curve`."""
    text = ""
    for part in parts:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            plain = part if re.fullmatch(r"[A-Za-z0-9_-]{1,60}", part) else shown(ascii(part))
            text += f".{plain}" if text else plain
    return text


def from_pydantic(file: str, error: ValidationError, schema: dict[str, Any]) -> tuple[Problem, ...]:
    """The problems that a model found, in our words; `schema` is the JSON Schema of the model."""
    return tuple(_problem(file, dict(row), schema) for row in error.errors(include_url=False))


def from_fault(file: str, prefix: str, fault: Fault) -> Problem:
    """A fault that the anatomy found, at its place in the file."""
    head, *rest = fault.key.split(".")
    leaf = _FILE_KEYS.get(".".join([head.split("[")[0], *rest]))
    if leaf is None and rest and rest[-1] in ("method", "error"):
        base = ".".join([head.split("[")[0], *rest[:-1]])
        leaf = f"{_FILE_KEYS.get(base, base)}.{rest[-1]}"
    key = leaf or fault.key
    if "[" in head and leaf:
        key = key.replace(head.split("[")[0], head, 1)
    return Problem(file, f"{prefix}.{key}", fault.value, fault.allowed, fault.action)


_FILE_KEYS = {
    "canal": "name", "working_length": "working_length_mm", "length": "length_mm", "end": "end_mm",
    "orifice_depth": "orifice_depth_mm", "orifice_width": "orifice_width_mm", "widths": "widths_mm",
    "foramen": "foramen_mm", "wall": "wall_mm", "crest": "crest_level_mm", "cej": "cej_level_mm",
    "curve.angle": "curve.angle_deg", "curve.radius": "curve.radius_mm", "curve.start": "curve.start_mm",
    "curve.second.angle": "curve.second.angle_deg", "curve.second.radius": "curve.second.radius_mm",
    "curve.second.start": "curve.second.start_mm", "side_branch.level": "side_branch.level_mm",
    "side_branch.diameter": "side_branch.diameter_mm", "side_branch.length": "side_branch.length_mm",
}  # fmt: skip


def _problem(file: str, row: dict[str, Any], schema: dict[str, Any]) -> Problem:
    loc = tuple(row["loc"])
    kind, context = row["type"], row.get("ctx", {})
    value = "" if kind == "missing" else shown(repr(row["input"]) if isinstance(row["input"], str) else row["input"])
    if kind == "extra_forbidden":
        known = sorted(keys_at(schema, loc[:-1]))
        close = get_close_matches(str(loc[-1]), known, 1, 0.6)
        if close:
            return Problem(file, path_of(loc), "", "", f"unknown key; did you mean {close[0]!r}?")
        return Problem(file, path_of(loc), "", ", ".join(known), "unknown key; take it out")
    if kind == "missing":
        return Problem(file, path_of(loc), "", "", f"required and not there; add {loc[-1]}")
    if kind in ("greater_than_equal", "less_than_equal", "greater_than", "less_than"):
        return _out_of_range(file, loc, row, schema, value)
    allowed, action = _WORDS.get(kind, ("", row["msg"]))
    if kind == "model_type" and "number" in {e.get("type") for e in _alternatives(table_at(schema, loc, follow=False))}:
        allowed, action = "a number, or { value, method, error }", "write a number without quotation marks"
    if kind == "literal_error" and loc[-1] == "version" and type(row["input"]) is int and row["input"] > 1:
        return Problem(file, path_of(loc), value, "", "made by a newer canalwright; upgrade this one to open it")
    if kind == "literal_error":
        allowed = context.get("expected", "")
        close = get_close_matches(
            str(row["input"]), [w.strip("' ") for w in allowed.replace(" or ", ",").split(",")], 1
        )
        action = f"did you mean {close[0]!r}?" if close else f"write {allowed}"
    elif kind in ("too_short", "too_long", "string_too_short", "string_too_long"):
        low, high = context.get("min_length"), context.get("max_length")
        allowed = f"at least {low}" if low is not None else f"at most {high}"
        unit = "character" if kind.startswith("string") else "entry"
        allowed, action = f"{allowed} {unit}" + "(s)", "fill it in" if low is not None else "shorten it"
        value = "" if not row["input"] else value
    return Problem(file, path_of(loc), value, allowed, action)


def _out_of_range(file: str, loc: tuple[Any, ...], row: dict[str, Any], schema: dict[str, Any], value: str) -> Problem:
    entry = table_at(schema, loc)
    entry = next((e for e in entry.get("anyOf", [entry]) if "minimum" in e or "maximum" in e), entry)
    unit = " mm" if str(loc[-1]).endswith("_mm") else ""
    allowed = f"{entry.get('minimum', '')} to {entry.get('maximum', '')}{unit}"
    number = float(row["input"])
    hint = ""
    if str(loc[-1]).endswith("_mm"):
        bound = type(LIMITS["wall"])(float(entry.get("minimum", 0)), float(entry.get("maximum", 0)), "mm", "")
        hint = unit_hint(bound, number)
    elif loc[-1] == "taper":
        hint = unit_hint(LIMITS["file_taper"], number)
    return Problem(file, path_of(loc), value, allowed, hint or "give a value in this range")


def table_at(schema: dict[str, Any], loc: tuple[Any, ...], *, follow: bool = True) -> dict[str, Any]:
    """The part of a JSON Schema that describes the value at a path; {} where there is none.

    Without `follow` the last part is given as it stands: alternatives and references unresolved.
    """
    node = _resolved(schema, schema)
    for i, part in enumerate(loc):
        node = node.get("items", {}) if isinstance(part, int) else node.get("properties", {}).get(part, {})
        if follow or i < len(loc) - 1:
            node = _resolved(schema, node)
    return node


def _alternatives(schema: dict[str, Any]) -> list[dict[str, Any]]:
    """The alternatives of an entry, those of its alternatives included."""
    found = [entry for e in schema.get("anyOf", []) for entry in (_alternatives(e) or [e])]
    return found or [schema]


def keys_at(schema: dict[str, Any], loc: tuple[Any, ...]) -> tuple[str, ...]:
    """Keys that the table at a path may have."""
    return tuple(table_at(schema, loc).get("properties", {}))


def _resolved(schema: dict[str, Any], node: dict[str, Any]) -> dict[str, Any]:
    """Follow references, and of alternatives take the table or the list."""
    for _ in range(8):
        if "$ref" in node:
            node = schema["$defs"][node["$ref"].rsplit("/", 1)[-1]]
        elif "anyOf" in node and (rich := [e for e in node["anyOf"] if {"$ref", "properties", "items"} & set(e)]):
            node = rich[0]
        else:
            break
    return node


_WORDS = {
    "float_type": ("a number", "write a number without quotation marks"),
    "int_type": ("a whole number", "write a whole number without quotation marks"),
    "int_from_float": ("a whole number", "write a whole number"),
    "bool_type": ("true or false", "write true or false"),
    "string_type": ("text", "write it in quotation marks"),
    "list_type": ("a list", "write a list in square brackets; for tables, double square brackets around the name"),
    "model_type": ("a table", "write a table"),
    "dict_type": ("a table", "write a table"),
    "string_pattern_mismatch": ("printable text", "take the control characters out"),
    "finite_number": ("a finite number", "nan and inf mean nothing here; leave the key out when it is not known"),
}
