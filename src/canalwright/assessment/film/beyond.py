"""Filling beyond the root on a radiograph: bright spots outside the outline about the terminus.

A spot counts where, smoothed over `SMOOTH` mm, it is brighter than the bone about it by 5 times that bone's scatter and by a quarter of
the filling's own contrast near its end. Bone in front of a thin film of sealer hides it, and the root itself what lies
before or behind it: a film never says that nothing went beyond.
"""

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, gaussian_filter, label
from skimage.draw import polygon2mask

from canalwright.assessment.film.marks import Array
from canalwright.assessment.result import Beyond, Sight
from canalwright.quantities import Quantity

SMOOTH, ROOM, LEAST = 0.06, 2.5, 0.02
SCATTER, SHARE = 5.0, 0.25


def beyond(picture: NDArray[np.float32], outline: Array, terminus: Array, mm: float, contrast: float) -> Beyond:
    """Look within `ROOM` mm of the terminus (pixels); `contrast`: grey of the filling over dentine near its end."""
    rows, columns = picture.shape
    y, x = np.mgrid[0:rows, 0:columns]
    near = np.hypot(x - terminus[0], y - terminus[1]) * mm < ROOM
    root: NDArray[np.bool_] = polygon2mask((rows, columns), outline[:, ::-1])  # type: ignore[no-untyped-call]
    grown = binary_dilation(root, iterations=max(int(0.1 / mm), 1))
    smooth = gaussian_filter(picture.astype(float), SMOOTH / mm)
    bone = near & ~binary_dilation(root, iterations=max(int(0.3 / mm), 1))
    if bone.sum() < 100:
        return Beyond(Sight.NOT_SEEN)
    level = float(np.median(smooth[bone]))
    scatter = 1.4826 * float(np.median(np.abs(smooth[bone] - level)))
    limit = level + max(SCATTER * scatter, SHARE * contrast)
    marked, count = label((smooth > limit) & near & ~grown)
    if not count:
        return Beyond(Sight.NOT_SEEN)
    sizes = np.bincount(marked.ravel())[1:] * mm * mm
    away = [float(np.hypot(x - terminus[0], y - terminus[1])[marked == i + 1].min()) * mm for i in range(count)]
    spots = [i + 1 for i in range(count) if sizes[i] >= LEAST and away[i] < 1.2]
    if not spots:
        return Beyond(Sight.NOT_SEEN)
    spot = np.isin(marked, spots)
    points = np.argwhere(spot)[:, ::-1].astype(float)
    edge = np.vstack([np.linspace(a, b, 8, endpoint=False) for a, b in itertools.pairwise(outline)])
    reach = float(np.max(np.min(np.linalg.norm(points[::3, None] - edge[None], axis=2), axis=1))) * mm
    ring = 0.1 + 0.06
    area = float(spot.sum() * mm * mm) + float(np.sqrt(spot.sum())) * mm * 0.1
    return Beyond(
        Sight.THERE,
        Quantity(reach, max(reach - 1.645 * ring, 0.0), reach + 1.645 * ring, "mm"),
        Quantity(area, 0.7 * area, 1.4 * area, "mm2"),
    )
