"""Filling in side branches on a radiograph: a bright line from the canal towards mesial or distal.

A strip `WIDE` mm wide is followed from the canal's wall outwards; its grey less that of the strips above and below it, summed
along the way, over the scatter of such sums elsewhere along the canal. What is not bright enough is `not seen`: a film cannot
say that a branch is empty, nor anything of branches towards cheek or tongue.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from canalwright.anatomy.lumen import Portal
from canalwright.assessment.film.overlay import Overlay
from canalwright.assessment.film.profile import Profile
from canalwright.assessment.film.straight import Straight
from canalwright.assessment.result import PortalSeen, Sight
from canalwright.quantities import Quantity

Array = NDArray[np.float64]
WIDE, SEARCH, NEEDED = 0.12, 0.5, 5.0


def branches(
    picture: NDArray[np.float32],
    straight: Straight,
    steady: Profile,
    terminus: float,
    portals: tuple[Portal, ...],
    overlay: Overlay | None,
    planned: tuple[Quantity | None, ...],
) -> tuple[PortalSeen, ...]:
    """What is seen of each branch of the plan."""
    found = []
    for portal, expected in zip(portals, planned, strict=True):
        name = " ".join(filter(None, (portal.direction, portal.kind)))
        side = (
            "distal" if portal.direction.startswith("dist") else "mesial" if portal.direction.startswith("mes") else ""
        )
        seen = None
        if side and overlay is not None and not overlay.poor:
            seen = _look(picture, straight, steady, terminus, portal, overlay.side(portal.z, side == "distal"))
        if seen is None:
            found.append(PortalSeen(name, portal.z, Sight.NOT_SEEN, None, None, expected))
        else:
            found.append(PortalSeen(name, portal.z, Sight.THERE, seen, None, expected))
    return tuple(found)


def _look(
    picture: NDArray[np.float32], straight: Straight, steady: Profile, terminus: float, portal: Portal, way: Array
) -> Quantity | None:
    """Length of the bright line, mm; None when none stands out."""
    mm = straight.mm
    length = portal.length or 1.2
    r = np.arange(0.0, length, mm)
    stations = np.arange(max(portal.z - 3.0, 0.8), portal.z + 3.0, mm)
    lines = np.full((len(stations), len(r)), np.nan)
    for i, z in enumerate(stations):
        s = terminus - z
        if not straight.s[0] < s < straight.s[-1]:
            continue
        half = float(np.interp(s, straight.s, steady.width)) / 2 + 0.12
        normal = np.array([np.interp(s, straight.s, c) for c in straight.normal.T])
        out = normal * (1.0 if normal @ way >= 0 else -1.0)
        centre = straight.pixel(s, float(np.interp(s, straight.s, steady.centre)))
        at = centre + out * ((half + r) / mm)[:, None]
        lines[i] = map_coordinates(picture.astype(float), [at[:, 1], at[:, 0]], order=1, mode="nearest")
    size = max(int(WIDE / mm), 1)
    kernel = np.ones(size) / size
    blur = np.apply_along_axis(lambda c: np.convolve(c, kernel, mode="same"), 0, np.nan_to_num(lines))
    gap = 3 * size
    contrast = blur - (np.roll(blur, gap, axis=0) + np.roll(blur, -gap, axis=0)) / 2
    contrast[:gap], contrast[-gap:] = np.nan, np.nan
    inner = contrast[:, : max(int(0.4 / mm), 3)].mean(axis=1)
    near = np.abs(stations - portal.z) <= SEARCH
    away = np.abs(stations - portal.z) > SEARCH + 0.3
    if not near.any() or np.isfinite(inner[away]).sum() < 10 or not np.isfinite(inner[near]).any():
        return None
    spread = 1.4826 * float(np.nanmedian(np.abs(inner[away] - np.nanmedian(inner[away])))) + 1e-9
    best = int(np.nanargmax(np.where(near, inner, np.nan)))
    if inner[best] / spread < NEEDED:
        return None
    course = contrast[best]
    bright = course > 0.5 * float(np.max(course[: max(int(0.3 / mm), 2)]))
    end = int(np.argmin(bright)) if not bright.all() else len(bright)
    reach = 0.12 + end * mm
    return Quantity(reach, max(reach - 0.3, 0.0), reach + 0.3, "mm")
