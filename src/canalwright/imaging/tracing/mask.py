"""Trace a canal from a labelled mask: the lumen painted by hand or by another program.

The mask says which way the canal runs and where it ends; the greys of the scan, where there are any, say how wide it is. A
mask alone knows its lumen only to the voxel: it is measured as an image of its own (lumen and outside dark,
root bright), with the error of its steps.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, label
from skimage.graph import MCP_Geometric

from canalwright.imaging.found import FoundCanal
from canalwright.imaging.refusal import refusal
from canalwright.imaging.tracing.block import take
from canalwright.imaging.tracing.path import Tones, tones_of
from canalwright.imaging.tracing.trace import LENGTHS, MARGIN, along
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
STEPS = 0.15
"""Grey error of a voxel of a mask, as a share of the contrast: partly filled voxels are rounded to 0 or 1."""


def trace_mask(
    labels: Scan, lumen: int = 1, *, root: int | None = None, scan: Scan | None = None, name: str = "canal"
) -> FoundCanal:
    """The canal whose lumen carries the label `lumen`; the wider end is taken for its orifice.

    Widths and wall come from the greys of `scan` (same grid as `labels`) when it is given, else from the labels,
    which then need a `root` label for the tooth's hard tissue.

    Raises ScanError for a label that is not there, in pieces or no canal, and when neither greys nor root are given.
    """
    where = labels.path or "mask in memory"
    if scan is None and root is None:
        raise refusal(where, "neither greys nor a root label: no wall can be told", remedy="give scan= or root=")
    if scan is not None and (scan.shape != labels.shape or not np.allclose(scan.affine, labels.affine, atol=1e-3)):
        raise refusal(
            where, f"grid {labels.shape} differs from the scan's {scan.shape}", remedy="resample the mask to the scan"
        )
    values = np.asarray(labels.voxels)
    mask = _one_piece(values == lumen, lumen, where)
    low, high = (np.argwhere(mask).min(0), np.argwhere(mask).max(0) + 1)
    part = np.pad(mask[tuple(slice(a, b) for a, b in zip(low, high, strict=True))], 1)
    way = _longest_way(part, labels.spacing)[:, ::-1] + low[::-1] - 1
    points = labels.to_patient(way.astype(float))
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    if not LENGTHS[0] <= length <= LENGTHS[1]:
        raise refusal(
            where, f"label {lumen} is {length:.1f} mm long", allowed=f"{LENGTHS[0]:g} to {LENGTHS[1]:g} mm",
            remedy="is it a canal's lumen?",
        )  # fmt: skip
    image = scan if scan is not None else _as_image(labels, lumen, root)
    block = take(image, points, MARGIN)
    tones = tones_of(block, points[-1], points[0]) if scan is not None else Tones(1000.0, 0.0, 1000 * STEPS, 0.0)
    canal = along(block, points, tones, points[-1], points[0], name, image, painted=scan is None)
    if scan is not None:
        return canal
    step = 0.5 * labels.spacing.max()
    return replace(
        canal,
        width_error=np.hypot(canal.width_error, step),
        wall_error=np.hypot(canal.wall_error, step),
        notes=(*canal.notes, "measured from a mask: no finer than its voxels"),
    )


def _one_piece(mask: NDArray[np.bool_], lumen: int, where: str) -> NDArray[np.bool_]:
    names, count = label(mask, np.ones((3, 3, 3)))
    if count == 0:
        raise refusal(where, f"label {lumen} is not in the mask", remedy="give the lumen's own label")
    sizes = np.bincount(names.ravel())[1:]
    if sizes.max() < 0.8 * sizes.sum():
        raise refusal(
            where,
            f"label {lumen} lies in {count} pieces, the largest {100 * sizes.max() / sizes.sum():.0f} %",
            allowed="one piece of 80 % or more",
            remedy="give each canal its own label",
        )
    return np.asarray(names == 1 + int(np.argmax(sizes)))


def _longest_way(mask: NDArray[np.bool_], spacing: Array) -> NDArray[np.int_]:
    """Index points [z, y, x] of the longest way through the mask, along its middle, narrow end first."""
    sampling = tuple(float(v) for v in spacing[::-1])
    inside = distance_transform_edt(mask, sampling=sampling)
    plain = np.where(mask, 1.0, -1.0)
    first = tuple(np.argwhere(mask)[0])
    for _ in range(2):
        far, _ = MCP_Geometric(plain, sampling=sampling).find_costs([first])
        far = np.where(mask & np.isfinite(far), far, -1.0)
        first, last = tuple(np.unravel_index(int(np.argmax(far)), far.shape)), first
    middle = MCP_Geometric(np.where(mask, 1 / inside.clip(1e-3) ** 2, -1.0), sampling=sampling)
    middle.find_costs([first])
    way = np.array(middle.traceback(last))
    wide = inside[tuple(way.T)]
    third = max(1, len(way) // 3)
    return way if wide[:third].mean() < wide[-third:].mean() else way[::-1]


def _as_image(labels: Scan, lumen: int, root: int | None) -> Scan:
    """Root bright, lumen and all else dark."""
    values = np.asarray(labels.voxels)
    bright = (values == root) & (values != lumen)
    return Scan((1000 * bright).astype(np.float32), labels.affine, path=labels.path or "mask in memory")
