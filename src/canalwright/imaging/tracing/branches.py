"""Side branches found: lateral canals, deltas and isthmuses as dark parts of the straightened root beside its lumen.

What is dark (hysteresis of `LOW` and `HIGH` of the contrast) inside the root and outside the lumens falls into pieces.
A piece that leaves the lumen and reaches the root's surface is a branch, one for each place where it comes out; one
that runs from a lumen to another lumen is an isthmus; one that does neither is left alone (a fin, a blind end, noise).
Three or more branches that come out within `DELTA` mm of the terminus are a delta.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.spatial import cKDTree
from skimage.graph import MCP_Geometric

from canalwright.imaging.errors import ScanError
from canalwright.imaging.found import FoundCanal, FoundPortal
from canalwright.imaging.tracing.block import take
from canalwright.imaging.tracing.path import Tones, tones_of
from canalwright.imaging.tracing.portal import measured
from canalwright.imaging.tracing.sheet import REACH, thickness
from canalwright.imaging.tracing.straight import Straight, straighten
from canalwright.imaging.vertucci import roots
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
LOW, HIGH = 0.2, 0.32
"""Share of the contrast from which a node may belong to a branch, and that its darkest node must reach; at least 3.5 and 6
times the noise.
"""
MOUTH = 2.0
"""Distance of two exits of one dark piece, in widths of the wider branch, up to which they are one: our own choice, after a
mouth of 0.107 mm that was told twice, 0.18 mm apart."""
DELTA = 3.0
FINE = 0.06
"""Voxel size (mm) up to which a scan is a micro-CT, whose side branches are looked for."""
EVERYWHERE = np.ones((3, 3, 3))
LEAST = 12
"""Nodes of the smallest piece that is looked at."""
UNSEEN = 0.01
"""Share of the root outside the volume from which it is told."""
END = 0.25
"""Length next to the terminus that is the canal's own way out, mm."""


@dataclass(frozen=True)
class _Piece:
    """Nodes (m, 3) of one dark piece; those at the lumen and at the skin, as flags (m,)."""

    nodes: NDArray[np.int_]
    inner: Mask
    outer: Mask


def find_portals(scan: Scan, canal: FoundCanal, others: Sequence[FoundCanal] = ()) -> FoundCanal:
    """The canal with the side branches that the scan shows, sorted from the terminus; as it is where none is seen.

    `others`: canals of the same root, to which an isthmus may lead. Branches thinner than about a voxel are not seen.
    Raises ScanError for a canal that was not traced in a scan (its root's surface is not known).
    """
    if canal.surface is None:
        raise ScanError(f"{canal.name}: its root's surface is not known; trace it in the scan first")
    main = take(scan, np.array([canal.orifice, canal.terminus]), 2.0)
    tones = tones_of(main, canal.orifice, canal.terminus)
    root = straighten(scan, canal, tones, others)
    edge = max(1.2 * float(scan.spacing.max()), 1.2 * root.step, 0.03)
    found: list[FoundPortal] = []
    noise = tones.noise / tones.contrast
    for piece in _pieces(root, edge, max(LOW, 3.5 * noise), max(HIGH, 6 * noise)):
        found += _isthmus(scan, canal, others, tones, root, piece)
        found += _branches(scan, canal, tones, root, piece)
    low = [p for p in found if p.kind == "lateral canal" and p.z < DELTA]
    if len(low) >= 3:
        found = [replace(p, kind="delta") if any(p is q for q in low) else p for p in found]
    notes = canal.notes
    if root.unseen > UNSEEN:
        notes += (
            f"{100 * root.unseen:.0f} % of the root about it lies outside the volume: side branches there are not seen",
        )
    return replace(canal, portals=tuple(sorted([*canal.portals, *found], key=lambda p: p.z)), notes=notes)


def _pieces(root: Straight, edge: float, least: float, most: float) -> list[_Piece]:
    own = root.low + np.arange(len(root.dark))[:, None, None] * root.step > END
    room = (root.skin > edge) & (root.beyond > edge) & own
    names, count = label((root.dark > least) & room, EVERYWHERE)
    if not count:
        return []
    sure = np.zeros(count + 1, bool)
    sure[np.unique(names[(root.dark > most) & room])] = True
    sure[0] = False
    flat = np.flatnonzero(sure[names])
    order = flat[np.argsort(names.ravel()[flat], kind="stable")]
    splits = np.flatnonzero(np.diff(names.ravel()[order])) + 1
    made = []
    for part in np.split(order, splits):
        if len(part) < LEAST:
            continue
        nodes = np.column_stack(np.unravel_index(part, names.shape))
        at = tuple(nodes.T)
        made.append(_Piece(nodes, root.beyond[at] < edge + 1.8 * root.step, root.skin[at] < edge + 1.8 * root.step))
    return made


def _branches(scan: Scan, canal: FoundCanal, tones: Tones, root: Straight, piece: _Piece) -> list[FoundPortal]:
    if not piece.inner.any() or not piece.outer.any():
        return []
    low = piece.nodes.min(0)
    grid = np.zeros(piece.nodes.max(0) - low + 1, bool)
    local = piece.nodes - low
    grid[tuple(local[piece.outer].T)] = True
    mouths, count = label(grid, EVERYWHERE)
    cost = np.full(grid.shape, 1e4)
    cost[tuple(local.T)] = 1 / np.clip(root.dark[tuple(piece.nodes.T)], 0.1, 1.0)
    route = MCP_Geometric(cost)
    far, _ = route.find_costs([tuple(int(n) for n in node) for node in local[piece.inner]])
    out = []
    for mouth in range(1, count + 1):
        # the first place at the surface, since a mouth may run on along it
        ends = np.argwhere(mouths == mouth)
        stop = ends[int(np.argmin(far[tuple(ends.T)]))]
        points = root.place(np.array(route.traceback(tuple(int(n) for n in stop))) + low)
        depth = float(root.skin[tuple(stop + low)])
        out += _portal(scan, canal, tones, _to_skin(points, depth, canal.crown), "lateral canal")
    return single(out)


def single(branches: Sequence[FoundPortal]) -> list[FoundPortal]:
    """The branches of one piece without those that come out beside a shorter one, within `MOUTH` of its widths: noise at the skin
    parts one mouth in two.
    """
    kept: list[FoundPortal] = []
    for one in sorted(branches, key=lambda p: p.length):
        if all(np.linalg.norm(one.path[-1] - k.path[-1]) > MOUTH * max(one.diameter, k.diameter) for k in kept):
            kept.append(one)
    return kept


def _isthmus(
    scan: Scan, canal: FoundCanal, others: Sequence[FoundCanal], tones: Tones, root: Straight, piece: _Piece
) -> list[FoundPortal]:
    """The piece as an isthmus to each other canal that it touches: its thickness (`sheet`), at its middle height."""
    made = []
    points = root.place(piece.nodes[piece.inner])
    for other in others:
        near, at = cKDTree(other.lumen.centre).query(points)
        mine, here = cKDTree(canal.lumen.centre).query(points)
        close, own = 0.25 + 2 * root.step, canal.lumen.major[here] / 2
        there = near < other.lumen.major[at] / 2 + close
        if there.sum() < 4 or (mine < own + close).sum() < 4:
            continue
        z = float(np.median(canal.lumen.z[here]))
        i, j = int(np.argmin(np.abs(canal.lumen.z - z))), int(np.median(at[there]))
        whole, dark = root.place(piece.nodes), root.dark[tuple(piece.nodes.T)]
        path = np.array([canal.lumen.centre[i], other.lumen.centre[j]])
        up = np.gradient(canal.lumen.centre, canal.lumen.z, axis=0)[i]
        width, doubt = thickness(take(scan, whole, REACH), tones, whole, dark, root.step, path[1] - path[0], up)
        span, voxel = float(np.linalg.norm(path[1] - path[0])), float(scan.spacing.max())
        made.append(FoundPortal(z, path, width, doubt, span, voxel, "isthmus", other.name))
    return made


def _portal(scan: Scan, canal: FoundCanal, tones: Tones, points: Array, kind: str) -> list[FoundPortal]:
    try:
        return [measured(take(scan, points, 1.0), tones, canal, points, kind=kind)]
    except ScanError:
        return []


def _to_skin(points: Array, depth: float, crown: Array) -> Array:
    """The way carried straight on to the root's surface, `depth` mm off across the root; a steep way goes on for longer."""
    back = points[max(0, len(points) - 8)]
    way = points[-1] - back
    size = float(np.linalg.norm(way))
    if size < 1e-9:
        return points
    way = way / size
    across = np.sqrt(max(1 - float(way @ crown) ** 2, 0.0))
    return np.vstack([points, points[-1] + depth / max(across, 0.4) * way])


def fine(scan: Scan) -> bool:
    """Whether the voxels are those of a micro-CT, in which side branches show."""
    return bool(scan.spacing.max() <= FINE)


def portals_of(scan: Scan, canals: Sequence[FoundCanal]) -> tuple[FoundCanal, ...]:
    """The canals with their side branches; an isthmus stands with the first of the two canals that it joins."""
    out: list[FoundCanal] = []
    for root in roots(canals):
        for n, canal in enumerate(root):
            seen = find_portals(scan, canal, [c for c in root if c is not canal])
            earlier = {c.name for c in root[:n]}
            kept = tuple(p for p in seen.portals if p.kind != "isthmus" or p.side not in earlier)
            out.append(replace(seen, portals=kept))
    order = [c.name for c in canals]
    return tuple(sorted(out, key=lambda c: order.index(c.name)))
