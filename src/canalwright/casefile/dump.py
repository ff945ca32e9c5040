"""Writing a case file: readable TOML, the keys of the first canal explained, written whole or not at all."""

from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, InlineTable, Table

from canalwright.casefile import toml
from canalwright.casefile.case import Case, loads, model_schema
from canalwright.casefile.case_model import CaseModel
from canalwright.casefile.problems import table_at

_HEAD = """\
Lengths mm, angles degrees. A level is a distance from the radiographic terminus, a depth one from the reference point.
A measured value is a number, or { value, method, error }, the error being one standard deviation."""


def dump(case: Case | CaseModel, path: str | Path) -> None:
    """Write a case to `path`, replacing what is there only when all of it is on the disk.

    Raises OSError when the folder cannot be written.
    """
    toml.write(dumps(case), Path(path))


def dumps(case: Case | CaseModel) -> str:
    """A case as TOML text; reading it again gives the same digest."""
    model = case.model if isinstance(case, Case) else case
    content = model.model_dump(mode="json", exclude_defaults=True)
    schema = model_schema()
    document = tomlkit.document()
    for line in _HEAD.splitlines():
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    for key in ("case", "tooth"):
        document.add(key, _table(content[key], schema, (key,)))
    canals = tomlkit.aot()
    for i, canal in enumerate(content["canal"]):
        canals.append(_table(canal, schema if i == 0 else {}, ("canal", 0)))
    document.add("canal", canals)
    if content.get("correction"):
        corrections = tomlkit.aot()
        for i, correction in enumerate(content["correction"]):
            corrections.append(_table(correction, schema if i == 0 else {}, ("correction", 0)))
        document.add("correction", corrections)
    text = tomlkit.dumps(document)
    loads(text, "the case to be written")
    return text


_TABLES = ("curve", "second", "profile", "readiness")


def _table(content: dict[str, Any], schema: dict[str, Any], path: tuple[str | int, ...]) -> Table:
    """A table: plain keys first, then its sub-tables; with a schema, each key carries its description."""
    table = tomlkit.table()
    later = [k for k, v in content.items() if k in _TABLES or (k == "side_branch" and isinstance(v, list))]
    for key, value in content.items():
        if key in later:
            continue
        item = tomlkit.item(_plain(value))
        said = _said(table_at(schema, (*path, key), follow=False)) if schema else ""
        if said:
            item.comment(said)
        table.add(key, item)
    for key in later:
        value = content[key]
        if isinstance(value, list):
            branches: AoT = tomlkit.aot()
            for entry in value:
                branches.append(_table(entry, {}, ()))
            table.add(key, branches)
        else:
            table.add(key, _table(value, schema, (*path, key)))
    return table


def _said(schema: dict[str, Any]) -> str:
    """Description of a key; that of an optional key stands with the first of its alternatives."""
    inner = schema.get("anyOf", [{}])[0]
    return str(schema.get("description") or inner.get("description", ""))


def _plain(value: Any) -> Any:
    """A measured value with nothing but a value as a bare number, other tables inline, long lists in rows."""
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, dict):
        if set(value) == {"value"}:
            return _plain(value["value"])
        inline: InlineTable = tomlkit.inline_table()
        for key, entry in value.items():
            inline.append(key, _plain(entry))
        return inline
    if isinstance(value, list) and value and isinstance(value[0], dict):
        tables: Array = tomlkit.array()
        for entry in value:
            tables.append(_plain(entry))
        return tables.multiline(True)
    if isinstance(value, list) and value and isinstance(value[0], list):
        rows: Array = tomlkit.array()
        for row in value:
            rows.append([_plain(number) for number in row])
        return rows.multiline(len(value) > 8)
    if isinstance(value, list) and len(value) > 12:
        text = ",\n".join("    " + ", ".join(map(repr, value[i : i + 12])) for i in range(0, len(value), 12))
        return tomlkit.parse(f"x = [\n{text},\n]")["x"]
    return value
