"""A case being written: a table like that of a case file, changed field by field.

What the form has no field for (a profile read from a scan, a second curve, more side branches) stays as it was. A field's text
that is no number is kept as it was typed, so that the reader of case files tells what is wrong with it.
"""

import copy
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from canalwright import casefile
from canalwright.anatomy import Tooth, averages
from canalwright.anatomy.limits import LIMITS, out_of_limits
from canalwright.casefile import Case, CaseError, Problem
from canalwright.web.typed import everywhere, parsed, shown

Table = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Field:
    """One field of the form. `path` leads to it in a canal's table; `quantity` names the ways to measure it ('' for none)."""

    key: str
    title: str
    path: tuple[str | int, ...]
    unit: str = ""
    quantity: str = ""
    kind: str = "number"
    needed: bool = False


FIELDS: dict[str, tuple[Field, ...]] = {
    "": (
        Field("name", "Canal", ("name",), kind="name", needed=True),
        Field("working_length", "Working length", ("working_length_mm",), "mm", "length", needed=True),
        Field("size", "Finishing file, ISO size", ("finishing_file", "size"), kind="size", needed=True),
        Field("taper", "Its taper", ("finishing_file", "taper"), "0.04 or 4 %", kind="taper", needed=True),
        Field("reference", "Reference point", ("reference",), kind="text"),
    ),
    "Apex": (
        Field("length", "Radiographic length", ("length_mm",), "mm", "length"),
        Field("apical_gauge", "Apical gauge", ("apical_gauge",), "ISO size", "width"),
        Field("foramen", "Foramen", ("foramen_mm",), "mm", "width"),
    ),
    "Orifice and widths": (
        Field("orifice_depth", "Orifice at depth", ("orifice_depth_mm",), "mm", "length"),
        Field("orifice_width", "Orifice width", ("orifice_width_mm",), "mm", "width"),
        Field("ovality", "Ovality, greatest / least", ("ovality",), "", "width"),
        Field("widths", "Widths by level, level:least/greatest", ("widths_mm",), "mm", "width", kind="rows"),
    ),
    "Curve": (
        Field("angle", "Angle", ("curve", "angle_deg"), "°", "curve"),
        Field("radius", "Radius", ("curve", "radius_mm"), "mm", "curve"),
        Field("start", "Begins at level", ("curve", "start_mm"), "mm", "length"),
        Field("towards", "Tip points", ("curve", "towards"), kind="towards"),
    ),
    "Root and bone": (
        Field("wall", "Dentine wall, one or level:thickness", ("wall_mm",), "mm", "wall", kind="rows"),
        *(
            Field(
                f"wall_{side}",
                f"Wall towards {side}, level:thickness",
                ("wall_side", side, "by_level"),
                "mm",
                kind="levels",
            )
            for side in ("mesial", "distal", "buccal", "lingual")
        ),
        Field("crest", "Crest of bone at level", ("crest_level_mm",), "mm", "length"),
        Field("cej", "CEJ at level", ("cej_level_mm",), "mm", "length"),
        Field("post", "Post wanted", ("post", "wanted"), kind="yes"),
    ),
    "Side branch": (
        Field("branch_level", "At level", ("side_branch", 0, "level_mm"), "mm"),
        Field("branch_diameter", "Diameter", ("side_branch", 0, "diameter_mm"), "mm", "width"),
        Field("branch_direction", "Direction", ("side_branch", 0, "direction"), kind="text"),
    ),
}
HOW = {
    "number": "write digits only, such as 20.5",
    "size": "choose one of the list",
    "rows": "write level:width, such as 3:0.45 6:0.60",
    "levels": "write level:thickness, such as 3:0.9 7:1.1",
    "wall": "write one thickness, or level:thickness, such as 3:0.9 7:1.1",
    "taper": "write 0.04 or 4 %",
}
"""What to write where a field takes no such text: the page's own words, since a form has no quotation marks and no brackets."""
MISSING = "still needed"
_LIMITS = {"taper": "file_taper", "branch_level": "level"}
_OF_THE_FILE = re.compile("quotation marks|brackets|a table|entry")
BY_KEY = {f.key: f for group in FIELDS.values() for f in group}


@dataclass(frozen=True)
class Draft:
    """The table of a case under work."""

    table: Table = field(default_factory=dict)

    @classmethod
    def new(cls) -> "Draft":
        """A case with one canal and nothing measured yet."""
        return cls(
            {"case": {"version": 1, "label": "My case"}, "tooth": {"number": 46}, "canal": [{"name": "mesiobuccal"}]}
        )

    @classmethod
    def of(cls, case: Case) -> "Draft":
        """The draft that an open case came from."""
        return cls(case.model.model_dump(mode="json", exclude_defaults=True))

    @property
    def canals(self) -> list[Table]:
        """The canals' tables."""
        return list(self.table["canal"])

    def case(self) -> Case:
        """The case as it stands; raises CaseError with everything that is wrong or missing."""
        return casefile.from_table(copy.deepcopy(self.table), "case")

    def text(self, index: int, key: str) -> str:
        """What stands in a field."""
        value = _get(self.table["canal"][index], BY_KEY[key].path)
        return shown(value)

    def method(self, index: int, key: str) -> str:
        """How a field was measured, '' where it does not say."""
        value = _get(self.table["canal"][index], BY_KEY[key].path)
        return str(value.get("method") or "") if isinstance(value, Mapping) else ""

    def impossible(self, index: int) -> dict[str, str]:
        """Single values of a canal that cannot be, by field: told at once, also while others are still missing."""
        found = {}
        for key, place in BY_KEY.items():
            value = _get(self.table["canal"][index], place.path)
            value = value.get("value") if isinstance(value, Mapping) else value
            limit = _LIMITS.get(key, key)
            if place.kind not in ("number", "taper") or value is None or limit not in LIMITS:
                continue
            if not isinstance(value, int | float):
                found[key] = f"a number; {HOW[place.kind]}"
            elif fault := out_of_limits(key, value, limit=limit):
                found[key] = f"{fault.allowed}; {fault.action}"
        return found

    def with_text(self, index: int, key: str, text: str) -> "Draft":
        """The draft with a field changed; an empty text takes it out."""
        place, made = BY_KEY[key], copy.deepcopy(self.table)
        old = _get(made["canal"][index], place.path)
        value = parsed(place.kind, text.strip())
        if value is not None and place.quantity and isinstance(old, Mapping):
            kept = {k: v for k, v in old.items() if k in ("method", "error") and v is not None}
            value = {**(value if isinstance(value, Mapping) else {"value": value}), **kept} if kept else value
            if place.kind == "rows" and kept and "value" in value:
                value = {"by_level": everywhere(value.pop("value")), **kept}
        _set(made["canal"][index], place.path, value)
        return replace(self, table=made)

    def with_method(self, index: int, key: str, method: str) -> "Draft":
        """The draft with the way a field was measured; an error that was given for another way goes."""
        place, made = BY_KEY[key], copy.deepcopy(self.table)
        old = _get(made["canal"][index], place.path)
        if (
            old is None
            or not place.quantity
            or method not in averages.methods(place.quantity)
            or method == self.method(index, key)
        ):
            return self
        value = {k: v for k, v in old.items() if k != "error"} if isinstance(old, Mapping) else {"value": old}
        if place.kind == "rows" and "value" in value:
            value = {"by_level": everywhere(value["value"])}
        _set(made["canal"][index], place.path, {**value, "method": method})
        return replace(self, table=made)

    def with_tooth(self, number: int) -> "Draft":
        """Another tooth (ISO 3950); a canal of which only the name is there takes the name that is usual in this tooth."""
        made, usual = copy.deepcopy(self.table), averages.tooth_averages(Tooth(number)).usual
        canals = made["canal"]
        if len(canals) == 1 and set(canals[0]) == {"name"} and canals[0]["name"] not in usual:
            canals[0]["name"] = usual[0]
        return replace(self, table={**made, "tooth": {"number": number}})

    def with_label(self, label: str) -> "Draft":
        """Another label; a changed demo case is still an invented one."""
        made = copy.deepcopy(self.table)
        made["case"]["label"] = label
        return replace(self, table=made)

    def with_canal(self, name: str) -> "Draft":
        """One canal more."""
        return replace(self, table={**copy.deepcopy(self.table), "canal": [*self.canals, {"name": name}]})

    def without_canal(self, index: int) -> "Draft":
        """One canal less; the last one stays."""
        canals = [c for i, c in enumerate(self.canals) if i != index]
        return replace(self, table={**copy.deepcopy(self.table), "canal": canals}) if canals else self


def sorted_problems(error: CaseError, canals: Sequence[Table]) -> tuple[list[dict[str, str]], list[Problem]]:
    """Problems of the `canals` of a draft by canal and field, in words, and those that belong to no field."""
    by_canal: list[dict[str, str]] = [{} for _ in canals]
    others: list[Problem] = []
    for problem in error.problems:
        found = re.fullmatch(r"canal\[(\d+)\]\.?(.*)", problem.key)
        key = _field_of(found[2], canals[int(found[1])]) if found and int(found[1]) < len(canals) else None
        if found and key:
            by_canal[int(found[1])].setdefault(key, _said(problem, BY_KEY[key]))
            if found[2] == "finishing_file":  # neither its size nor its taper is there
                by_canal[int(found[1])].setdefault("taper", MISSING)
        else:
            others.append(problem)
    return by_canal, others


def _said(problem: Problem, place: Field) -> str:
    """A problem beside its field, which need not be named again, in words of the form and not of the file."""
    if problem.action.startswith("required and not there"):
        return MISSING
    if place.kind in ("rows", "levels") and (not problem.allowed or _OF_THE_FILE.search(problem.action)):
        return HOW.get(place.key, HOW[place.kind])
    if _OF_THE_FILE.search(problem.action) and place.kind in HOW:
        return f"a number; {HOW[place.kind]}"
    allowed = f"{problem.allowed}; " if problem.allowed else ""
    return f"{allowed}{problem.action}"


def _field_of(path: str, table: Table) -> str | None:
    """The field that a path of the case file leads to, in a canal's table; a row of the walls by side is told by its side."""
    found, rows = re.match(r"wall_side\[(\d+)\](.*)", path), table.get("wall_side", [])
    if found and int(found[1]) < len(rows):
        path = f"wall_side.{rows[int(found[1])].get('side')}{found[2]}"
    plain = re.sub(r"\[(\d+)\]", "", path)
    for key, place in BY_KEY.items():
        whole = ".".join(str(part) for part in place.path if not isinstance(part, int))
        if plain == whole or plain.startswith(f"{whole}.") or (whole.startswith(f"{plain}.") and plain):
            return key
    return None


def _get(table: Any, path: tuple[str | int, ...]) -> Any:
    for part in path:
        if isinstance(part, int):
            table = table[part] if isinstance(table, list) and part < len(table) else None
        elif isinstance(table, list):
            table = next((row for row in table if isinstance(row, Mapping) and row.get("side") == part), None)
        else:
            table = table.get(part) if isinstance(table, Mapping) else None
        if table is None:
            return None
    return table


def _set(table: Any, path: tuple[str | int, ...], value: Any) -> None:
    """Put a value at a path, making tables on the way; None takes it out, with the table around it when that was all it needed."""
    head, *rest = path
    if not rest:
        if value is None:
            table.pop(head, None)
        else:
            table[head] = value
        return
    if rest[0] == 0:
        rows = table.setdefault(head, [])
        if not rows:
            rows.append({})
        _set(rows[0], tuple(rest[1:]), value)
        if not rows[0]:
            rows.pop(0)
        if not rows:
            table.pop(head)
        return
    if head == "wall_side":
        _set_side(table, str(rest[0]), value)
        return
    inner = table.setdefault(head, {})
    _set(inner, tuple(rest), value)
    if not inner:
        table.pop(head)


def _set_side(table: Any, side: str, rows: Any) -> None:
    """Put the rows of one side of the tooth among those of the others; None takes them out."""
    others = [one for one in table.get("wall_side", []) if one.get("side") != side]
    sides = others if rows is None else [*others, {"side": side, "by_level": rows}]
    if sides:
        table["wall_side"] = sides
    else:
        table.pop("wall_side", None)
