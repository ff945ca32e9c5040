"""The lumen after the finishing file: union of the native lumen and the file's envelope.

Equation: at each station the shaped section is (ellipse of the native widths) union (circle of the
file's diameter there), both about the centreline. Source: geometry; see `section`. Leaves out:
transportation towards the outer wall, wobble, wear. Checked: sections from circle in oval to oval in circle.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.instruments import File
from canalwright.shaping.envelope import envelope
from canalwright.shaping.section import union_area
from canalwright.shaping.wall import thinned

Array = NDArray[np.float64]


def shaped(canal: Canal) -> Lumen:
    """The nominal lumen after `canal.file` was taken to z = `canal.end`.

    Centreline and axis stay. `wall` is what remains on the thin side (see `remaining_dentine`; here not below 0).
    `area` adds to the measured native area what the file cut outside the native ellipse.
    """
    native = canal.native
    cut = envelope(canal.file, native.z, canal.end)
    minor, major = np.maximum(native.minor, cut), np.maximum(native.major, cut)
    ellipse = np.pi / 4 * native.minor * native.major
    added = union_area(native.minor, native.major, cut) - ellipse
    return replace(
        native,
        minor=minor,
        major=major,
        area=np.maximum(native.area + added, np.pi / 4 * cut**2),
        wall=np.maximum(thinned(native.wall, native.minor, cut), 0.0),
    )


def shaped_widths(
    z: Array, minor: Array, major: Array, file: File, end: float, offset: ArrayLike = 0.0
) -> tuple[Array, Array]:
    """Minor and major width after the file, for many draws at once.

    `minor`, `major` have shape (n,) or (d, n), `offset` is a number or shape (d,). Raises ValueError
    where the numbers of stations differ.
    """
    if np.shape(minor)[-1] != len(z) or np.shape(major)[-1] != len(z):
        raise ValueError(
            f"{len(z)} stations but widths {np.shape(minor)} and {np.shape(major)}: the last axis is the station"
        )
    cut = envelope(file, z, end, offset)
    return np.maximum(minor, cut), np.maximum(major, cut)
