"""Real teeth turned into scans: every canal measured in the scan beside the same canal measured in its mesh, by station.

    python -m benchmarks.accuracy_meshes [--voxels 0.08 0.1 0.15 0.2 0.3] [--teeth L1 L3 L4 L6 L7 incisor]

writes docs/models/scan-meshes.md and .svg. Real shape, synthetic scan: blur 0.8 voxel, noise 60 on a contrast of 1,700, ligament and bone
about the root. The clicks are the mesh's orifice and a point 0.3 mm above its terminus. Needs the meshes beside the repository.
"""

import argparse
import os

for key in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(key, "1")

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree
from tests.imaging import real_teeth
from tests.imaging.real_scans import mesh

from canalwright.imaging import FoundCanal, ScanError, trace
from canalwright.imaging.phantom.mesh import scan_of
from canalwright.imaging.phantom.scan import Scanner
from canalwright.imaging.tracing.result import ROUGH_WIDTH

OUT = Path(__file__).parents[1] / "docs" / "models" / "scan-meshes.md"
PICTURE = OUT.with_suffix(".svg")
AT = (1.0, 2.0, 3.0, 5.0, 8.0)
NINETY = 1.6449
AROUND = 3.5
FORAMEN = 0.1
"""Standard deviation of the mesh's own foramen, mm: about half a canal's width."""


@dataclass(frozen=True)
class Row:
    """One canal at one voxel size: errors (mm) by station of `AT`, NaN where it does not reach; `refused` says why none."""

    tooth: str
    canal: str
    voxel: float
    least: float = float("nan")
    width: tuple[float, ...] = ()
    stated: tuple[float, ...] = ()
    mean: tuple[float, ...] = ()
    wall: tuple[float, ...] = ()
    wall_stated: tuple[float, ...] = ()
    length: float = float("nan")
    length_stated: float = float("nan")
    score: float = float("nan")
    refused: str = ""


def row(tooth: str, canal: FoundCanal, voxel: float) -> Row:
    names = ("incisor_meshes", ("pulp.ply", "dentine.ply", "enamel.ply")) if tooth == "incisor" else (
        "mandible_teeth", tuple(f"Tooth_{tooth}_{part}.stl" for part in ("Pulp", "Dentin", "Enamel"))
    )  # fmt: skip
    parts = [mesh(names[0], name) for name in names[1]]
    centre = canal.lumen.centre
    box = (centre.min(0) - AROUND, centre.max(0) + AROUND)
    scanner = Scanner(voxel=voxel, blur=0.8 * voxel, noise=60.0, oversample=2)
    scan = scan_of(*parts, scanner=scanner, box=box, seed=1)
    inside = int(np.searchsorted(canal.lumen.z, 0.3))
    try:
        found = trace(scan, canal.orifice, centre[inside])
    except ScanError as error:
        return Row(tooth, canal.name, voxel, refused=str(error))
    _, at = cKDTree(found.lumen.centre).query(centre)
    errors: list[list[float]] = [[], [], [], [], []]
    for z in AT:
        i = int(np.searchsorted(canal.lumen.z, z))
        if i >= canal.lumen.size - 5 or (canal.join is not None and abs(z - canal.join) < 0.5):
            for column in errors:
                column.append(float("nan"))
            continue
        j = at[i]
        errors[0].append(float(found.lumen.minor[j] - canal.lumen.minor[i]))
        errors[1].append(float(found.width_error[j]))
        errors[2].append(float(np.sqrt(4 / np.pi) * (np.sqrt(found.lumen.area[j]) - np.sqrt(canal.lumen.area[i]))))
        errors[3].append(float(found.lumen.wall[j] - canal.lumen.wall[i]))
        errors[4].append(float(found.wall_error[j]))
    low = (canal.lumen.z > 0.5) & (canal.lumen.z < 3)
    return Row(
        tooth, canal.name, voxel, float(canal.lumen.minor[low].min()), *(tuple(e) for e in errors),
        found.length - canal.length, float(np.hypot(found.length_error, FORAMEN)), found.quality.score,
    )  # fmt: skip


def page(rows: list[Row]) -> str:
    lines = [
        "# Scans of real teeth: measured beside the mesh",
        "",
        "Made by `benchmarks/accuracy_meshes.py` from the open meshes of five lower teeth and an upper incisor: real shape, "
        "synthetic scan (blur 0.8 voxel, noise 60 on a contrast of 1,700, ligament 0.2 mm, bone). Error of the least width by "
        "station (mm above the terminus), of the diameter of the mean circle and of the wall (root mean square over the "
        "stations), of the length from terminus to orifice; all mm, scan less mesh. The mesh's own foramen is uncertain by "
        "about half a canal width, and its sections are no ovals.",
        "",
        "| tooth, canal | voxel | least width in the last 3 mm | "
        + " | ".join(f"width at {z:g}" for z in AT)
        + " | mean circle | wall | length | score |",
        "|" + "---|" * (len(AT) + 7),
    ]
    for r in rows:
        if r.refused:
            lines.append(f"| {r.tooth} {r.canal} | {r.voxel:g} | refused: {r.refused} |" + " |" * (len(AT) + 4))
            continue
        cells = " | ".join("" if np.isnan(w) else f"{w:+.3f}" for w in r.width)
        lines.append(
            f"| {r.tooth} {r.canal} | {r.voxel:g} | {r.least:.2f} | {cells} | {_rms(r.mean):.3f} | {_rms(r.wall):.3f} | "
            f"{r.length:+.2f} | {r.score:.2f} |"
        )
    good = [r for r in rows if not r.refused]
    if good:
        width, stated = (np.concatenate([getattr(r, k) for r in good]) for k in ("width", "stated"))
        seen = np.isfinite(width)
        held = np.mean(np.abs(width[seen]) < NINETY * stated[seen])
        lines += [
            "",
            f"Root mean square over all: least width {_rms(width):.3f} mm, wall {_rms(np.concatenate([r.wall for r in good])):.3f} mm. The "
            f"stated 90 % interval of the least width holds the mesh's at {100 * held:.0f} % of {seen.sum()} stations: real sections are "
            f"no ovals, for which {ROUGH_WIDTH:g} mm is in the error, set on the five lower teeth at 0.1 and 0.15 mm.",
            "",
            *by_voxel(rows),
            "![Error of the least width of every canal by station and voxel](scan-meshes.svg)",
        ]
    wrong = [r for r in good if r.score >= 0.8 and (abs(r.length) > 0.5 or _rms(r.mean) > 0.15)]
    for r in wrong:
        lines += [
            "",
            f"**Wrong and not marked:** {r.tooth} {r.canal} at {r.voxel:g} mm (score {r.score:.2f}): length {r.length:+.2f} mm, mean "
            f"circle off by {_rms(r.mean):.2f} mm. The score does not see a trace that runs into a wider neighbour or leaves the root "
            "elsewhere: look at it.",
        ]
    return "\n".join(lines) + "\n"


def by_voxel(rows: list[Row]) -> list[str]:
    """The errors over all canals that were traced, by voxel size."""
    out = [
        "By voxel size, over the canals that were traced (root mean square, mm; length: median of its size):",
        "",
        "| voxel | canals traced of | least width | mean circle | wall | length | 90 % interval holds: width | wall | length |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for voxel in sorted({r.voxel for r in rows}):
        own = [r for r in rows if r.voxel == voxel]
        good = [r for r in own if not r.refused]
        if not good:
            continue
        width, stated, mean, wall, wall_stated = (
            np.concatenate([getattr(r, k) for r in good]) for k in ("width", "stated", "mean", "wall", "wall_stated")
        )
        seen = np.isfinite(width)
        held = np.mean(np.abs(width[seen]) < NINETY * stated[seen])
        kept = np.mean(np.abs(wall[seen]) < NINETY * wall_stated[seen])
        right = sum(abs(r.length) < NINETY * r.length_stated for r in good)
        out.append(
            f"| {voxel:g} | {len(good)} of {len(own)} | {_rms(width):.3f} | {_rms(mean):.3f} | {_rms(wall):.3f} | "
            f"{np.median([abs(r.length) for r in good]):.2f} | {100 * held:.0f} % of {seen.sum()} | {100 * kept:.0f} % | "
            f"{right} of {len(good)} |"
        )
    return [
        *out,
        "",
        f"The length's interval is held against the mesh's with {FORAMEN:g} mm for the mesh's own foramen added to its error.",
        "",
    ]


def picture(rows: list[Row]) -> str:
    """Error of the least width (mm) by station, one column of stations for each voxel size, a dot for each canal."""
    voxels = sorted({r.voxel for r in rows})
    left, top, column, high, most = 60, 24, 110, 280, 0.3
    wide = column * len(voxels)

    def y(value: float) -> float:
        return top + high / 2 - float(np.clip(value, -most, most)) / (2 * most) * high

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {left + wide + 20} {top + high + 78}" role="img" '
        'font-family="sans-serif" font-size="12"><title>Error of the least width of every canal by station and voxel</title>'
    ]
    for value in (-0.3, -0.2, -0.1, 0, 0.1, 0.2, 0.3):
        out.append(
            f'<line x1="{left}" x2="{left + wide}" y1="{y(value):.1f}" y2="{y(value):.1f}" stroke="#ccc"/>'
            f'<text x="{left - 8}" y="{y(value) + 4:.1f}" text-anchor="end">{value:g}</text>'
        )
    for n, voxel in enumerate(voxels):
        at = left + n * column
        own = [r for r in rows if r.voxel == voxel and not r.refused]
        out.append(
            f'<rect x="{at + 4}" y="{y(voxel / 4):.1f}" width="{column - 8}" height="{y(-voxel / 4) - y(voxel / 4):.1f}" fill="#2166ac" '
            f'opacity="0.12"/><text x="{at + column / 2}" y="{top + high + 36}" text-anchor="middle">{voxel:g} mm</text>'
        )
        for k, station in enumerate(AT):
            x = at + 15 + 20 * k
            out.append(f'<text x="{x}" y="{top + high + 18}" text-anchor="middle" fill="#555">{station:g}</text>')
            for r in own:
                if np.isfinite(r.width[k]):
                    fill = "#2166ac" if abs(r.width[k]) < NINETY * r.stated[k] else "#b2182b"
                    out.append(f'<circle cx="{x}" cy="{y(r.width[k]):.1f}" r="3" fill="{fill}"/>')
    middle = (left + wide + 20) / 2
    for n, said in enumerate(
        (
            "mm above the terminus, by voxel size; error in mm",
            "(red: outside the stated 90 % interval; band: a quarter of a voxel)",
        )
    ):
        out.append(f'<text x="{middle}" y="{top + high + 54 + 16 * n}" text-anchor="middle">{said}</text>')
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _rms(values: object) -> float:
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    return float(np.sqrt(np.mean(known**2))) if len(known) else float("nan")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--voxels", type=float, nargs="+", default=[0.08, 0.1, 0.15, 0.2, 0.3])
    parser.add_argument("--teeth", nargs="+", default=list(real_teeth.TEETH))
    given = parser.parse_args()
    rows = []
    for tooth in given.teeth:
        for canal in real_teeth.canals(tooth):
            for voxel in given.voxels:
                rows.append(row(tooth, canal, voxel))
                print(rows[-1], flush=True)
                OUT.write_text(page(rows))
                PICTURE.write_text(picture(rows))


if __name__ == "__main__":
    main()
