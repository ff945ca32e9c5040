"""No click: the one tooth that fills a volume, where there is just one.

On a coarse grid the greys fall into four classes (Otsu 1979, IEEE Trans Syst Man Cybern 9:62, for several thresholds: Liao
2001): about air or soft tissue, bone, dentine, enamel, but which is which differs from scan to scan. So bodies of a tooth's
size are looked for above each threshold, from the brightest down. Where there is more than one, or the volume is larger than
a tooth, the user is asked; else the deepest place of each is a click to be tried.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_opening, distance_transform_edt, label
from skimage.filters import threshold_multiotsu

from canalwright.imaging.readers.opened import Opened
from canalwright.imaging.refusal import refusal
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
_otsu: Any = threshold_multiotsu
MOST = 45.0
"""Longest side of a volume that one tooth may fill, mm."""
COARSE = 0.4
LEAST, GREATEST = 120.0, 2500.0
"""Plausible volume of a tooth's hard tissue, mm3: the smallest lower incisor's to beyond the largest molar's."""


def pick_tooth(scan: Scan | Opened) -> list[Array]:
    """LPS points (3,) to be tried, in the only tooth of the scan. Raises ScanError where there is none or more than one."""
    where = scan.path or "scan in memory"
    size = scan.spacing * np.array(scan.shape[::-1])
    if size.max() > MOST:
        raise refusal(
            where, f"the volume is {size.max():.0f} mm long and may hold several teeth",
            remedy="give a point in the tooth that is meant (--click x,y,z in LPS mm)",
        )  # fmt: skip
    whole = scan.whole() if isinstance(scan, Opened) else scan
    step = np.maximum(np.round(COARSE / scan.spacing), 1).astype(int)
    grey = whole.voxels[:: step[2], :: step[1], :: step[0]].astype(np.float32)
    if len(np.unique(grey)) < 8:
        raise refusal(where, "all greys are the same: there is no tooth in it", remedy="choose another scan")
    places: list[Array] = []
    for level in _otsu(grey, classes=4, nbins=128)[::-1]:
        nodes = _bodies(grey > level, scan.spacing * step)
        here = [scan.to_patient(node[::-1] * step) for node in nodes]
        if len(here) > 1 and not places:
            said = "; ".join(",".join(f"{v:.1f}" for v in p) for p in here[:8])
            raise refusal(
                where, f"{len(here)} bright bodies as large as a tooth, about {said}",
                remedy="give a point in the tooth that is meant (--click x,y,z in LPS mm)",
            )  # fmt: skip
        places += here[:1]
    if not places:
        raise refusal(
            where, "no bright body as large as a tooth in it", allowed=f"{LEAST:.0f} to {GREATEST:.0f} mm3",
            remedy="give a scan of a tooth, or a point in it (--click x,y,z in LPS mm)",
        )  # fmt: skip
    return places


def _bodies(hard: Mask, spacing: Array) -> list[Array]:
    """Deepest node [z, y, x] of every body of a tooth's volume, the largest first, those under a fifth of it left out."""
    names, _ = label(binary_opening(hard))
    volumes = np.bincount(names.ravel())[1:] * float(np.prod(spacing))
    good = [n for n in np.argsort(-volumes) if LEAST <= volumes[n] <= GREATEST]
    good = [n for n in good if volumes[n] > 0.2 * volumes[good[0]]]
    deep = distance_transform_edt(np.pad(hard, 1), sampling=spacing[::-1])[1:-1, 1:-1, 1:-1]
    return [
        np.array(np.unravel_index(int(np.argmax(np.where(names == n + 1, deep, 0.0))), hard.shape), float) for n in good
    ]
