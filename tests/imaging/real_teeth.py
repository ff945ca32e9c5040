"""The real teeth beside the repository, traced once for the whole run; tests that ask for them skip where they are not."""

import csv
from dataclasses import dataclass
from functools import cache

import numpy as np

from canalwright.imaging import FoundCanal, Surface, canals_from_surfaces, read_surface
from tests.support.shared_data import shared_data

TEETH = ("L1", "L3", "L4", "L6", "L7", "incisor")
CODES = {"L1": 31, "L3": 33, "L4": 34, "L6": 36, "L7": 37, "incisor": 11}
MESIAL = {"L6": (-0.5, -0.85, 0.0), "L7": (-0.3, -0.95, 0.0)}
"""The lower teeth lie in jaw position, +x to the patient's left, +y backwards, +z up: mesial is towards the midline."""
INCISOR_AXIS = np.array([0.43134, -0.69804, -0.57157])


@dataclass(frozen=True)
class Row:
    """A section of the reference table: distance from the apical end along z (or the incisor's axis), mm."""

    level: float
    at_level: int
    area: float
    least: float
    centre: np.ndarray


@cache
def surfaces(tooth: str) -> tuple[Surface, Surface, Surface]:
    """Lumen, dentine, enamel."""
    if tooth == "incisor":
        return tuple(read_surface(shared_data("incisor_meshes", f"{k}.ply")) for k in ("pulp", "dentine", "enamel"))
    names = [f"Tooth_{tooth}_{k}.stl" for k in ("Pulp", "Dentin", "Enamel")]
    return tuple(read_surface(shared_data("mandible_teeth", name)) for name in names)


@cache
def canals(tooth: str) -> tuple[FoundCanal, ...]:
    lumen, dentine, enamel = surfaces(tooth)
    mesial = MESIAL.get(tooth)
    return canals_from_surfaces(lumen, dentine, enamel=enamel, tooth=CODES[tooth], mesial=mesial)


@cache
def rows(tooth: str) -> tuple[Row, ...]:
    where = ("incisor_meshes", "pulp_sections.csv")
    if tooth != "incisor":
        where = ("mandible_teeth", f"Tooth_{tooth}_Pulp_sections.csv")
    with shared_data(*where).open() as file:
        return tuple(
            Row(
                float(r["dist_from_apical_end_mm"]),
                int(r["contours_at_level"]),
                float(r["area_mm2"]),
                float(r["min_width_mm"]),
                np.array([float(r[k]) for k in ("cx", "cy", "cz")]),
            )
            for r in csv.DictReader(file)
        )


@dataclass(frozen=True)
class Pair:
    """A reference section beside ours where the canal's line crosses its plane."""

    row: Row
    canal: FoundCanal
    z: float
    area: float
    minor: float
    error: float
    apart: float


def pairs(tooth: str) -> list[Pair]:
    """Reference sections that a canal's own lumen crosses: more than 0.6 mm above its terminus, 0.3 mm below its join.

    Our area across the canal is tilted into the plane of the table by the cosine between the two.
    """
    axis = INCISOR_AXIS if tooth == "incisor" else np.array([0.0, 0.0, 1.0])
    found = []
    for row in rows(tooth):
        best = None
        for canal in canals(tooth):
            lumen = canal.lumen
            height = (lumen.centre - row.centre) @ axis
            for i in np.nonzero(height[1:] * height[:-1] <= 0)[0]:
                step = lumen.centre[i + 1] - lumen.centre[i]
                share = height[i] / (height[i] - height[i + 1])
                apart = float(np.linalg.norm(lumen.centre[i] + share * step - row.centre))
                z = float(lumen.z[i] + share * (lumen.z[i + 1] - lumen.z[i]))
                cosine = abs(step @ axis) / float(np.linalg.norm(step))
                pair = Pair(
                    row, canal, z, lumen.at(z, lumen.area) / cosine, lumen.at(z, lumen.minor),
                    lumen.at(z, canal.width_error), apart,
                )  # fmt: skip
                if best is None or apart < best.apart:
                    best = pair
        if best is None or best.apart > row.least or best.z < 0.6:
            continue
        if best.canal.join is None or best.z < best.canal.join - 0.3:
            found.append(best)
    return found
