"""Surface meshes of a tooth from STL, PLY or OBJ files, as any general imaging program writes them.

`read_surface` checks that the file is whole, then mends what such files suffer from (see
`mesh_repair`). Lengths must be mm: files of this kind do not say their unit, so a size that no
tooth has is refused.
"""

import io
import struct
import warnings
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.errors import SurfaceError
from canalwright.imaging.mesh.repair import mend
from canalwright.imaging.refusal import silent

Array = NDArray[np.float64]
Faces = NDArray[np.int64]

KINDS = {".stl": "stl", ".ply": "ply", ".obj": "obj"}
LEAST, MOST = 5.0, 40.0
"""Greatest extent that a tooth or its lumen may have, mm."""
LARGEST_FILE = 400_000_000


@dataclass(frozen=True)
class Surface:
    """A mended mesh: `vertices` (n, 3) mm, `faces` (m, 3) indices, and what was mended, in words."""

    vertices: Array = field(repr=False)
    faces: Faces = field(repr=False)
    file: str = "surface"
    mended: tuple[str, ...] = ()

    @property
    def extent(self) -> float:
        """Longest side of the box around it, mm."""
        return float(np.ptp(self.vertices, axis=0).max())

    @property
    def volume(self) -> float:
        """Enclosed volume by the divergence theorem, mm3; means something for a closed surface."""
        a, b, c = (self.vertices[self.faces[:, i]] - self.vertices.mean(axis=0) for i in range(3))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)

    @property
    def edge(self) -> float:
        """Median edge length, mm."""
        p = self.vertices[self.faces]
        return float(np.median(np.linalg.norm(p - np.roll(p, 1, axis=1), axis=2)))


def read_surface(path: str | Path) -> Surface:
    """Read one mesh file (.stl text or binary, .ply, .obj; mm).

    Raises SurfaceError for a missing, unreadable, truncated or empty file, or one not the size of a tooth.
    """
    path = Path(path)
    kind = KINDS.get(path.suffix.lower())
    if kind is None:
        raise SurfaceError(f"{path}: not a mesh file by its name; allowed: .stl, .ply, .obj; export it as one of these")
    if not path.is_file():
        raise SurfaceError(f"{path}: no such file; check the path")
    if not 0 < path.stat().st_size <= LARGEST_FILE:
        raise SurfaceError(
            f"{path}: {path.stat().st_size} bytes; allowed: 1 to {LARGEST_FILE}; export the surface again, coarser"
        )
    data = path.read_bytes()
    if kind == "stl":
        _whole_stl(data, path)
    import trimesh  # here, since it is large and most that is read is a scan

    try:
        with silent("trimesh.util"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            mesh: Any = trimesh.load(io.BytesIO(data), file_type=kind, process=False, force="mesh", skip_materials=True)
        vertices, faces = np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces, dtype=np.int64)
    except Exception as error:  # a reader of foreign files may fail in any way
        raise SurfaceError(
            f"{path}: cannot be read as a mesh ({_first_line(error)}); it is damaged, cut short or not a mesh: "
            "export it again"
        ) from None
    if kind == "ply":
        _whole_ply(data, len(vertices), len(faces), path)
    return make_surface(vertices, faces, file=str(path))


def make_surface(vertices: Array, faces: Faces, *, file: str = "surface") -> Surface:
    """A mended `Surface` from arrays: vertices (n, 3) mm, faces (m, 3).

    Raises SurfaceError when there are no faces, when a number is not finite, when an index points
    nowhere, or when the size is not that of a tooth (5 to 40 mm).
    """
    vertices, faces = np.asarray(vertices, dtype=float), np.asarray(faces, dtype=np.int64)
    if vertices.ndim != 2 or faces.ndim != 2 or vertices.shape[1:] != (3,) or faces.shape[1:] != (3,) or not len(faces):
        raise SurfaceError(f"{file}: holds no triangles; give a surface mesh, not points or an empty file")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise SurfaceError(f"{file}: a face names a vertex that is not there; the file is damaged: export it again")
    if not np.isfinite(vertices[np.unique(faces)]).all():
        raise SurfaceError(f"{file}: a vertex is not a finite number; the file is damaged: export it again")
    vertices, faces, mended = mend(vertices, faces)
    if not len(faces):
        raise SurfaceError(f"{file}: all its triangles are empty; export the surface again")
    surface = Surface(vertices, faces, file, mended)
    _tooth_sized(surface)
    return surface


def _tooth_sized(surface: Surface) -> None:
    size = surface.extent
    if LEAST <= size <= MOST:
        return
    guess = next(
        (unit for unit, scale in (("metres", 1e3), ("micrometres", 1e-3), ("inches", 25.4), ("centimetres", 10.0))
         if 8 <= size * scale <= 32),
        "",
    )  # fmt: skip
    hint = f" (as {guess} it would fit)" if guess else ""
    raise SurfaceError(
        f"{surface.file}: longest side {size:.4g}; allowed: {LEAST:.0f} to {MOST:.0f} mm{hint}; "
        "export one tooth with lengths in mm"
    )


def _whole_stl(data: bytes, path: Path) -> None:
    """Refuse an STL that ends before its last facet: many readers would take what is left for the whole."""
    count = struct.unpack("<I", data[80:84])[0] if len(data) >= 84 else -1
    if count >= 0 and len(data) == 84 + 50 * count:
        return
    if data[:512].lstrip().lower().startswith(b"solid") and b"facet" in data[:2048]:
        opened, closed = data.count(b"facet normal"), data.count(b"endfacet")
        if opened != closed or b"endsolid" not in data[-1024:]:
            raise SurfaceError(f"{path}: cut short after {closed} triangles; copy or export it again")
        return
    if count >= 0 and len(data) > 84:
        raise SurfaceError(
            f"{path}: says {count} triangles but has bytes for {max(0, len(data) - 84) // 50}; "
            "it is cut short or not an STL: export it again"
        )
    raise SurfaceError(f"{path}: not an STL file; export the surface as STL, PLY or OBJ")


def _whole_ply(data: bytes, vertices: int, faces: int, path: Path) -> None:
    head = data[: data.find(b"end_header")].split()
    said = {name: head[i + 2] for i, name in enumerate(head[1:]) if head[i] == b"element" and i + 2 < len(head)}
    short = said.get(b"vertex", b"0").isdigit() and int(said.get(b"vertex", b"0")) > vertices
    if short or (said.get(b"face", b"0").isdigit() and int(said.get(b"face", b"0")) > faces):
        raise SurfaceError(f"{path}: fewer vertices or faces than its header says; it is cut short: export it again")


def _first_line(error: Exception) -> str:
    text = str(error).strip().splitlines()
    return (text[0] if text else type(error).__name__)[:80]
