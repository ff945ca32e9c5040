"""All teeth in one table, with what it was made from and by which versions: Apache Parquet, and the same as CSV.

No moment, machine or number of workers goes into it: the same cohort gives the same bytes.
"""

import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq

from canalwright.cohort.job import CohortError, Job, Outcome, Row, versions
from canalwright.planning import CAUTION

FIRST = ("tooth", "status", "reason", "key")
PROVENANCE = b"canalwright"


def table_of(jobs: Sequence[Job], outcomes: Mapping[str, Outcome], about: Mapping[str, Any]) -> pa.Table:
    """Rows of all teeth in the order of the jobs; a tooth that was set aside has one row with its reason.

    `about` goes into the metadata.
    """
    rows: list[Row] = []
    for job in jobs:
        found = outcomes[job.ident]
        head = {
            "tooth": job.ident,
            "status": "done" if found.good else "set aside",
            "reason": found.set_aside,
            "key": found.key,
        }
        rows += [{**head, **row} for row in found.rows] if found.good else [head]
    names = list(dict.fromkeys([*FIRST, *(name for row in rows for name in row)]))
    columns = {name: _column([row.get(name) for row in rows]) for name in names}
    told = {"about": dict(about), "versions": versions(), "caution": CAUTION}
    return pa.table(columns).replace_schema_metadata({PROVENANCE: json.dumps(told, sort_keys=True).encode()})


def parquet(table: pa.Table) -> bytes:
    """The table as Parquet."""
    out = io.BytesIO()
    pq.write_table(table, out, compression="zstd")
    return out.getvalue()


def csv(table: pa.Table) -> bytes:
    """The table as CSV."""
    out = io.BytesIO()
    pa.csv.write_csv(table, out)
    return out.getvalue()


def read(path: Path) -> tuple[list[Row], dict[str, Any]]:
    """Rows and provenance of a table that was written here. Raises CohortError for another file."""
    try:
        table = pq.read_table(path)
        about = json.loads(table.schema.metadata[PROVENANCE])
    except (OSError, pa.ArrowInvalid, KeyError, TypeError, ValueError):
        raise CohortError(f"{path.name}: is no table of a cohort; name a teeth.parquet") from None
    return table.to_pylist(), about


def _column(values: list[Any]) -> pa.Array:
    """Whole numbers stay whole only where all are; mixed numbers become floats, everything else text."""
    kinds = {type(v) for v in values if v is not None}
    if kinds <= {bool}:
        return pa.array(values, pa.bool_())
    if kinds <= {int}:
        return pa.array(values, pa.int64())
    if kinds <= {int, float}:
        return pa.array([None if v is None else float(v) for v in values], pa.float64())
    return pa.array([None if v is None else str(v) for v in values], pa.string())
