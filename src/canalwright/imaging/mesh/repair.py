"""Mending of exported meshes: what can be mended without moving the surface.

In order: vertices at one place become one (an STL repeats each; not worth a word); faces without area
and doubled faces go; stray scraps go; faces are turned to agree with their neighbours and outwards;
open edges are closed by a fan to the middle of the hole. Self-overlaps stay: voxels fill over them,
and sections take the loop about the canal.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

Array = NDArray[np.float64]
Faces = NDArray[np.int64]

SCRAP = 0.02
"""A piece with less than this share of the area of the greatest piece is a scrap."""


def mend(vertices: Array, faces: Faces) -> tuple[Array, Faces, tuple[str, ...]]:
    """Mend a mesh; what was done comes back in words."""
    done: list[str] = []
    vertices, faces = merge(vertices, faces)
    count = len(faces)
    faces = _no_empty(vertices, faces)
    if len(faces) < count:
        done.append(f"{count - len(faces)} empty or doubled faces dropped")
    if not len(faces):
        return vertices, faces, tuple(done)
    faces, scraps = _no_scraps(vertices, faces)
    if scraps:
        done.append(f"{scraps} stray scraps dropped")
    faces, turned = _agree(vertices, faces)
    if turned:
        done.append("faces turned outwards")
    vertices, faces, holes = close(vertices, faces)
    if holes:
        done.append(f"{holes} holes closed")
    vertices, faces = _used(vertices, faces)
    return vertices, faces, tuple(done)


def merge(vertices: Array, faces: Faces) -> tuple[Array, Faces]:
    """Vertices within 1e-5 mm become one; the order follows their coordinates, not the file."""
    keys = np.round(vertices, 5)
    unique, inverse = np.unique(keys, axis=0, return_inverse=True)
    return unique, inverse.reshape(-1)[faces]


def pieces(faces: Faces, count: int) -> NDArray[np.int64]:
    """Number of the connected piece of each face, shape (m,), pieces joined by shared vertices."""
    links = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]]])
    graph = sparse.csr_matrix((np.ones(len(links)), links.T), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1][faces[:, 0]], dtype=np.int64)


def face_areas(vertices: Array, faces: Faces) -> Array:
    """Area of each face, mm2."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    return np.asarray(np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2)


def close(vertices: Array, faces: Faces) -> tuple[Array, Faces, int]:
    """Close each open edge loop with a fan of triangles to its middle."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    key = np.sort(edges, axis=1)
    order = np.lexsort((key[:, 1], key[:, 0]))
    key, edges = key[order], edges[order]
    new = np.concatenate([[True], (key[1:] != key[:-1]).any(axis=1)])
    counts = np.diff(np.append(np.nonzero(new)[0], len(key)))
    rim = edges[new][counts == 1]
    follow = {int(a): int(b) for b, a in rim}  # the hole runs against the faces around it
    extra_v, extra_f, holes = [], [], 0
    while follow:
        start = min(follow)
        loop = [start]
        while (after := follow.pop(loop[-1], None)) is not None and after != start:
            loop.append(after)
        if after != start or len(loop) < 3:
            continue
        middle = len(vertices) + holes
        extra_v.append(vertices[loop].mean(axis=0))
        extra_f += [(a, b, middle) for a, b in zip(loop, loop[1:] + loop[:1], strict=True)]
        holes += 1
    if not holes:
        return vertices, faces, 0
    return np.vstack([vertices, extra_v]), np.vstack([faces, extra_f]), holes


def _no_empty(vertices: Array, faces: Faces) -> Faces:
    distinct = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    faces = faces[distinct]
    _, first = np.unique(np.sort(faces, axis=1), axis=0, return_index=True)
    return faces[np.sort(first)]


def _no_scraps(vertices: Array, faces: Faces) -> tuple[Faces, int]:
    piece = pieces(faces, len(vertices))
    names, index = np.unique(piece, return_inverse=True)
    area = np.bincount(index.reshape(-1), weights=face_areas(vertices, faces))
    keep = area >= SCRAP * area.max()
    return faces[keep[index.reshape(-1)]], int(len(names) - keep.sum())


def _agree(vertices: Array, faces: Faces) -> tuple[Faces, bool]:
    import trimesh  # here, since it is large

    mesh: Any = trimesh.Trimesh(vertices, faces, process=False, validate=False)
    repair: Any = trimesh.repair
    turned = False
    if not mesh.is_winding_consistent:
        repair.fix_winding(mesh)
        turned = True
    faces = np.array(mesh.faces, dtype=np.int64)
    piece = pieces(faces, len(vertices))
    for one in np.unique(piece):
        these = piece == one
        a, b, c = (vertices[faces[these, i]] - vertices[faces[these, 0]].mean(axis=0) for i in range(3))
        if np.einsum("ij,ij->", a, np.cross(b, c)) < 0:
            faces[these] = faces[these][:, ::-1]
            turned = True
    return faces, turned


def _used(vertices: Array, faces: Faces) -> tuple[Array, Faces]:
    used, index = np.unique(faces, return_inverse=True)
    return vertices[used], index.reshape(faces.shape).astype(np.int64)
