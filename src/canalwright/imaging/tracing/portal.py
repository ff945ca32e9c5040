"""A side branch measured along its way: thinner than a voxel or not.

In planes across the way the missing grey is summed over a disc: sum (D - g) / (D - L) dA is the branch's area whatever the
blur, since the point spread moves grey about but keeps its sum. Dentine D is the median of the ring round the disc, the
lumen's grey L that of the main canal. Planes that the main lumen or the root's outside reach into are left out.
"""

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.found import FoundCanal, FoundPortal
from canalwright.imaging.refusal import refusal
from canalwright.imaging.tracing.block import Block, take
from canalwright.imaging.tracing.path import Tones, tones_of
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
CLEAR = 3.0
"""Signal over its error from which a branch counts as seen."""
WIDEST = 0.6
"""Greatest diameter measured, mm."""
REACH = 1.5


def measure_portal(scan: Scan, canal: FoundCanal, points: Array, *, kind: str = "lateral canal") -> FoundPortal:
    """The branch of `canal` along `points` (m, 3), LPS mm, from the canal out to the root's surface.

    Raises ScanError where the scan shows no branch there.
    """
    points = np.asarray(points, float)
    block = take(scan, points, REACH)
    main = take(scan, np.array([canal.orifice, canal.terminus]), REACH + 2.0)
    tones = tones_of(main, canal.orifice, canal.terminus)
    return measured(block, tones, canal, points, kind=kind)


def measured(block: Block, tones: Tones, canal: FoundCanal, points: Array, *, kind: str) -> FoundPortal:
    """As `measure_portal`, in a block that holds the branch, with the greys of dentine and lumen known."""
    lumen = canal.lumen
    away = np.linalg.norm(lumen.centre - points[0], axis=1)
    at = int(np.argmin(away))
    if away[at] > lumen.major[at] / 2 + 1.0:
        raise refusal(
            block.name, f"the branch begins {away[at]:.1f} mm from {canal.name}", remedy="begin it in the canal"
        )
    way = np.vstack([lumen.centre[at], points])
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(way, axis=0), axis=1))])
    fine = np.arange(0.0, arc[-1] + 1e-9, min(0.05, 0.5 * block.voxel))
    path = np.column_stack([np.interp(fine, arc, c) for c in way.T])
    inside = np.linalg.norm(path - lumen.centre[at], axis=1) < _half(canal, at, points[-1] - lumen.centre[at])
    first = int(np.nonzero(~inside)[0][0]) if (~inside).any() else len(path) - 1
    length = float(fine[-1] - fine[first])
    area, error = _areas(block, tones, path[first:], 0.8 * block.voxel)
    if area <= CLEAR * error:
        raise refusal(
            block.name, f"no branch shows along the points (signal {max(area, 0) / error:.1f} times its error)",
            allowed=f"above {CLEAR:g}", remedy="pick the points on it again: no branch is made up",
        )  # fmt: skip
    diameter = float(2 * np.sqrt(area / np.pi))
    doubt = float(np.hypot(diameter * error / (2 * area), 0.05 * diameter + 0.05 * block.voxel))
    return FoundPortal(
        float(lumen.z[at]), path[first:], diameter, doubt, length, float(np.hypot(block.voxel, 0.1 * length)), kind
    )


def _half(canal: FoundCanal, at: int, way: Array) -> float:
    """Half width of the main lumen at a station along a direction."""
    lumen = canal.lumen
    way = way / max(float(np.linalg.norm(way)), 1e-9)
    along = float(lumen.axis[at] @ way)
    return float(np.hypot(lumen.major[at] / 2 * along, lumen.minor[at] / 2 * np.sqrt(max(1 - along**2, 0.0))))


def _areas(block: Block, tones: Tones, path: Array, spread: float) -> tuple[float, float]:
    """Mean section area of the branch (mm2) over its clear middle and the error of that mean."""
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    clear = 2.0 * spread
    low, high = (clear, arc[-1] - clear) if arc[-1] > 2.5 * clear else (0.4 * arc[-1], 0.6 * arc[-1])
    where = np.arange(low, high + 1e-9, 0.5 * block.voxel)
    points = np.column_stack([np.interp(where, arc, c) for c in path.T])
    tangent = np.gradient(path, axis=0) if len(path) > 2 else np.tile(path[-1] - path[0], (len(path), 1))
    ways = np.column_stack([np.interp(where, arc, c) for c in tangent.T])
    ways /= np.maximum(np.linalg.norm(ways, axis=1), 1e-12)[:, None]
    one = np.cross(ways, np.eye(3)[int(np.argmin(np.abs(ways).sum(axis=0)))])
    one /= np.linalg.norm(one, axis=1)[:, None]
    two = np.cross(ways, one)
    step = min(0.5 * block.voxel, 0.05)
    inner = _radius(block, tones, points, (one, two), spread)
    outer = inner + max(1.5 * block.voxel, 0.1)
    line = np.arange(-outer, outer + step, step)
    u, v = np.meshgrid(line, line)
    rho = np.hypot(u, v)
    disc, ring = rho <= inner, (rho > inner) & (rho <= outer)
    grey = block.sample(points[:, None, None] + u[..., None] * one[:, None, None] + v[..., None] * two[:, None, None])
    dentine = np.median(grey[:, ring], axis=1)
    contrast = np.maximum(dentine - tones.lumen, 0.3 * tones.contrast)
    missing = (dentine[:, None] - grey[:, disc]).sum(axis=1) / contrast * step**2
    across = np.pi * inner**2 / block.voxel**2
    along = max((high - low) / block.voxel, 1.0)
    noise = (
        tones.noise
        / tones.contrast
        * block.voxel**2
        * np.sqrt(across * (1 + across / max(1.0, ring.sum() / disc.sum() * across)))
    )
    usual = float(np.median(missing))
    return usual, float(1.25 * noise / np.sqrt(along))


def _radius(block: Block, tones: Tones, points: Array, across: tuple[Array, Array], spread: float) -> float:
    """Radius of the disc (mm): where the mean profile across the branch has come back to dentine, and a spread more."""
    r = np.arange(0.0, WIDEST, 0.25 * block.voxel)
    turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    ways = np.cos(turn)[:, None, None] * across[0] + np.sin(turn)[:, None, None] * across[1]
    grey = block.sample(points + r[:, None, None, None] * ways)
    profile = np.median(grey, axis=(1, 2))
    back = np.nonzero(profile > tones.dentine - 0.08 * tones.contrast)[0]
    edge = float(r[back[0]]) if len(back) else WIDEST
    return min(max(edge, 1.5 * spread), WIDEST)
