"""No click: the one tooth that fills a volume, where there is just one.

On a coarse grid the greys fall into three classes (Otsu 1979, IEEE Trans Syst Man Cybern 9:62, for several thresholds: Liao
2001); the brightest is hard tissue. Its bodies of a tooth's size are counted. Where there is one, its deepest place is the
click; where there are more, or the volume is larger than a tooth, the user is asked.
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
MOST = 45.0
"""Longest side of a volume that one tooth may fill, mm."""
COARSE = 0.4
LEAST = 120.0
"""Least volume of a tooth's hard tissue, mm3: below the smallest lower incisor's."""


def pick_tooth(scan: Scan | Opened) -> Array:
    """An LPS point (3,) in the only tooth of the scan. Raises ScanError where there is none or more than one."""
    where = scan.path or "scan in memory"
    size = scan.spacing * np.array(scan.shape[::-1])
    if size.max() > MOST:
        raise refusal(
            where, f"the volume is {size.max():.0f} mm long and may hold several teeth",
            remedy="give a point in the tooth that is meant (--click x,y,z in LPS mm)",
        )  # fmt: skip
    whole = scan.whole() if isinstance(scan, Opened) else scan
    step = np.maximum(np.round(COARSE / scan.spacing), 1).astype(int)
    grey = whole.voxels[:: step[2], :: step[1], :: step[0]].astype(np.float32) * whole.slope + whole.intercept
    if float(np.ptp(grey)) == 0.0 or len(np.unique(grey)) < 8:
        raise refusal(where, "all greys are the same: there is no tooth in it", remedy="choose another scan")
    otsu: Any = threshold_multiotsu
    levels = otsu(grey, classes=3, nbins=128)
    hard = binary_opening(grey > levels[-1], iterations=1)
    names, _ = label(hard)
    cell = float(np.prod(scan.spacing * step))
    volumes = np.bincount(names.ravel())[1:] * cell
    teeth = [n + 1 for n in np.argsort(-volumes) if volumes[n] >= LEAST]
    if not teeth:
        raise refusal(
            where, "no bright body as large as a tooth in it", allowed=f"{LEAST:.0f} mm3 or more",
            remedy="give a scan of a tooth, or a point in it (--click x,y,z in LPS mm)",
        )  # fmt: skip
    deep = distance_transform_edt(np.pad(hard, 1), sampling=(scan.spacing * step)[::-1])[1:-1, 1:-1, 1:-1]
    places = []
    for n in teeth:
        node = np.unravel_index(int(np.argmax(np.where(names == n, deep, 0.0))), hard.shape)
        places.append(scan.to_patient(np.array(node[::-1], float) * step))
    if len(places) > 1 and volumes[teeth[1] - 1] > 0.2 * volumes[teeth[0] - 1]:
        said = "; ".join(",".join(f"{v:.1f}" for v in p) for p in places[:8])
        raise refusal(
            where, f"{len(places)} bright bodies as large as a tooth, about {said}",
            remedy="give a point in the tooth that is meant (--click x,y,z in LPS mm)",
        )  # fmt: skip
    return np.asarray(places[0])
