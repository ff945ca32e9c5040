"""A found canal as tables: centreline, widths and wall by station, as CSV and JSON.

Files name the unit in the key. Points stay in scan space (LPS mm).
"""

import csv
import io
import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.errors import ImagingError
from canalwright.imaging.found import FoundCanal

Array = NDArray[np.float64]
COLUMNS = (
    "z_mm", "x_mm", "y_mm", "z_lps_mm", "least_width_mm", "greatest_width_mm", "width_error_mm", "wall_mm",
    "wall_error_mm", "area_mm2", "axis_x", "axis_y", "axis_z",
)  # fmt: skip


def rows(found: FoundCanal) -> Array:
    """One row a station, columns as in `COLUMNS`, shape (n, 13)."""
    lumen = found.lumen
    return np.column_stack(
        [lumen.z, lumen.centre, lumen.minor, lumen.major, found.width_error, lumen.wall, found.wall_error, lumen.area,
         lumen.axis]
    )  # fmt: skip


def as_csv(found: FoundCanal) -> str:
    """Centreline, widths and wall by station as comma-separated text with a header line."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([[f"{v:.4f}" for v in row] for row in rows(found)])
    return out.getvalue()


def as_json(found: FoundCanal) -> str:
    """The same with length, ends, quality, source and notes, as JSON text."""
    return json.dumps(
        {
            "name": found.name,
            "length_mm": round(found.length, 4),
            "length_error_mm": round(found.length_error, 4),
            "foramen_mm": round(found.foramen, 4),
            "orifice_lps_mm": np.round(found.orifice, 4).tolist(),
            "terminus_lps_mm": np.round(found.terminus, 4).tolist(),
            "join_mm": found.join,
            "joined": found.joined,
            "quality": {"score": found.quality.score, "reasons": list(found.quality.reasons)},
            "source": found.source,
            "notes": list(found.notes),
            "columns": list(COLUMNS),
            "stations": np.round(rows(found), 4).tolist(),
        },
        indent=1,
    )


def write_table(found: FoundCanal, path: str | Path) -> Path:
    """Write `as_csv` or `as_json`, by the file's ending. Raises ImagingError for another."""
    path = Path(path)
    kinds = {".csv": as_csv, ".json": as_json}
    if path.suffix.lower() not in kinds:
        raise ImagingError(f"{path}: ending {path.suffix!r}; allowed: .csv, .json; give one of these")
    path.write_text(kinds[path.suffix.lower()](found), encoding="utf-8")
    return path
