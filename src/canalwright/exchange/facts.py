"""Numbers of a case as they are handed over: each with its interval, unit, kind and the entry of the records that it comes from.

They are read from what was kept (the JSON of plans and assessments, checks, logs of the chair), never computed anew. A number
without an interval says so by `low` and `high` being None: it was typed in, counted or timed.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from canalwright.records.canonical import Json

LEAVES_OUT = (
    "Intervals are 5-95 %. Predicted numbers are computed from the measurements of this canal and from published averages; their "
    "intervals hold the doubt of both, not that of the model itself, which takes dentine and bone as uniform and leaves out what "
    "no image shows. A void smaller than an image can show is not seen, never absent."
)
"""What the numbers do not say, in words for whoever receives them."""
Kind = Literal["predicted", "measured", "read from an image", "done", "entered"]


@dataclass(frozen=True, slots=True)
class Fact:
    """One number.

    `key` is stable and for machines; `words` are English and those of the card; `canal` is empty for the whole tooth;
    `low` and `high` are the ends of the 5-95 % interval, None where there is none or where it is unbounded; `digits`
    decimals to show; `seq` the entry of the records (0: none); `supposed` the share of the doubt that rests on averages.
    """

    key: str
    words: str
    canal: str
    value: float
    low: float | None
    high: float | None
    unit: str
    digits: int
    kind: Kind
    seq: int = 0
    supposed: float = 0.0


@dataclass(frozen=True, slots=True)
class Returned:
    """One number read back from what was handed over: its key (empty when it is not ours), the group or canal it stood in, whether it was
    predicted, words, value, ends (None where there are none), unit in UCUM.
    """

    key: str
    group: str
    predicted: bool
    words: str
    value: float
    low: float | None
    high: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class Name:
    """Where a number lies in a kept plan or assessment, what it is called, decimals shown, factor from kept to shown, unit shown;
    whether the plan took it from the tooth, where the others are its own.
    """

    key: str
    path: tuple[str, ...]
    words: str
    digits: int = 1
    factor: float = 1.0
    unit: str = ""
    measured: bool = False


def _share(key: str, path: tuple[str, ...], words: str, digits: int = 0) -> Name:
    """A share kept as 0 to 1 and told in per cent."""
    return Name(key, path, words, digits, 100.0, "%")


PLAN = (
    Name("working_length", ("working_length",), "working length", measured=True),
    Name("cone.seat", ("cone", "seat"), "tip seats at"),
    Name("cone.short", ("cone", "short"), "short of WL"),
    _share("cone.chance", ("cone", "chance"), "within 0.5 mm of WL"),
    Name("heat.margin", ("heat", "margin"), "margin to the 10 K limit"),
    Name("heat.surface_rise", ("heat", "surface_rise"), "greatest rise on the root surface"),
    Name("heat.above_47", ("heat", "above_47"), "root surface above 47 °C"),
    Name("heat.cem43", ("heat", "cem43"), "CEM43 at the root surface", 2),
    Name("heat.apical", ("heat", "apical"), "gutta-percha at the end of WL"),
    Name("fill.void", ("fill", "void"), "voids in the filling"),
    Name("fill.puff", ("fill", "puff"), "sealer beyond the root", 2),
    _share("chance_beyond_terminus", ("chance_beyond_terminus",), "chance of gutta-percha past the terminus"),
    Name("fill.root_ratio", ("fill", "root_ratio"), "stress in the wall, of its strength", 0),
    Name("sealer_volume", ("sealer_volume",), "sealer"),
    Name("backfill_top", ("backfill_top",), "backfill ends at"),
)
ASSESSMENT = (
    Name("to_terminus", ("to_terminus",), "filling ends short of the terminus"),
    Name("length_filled", ("length_filled",), "length of the filling"),
    Name("taper", ("taper",), "taper of the filling", 3),
    _share("void_share", ("void_share",), "voids seen in the filling", 1),
    Name("smallest_void", ("smallest_void",), "smallest void that this image would show", 2),
    _share("grade.chance", ("grade", "chance"), "chance that all criteria are met"),
    Name("beyond.reach", ("beyond", "reach"), "filling beyond the root, reach"),
    Name("beyond.volume", ("beyond", "volume"), "filling beyond the root, volume", 2),
)
CHECKED = {
    "short_mm": ("filling ends short of the terminus", 1.0, "mm", 1),
    "void_percent": ("voids seen in the filling", 1.0, "%", 1),
}
TIMED = {
    "seconds": ("time from the first step to the last", 1.0, "s", 0),
    "holds_kept": ("presses held as long as planned", 100.0, "%", 0),
}


def of_plan(plan: Mapping[str, Json], canal: str, seq: int = 0) -> tuple[Fact, ...]:
    """Numbers of a kept plan (`report.plan_json`), in the order of the card; what the plan lacks is left out."""
    return _named(PLAN, plan, canal, "predicted", "plan", seq)


def of_assessment(found: Mapping[str, Json], canal: str, seq: int = 0) -> tuple[Fact, ...]:
    """Numbers of a kept assessment (`Assessment.as_json`)."""
    return _named(ASSESSMENT, found, canal, "read from an image", "assessment", seq)


def of_check(payload: Mapping[str, Json], canal: str, seq: int) -> tuple[Fact, ...]:
    """Numbers typed into a check: they carry no interval."""
    return _bare(CHECKED, payload, "entered", "check", canal, seq)


def of_chair(payload: Mapping[str, Json], canal: str, seq: int) -> tuple[Fact, ...]:
    """Numbers timed at the chair: they carry no interval."""
    return _bare(TIMED, payload, "done", "chair", canal, seq)


def is_quantity(value: Any) -> bool:
    """Whether a kept value is a number with its interval."""
    return isinstance(value, Mapping) and {"value", "low", "high", "unit"} <= set(value)


def _bare(
    names: Mapping[str, tuple[str, float, str, int]], payload: Mapping[str, Json], kind: Kind, prefix: str, canal: str, seq: int
) -> tuple[Fact, ...]:  # fmt: skip
    found = []
    for key, (words, factor, unit, digits) in names.items():
        value = payload.get(key)
        if isinstance(value, int | float) and not isinstance(value, bool):
            found.append(Fact(f"{prefix}.{key}", words, canal, factor * value, None, None, unit, digits, kind, seq))
    return tuple(found)


def _named(
    names: Iterable[Name], kept: Mapping[str, Json], canal: str, kind: Kind, prefix: str, seq: int
) -> tuple[Fact, ...]:
    found = []
    for name in names:
        value: Any = kept
        for step in name.path:
            value = value.get(step) if isinstance(value, Mapping) else None
        if is_quantity(value) and isinstance(value["value"], int | float):
            low, high = (_times(value[end], name.factor) for end in ("low", "high"))
            of = "measured" if name.measured else kind
            found.append(
                Fact(
                    f"{prefix}.{name.key}", name.words, canal, name.factor * value["value"], low, high,
                    name.unit or str(value["unit"]), name.digits, of, seq, float(value.get("supposed") or 0.0),
                )
            )  # fmt: skip
    return tuple(found)


def _times(value: object, factor: float) -> float | None:
    return factor * value if isinstance(value, int | float) else None
