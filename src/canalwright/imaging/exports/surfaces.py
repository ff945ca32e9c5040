"""Surfaces for other programs: the lumen of a canal, the outside of the tooth, its pulp with the chamber.

Points stay in scan space (LPS mm), as STL, OBJ, PLY and GLB files know no space of their own. A lumen is made of the measured
ellipses, finer than a voxel. Tooth and pulp are level sets of the greys (marching cubes, Lewiner et al. 2003, J Graph Tools
8:1): good to about half a voxel, for looking at, printing and teaching, not for walls, which are measured ray by ray.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_erosion, map_coordinates
from skimage.measure import marching_cubes

from canalwright.imaging.errors import ImagingError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.tooth.body import DARK
from canalwright.imaging.tooth.outline import STEP, Tooth

if TYPE_CHECKING:
    from trimesh import Trimesh  # loaded where a surface is made: it is large, and most who read a scan write none

Array = NDArray[np.float64]
AROUND = 48
SURFACES = (".stl", ".obj", ".ply", ".glb", ".gltf")
FINEST = 0.1
"""Side of the cubes that a level set is made on, mm: the voxel's, but no less."""
EDGE = 0.45
"""How far outside the level of `DARK` the edge lies, in voxels: a Gaussian edge (0.85 voxels wide, blur and voxel together)
is 0.52 of its width from there to its middle. The middle itself drowns in bone where the ligament is thin."""
_march: Any = marching_cubes


def lumen_surface(found: FoundCanal) -> "Trimesh":
    """The lumen as a closed surface of ellipses, LPS mm."""
    lumen = found.lumen
    tangent = np.gradient(lumen.centre, lumen.z, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    other = np.cross(tangent, lumen.axis)
    turn = np.linspace(0, 2 * np.pi, AROUND, endpoint=False)
    # the same corner must lie in the same direction at every station: an axis may turn by half a circle
    sign = np.cumprod(
        np.concatenate([[1.0], np.where(np.sum(lumen.axis[1:] * lumen.axis[:-1], axis=1) < 0, -1.0, 1.0)])
    )
    a = (lumen.major / 2 * sign)[:, None, None] * lumen.axis[:, None]
    b = (lumen.minor / 2 * sign)[:, None, None] * other[:, None]
    rings = lumen.centre[:, None] + np.cos(turn)[:, None] * a + np.sin(turn)[:, None] * b
    n = lumen.size
    k = np.arange(AROUND)
    quads = np.array([[i * AROUND + k, i * AROUND + (k + 1) % AROUND] for i in range(n - 1)])
    low, high = quads.transpose(1, 0, 2).reshape(2, -1)
    faces = np.vstack(
        [np.column_stack([low, high, high + AROUND]), np.column_stack([low, high + AROUND, low + AROUND])]
    )
    first, last = n * AROUND, n * AROUND + 1
    end = (n - 1) * AROUND
    caps = np.vstack(
        [np.column_stack([np.full(AROUND, first), (k + 1) % AROUND, k]),
         np.column_stack([np.full(AROUND, last), end + k, end + (k + 1) % AROUND])]
    )  # fmt: skip
    points = np.vstack([rings.reshape(-1, 3), lumen.centre[[0, -1]]])
    from trimesh import Trimesh

    return Trimesh(points, np.vstack([faces, caps]), process=False)


def root_surface(tooth: Tooth) -> "Trimesh":
    """The outside of the tooth (root and crown), hollows filled, a closed surface, LPS mm."""
    core = binary_erosion(tooth.solid, iterations=2)
    reach = binary_dilation(tooth.solid, iterations=2)

    def field(dark: Array, inner: Array, outer: Array) -> Array:
        return np.where(inner > 0.5, 1.0, np.where(outer > 0.5, 1.0 - dark, 0.0))

    mesh = _level_set(tooth, field, (core, reach), 1.0 - DARK)
    mesh.vertices = mesh.vertices + EDGE * tooth.block.voxel * mesh.vertex_normals
    return mesh


def pulp_surface(tooth: Tooth) -> "Trimesh":
    """The pulp with its chamber as far down as half the contrast shows it, a closed surface, LPS mm."""
    near = binary_dilation(tooth.pulp, iterations=2) & tooth.solid

    def field(dark: Array, where: Array, solid: Array) -> Array:
        return np.where((where > 0.5) & (solid > 0.5), dark, 0.0)

    return _level_set(tooth, field, (near, tooth.solid), 0.5)


def _level_set(tooth: Tooth, field: Any, masks: tuple[Any, Any], level: float) -> "Trimesh":
    """Largest closed piece of the surface on which `field(darkness, *masks)` crosses `level`."""
    step = float(np.clip(tooth.block.voxel, FINEST, STEP))
    size = np.floor((np.array(tooth.solid.shape) - 1) * STEP / step).astype(int) + 1
    z, y, x = np.meshgrid(*(step / STEP * np.arange(n) for n in size), indexing="ij")
    nodes = np.stack([z, y, x])
    flat = nodes.reshape(3, -1).T
    dark = tooth.darkness(tooth.place(flat)).reshape(z.shape)
    parts = [map_coordinates(m.astype(np.float32), nodes, order=1, mode="constant") for m in masks]
    values = np.pad(field(dark, *parts).astype(np.float32), 1)
    points, faces, _, _ = _march(values, level)
    from trimesh import Trimesh

    mesh = Trimesh(tooth.place((points - 1) * step / STEP), faces, process=True)
    pieces = mesh.split(only_watertight=True)
    largest = max(pieces, key=lambda p: abs(p.volume)) if len(pieces) else mesh
    if largest.volume < 0:
        largest.invert()
    return largest


def write_surface(found: "FoundCanal | Trimesh", path: str | Path) -> Path:
    """Write a canal's lumen, or a surface, as STL, OBJ, PLY, GLB or glTF, by the file's ending.

    Raises ImagingError for another ending.
    """
    path = Path(path)
    if path.suffix.lower() not in SURFACES:
        raise ImagingError(f"{path}: ending {path.suffix!r}; allowed: {', '.join(SURFACES)}; give one of these")
    mesh = lumen_surface(found) if isinstance(found, FoundCanal) else found
    if path.suffix.lower() == ".gltf":
        # its buffers would go to files beside it: inside it they stay together
        from trimesh import Scene
        from trimesh.exchange.gltf import export_gltf

        export: Any = export_gltf
        made = export(Scene(mesh), embed_buffers=True)
        path.write_bytes(made["model.gltf"])
    else:
        mesh.export(path)
    return path
