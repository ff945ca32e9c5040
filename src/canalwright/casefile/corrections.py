"""Corrections of a scan's canals to and from files: in the case they shaped, or in a file of their own."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast

import tomlkit
from pydantic import Field, ValidationError

from canalwright.anatomy import Canal, averages
from canalwright.casefile import toml
from canalwright.casefile.correction_model import CorrectionTable
from canalwright.casefile.fields import Closed
from canalwright.casefile.problems import CaseError, Problem, from_pydantic
from canalwright.imaging.corrections import Correction, Kind
from canalwright.imaging.errors import CorrectionError
from canalwright.quantities import Origin, Source

MOST = 400
_HEAD = "Corrections of the canals found in a scan, in the order in which they were made; points LPS mm."


class _Log(Closed):
    correction: list[CorrectionTable] = Field(default=[], max_length=MOST)


def corrections_of(tables: Sequence[CorrectionTable], file: str = "case") -> tuple[Correction, ...]:
    """The corrections of a file's tables. Raises CaseError with all that cannot be, one line each."""
    made: list[Correction] = []
    wrong: list[Problem] = []
    for i, table in enumerate(tables):
        try:
            made.append(
                Correction(
                    Kind(table.kind),
                    table.canal,
                    tuple((p[0], p[1], p[2]) for p in table.points_mm),
                    table.author,
                    table.reason,
                    datetime.fromisoformat(table.time),
                    table.radius_mm,
                    None if table.normal is None else (table.normal[0], table.normal[1], table.normal[2]),
                    table.portal,
                )
            )
        except (CorrectionError, ValueError) as error:
            wrong.append(Problem(file, f"correction[{i}]", "", "", str(error)))
    if wrong:
        raise CaseError(tuple(wrong))
    return tuple(made)


def tables_of(corrections: Sequence[Correction]) -> list[dict[str, Any]]:
    """The tables of corrections, as a case file holds them."""
    out = []
    for one in corrections:
        stamp = one.time.astimezone(UTC).replace(microsecond=0).isoformat().replace("+00:00", "Z")
        table: dict[str, Any] = {"kind": one.kind.value, "author": one.author, "reason": one.reason, "time": stamp}
        if one.canal:
            table["canal"] = one.canal
        if one.points:
            table["points_mm"] = [[round(float(v), 4) for v in p] for p in one.points]
        if one.radius is not None:
            table["radius_mm"] = float(one.radius)
        if one.normal is not None:
            table["normal"] = [round(float(v), 6) for v in one.normal]
        if one.kind is Kind.ADD_PORTAL:
            table["portal"] = one.portal
        out.append(table)
    return out


def load_corrections(path: str | Path) -> tuple[Correction, ...]:
    """The corrections of a file of their own, or of a case file. Raises CaseError."""
    path = Path(path)
    tables = toml.read(path)
    try:
        log = _Log.model_validate({"correction": tables.get("correction", [])})
    except ValidationError as error:
        raise CaseError(from_pydantic(path.name, error, _Log.model_json_schema())) from None
    others = sorted(set(tables) - {"correction", "case", "tooth", "canal"})
    if others:
        raise CaseError((Problem(path.name, others[0], "", "correction", "unknown key; take it out"),))
    return corrections_of(log.correction, path.name)


def dump_corrections(corrections: Sequence[Correction], path: str | Path) -> None:
    """Write corrections to a file of their own, whole or not at all. Raises OSError when the folder cannot be written."""
    document = tomlkit.document()
    document.add(tomlkit.comment(_HEAD))
    document.add(tomlkit.nl())
    document.add("correction", cast(tomlkit.items.Item, tomlkit.item(tables_of(corrections))))
    toml.write(tomlkit.dumps(document), Path(path))


_SHAPED = ("profile", "widths", "ovality", "wall_mm", "curve", "orifice_depth_mm", "foramen_mm")
_LENGTHS = ("length_mm", "working_length_mm")


def credited(canal: Canal, corrections: Sequence[Correction]) -> Canal:
    """The canal with `corrected by` in the source of every value that a correction of it was measured into."""
    mine = [
        c
        for c in corrections
        if not c.canal or averages.canal_name(canal.tooth, c.canal)[0].lower() == canal.name.lower()
    ]
    mine = [c for c in mine if c.kind is not Kind.REMOVE_CANAL]
    if not mine:
        return canal
    told = "; ".join(dict.fromkeys(c.told for c in mine))
    if all(c.kind in (Kind.ADD_PORTAL, Kind.REMOVE_PORTAL) for c in mine):
        return replace(canal, sources={**canal.sources, "side_branch": Source(Origin.SCAN, told)})
    sources = dict(canal.sources)
    for key in (*_SHAPED, *_LENGTHS):
        if key in sources and sources[key].origin is Origin.SCAN:
            sources[key] = replace(sources[key], detail=f"{sources[key].detail}; {told}")
    errors = {
        key: replace(reading, source=replace(reading.source, detail=f"{reading.source.detail}; {told}"))
        if reading.source.origin is Origin.SCAN
        else reading
        for key, reading in canal.errors.items()
    }
    length = errors.get("length", canal.length)
    return replace(canal, sources=sources, errors=errors, length=length)
