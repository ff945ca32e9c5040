"""Whether two meshes are the lumen and the dentine of one tooth."""

import numpy as np

from canalwright.imaging.errors import SurfaceError
from canalwright.imaging.mesh.outer import Outer
from canalwright.imaging.mesh.repair import pieces
from canalwright.imaging.mesh.surfaces import Surface

WITHIN = 0.9
"""Share of the lumen's vertices that must lie inside the tooth."""
MOST_LUMEN = 0.6
"""A lumen larger than this share of the dentine is no lumen."""
BODY = 0.2


def one_tooth(dentine: Surface) -> None:
    """Raises SurfaceError for two bodies side by side, each more than a fifth of the other by its box."""
    piece = pieces(dentine.faces, len(dentine.vertices))
    boxes = []
    for one in np.unique(piece):
        points = dentine.vertices[np.unique(dentine.faces[piece == one])]
        boxes.append((points.min(axis=0), points.max(axis=0)))
    boxes.sort(key=lambda box: -float(np.prod(box[1] - box[0])))
    low, high = boxes[0]
    for other_low, other_high in boxes[1:]:
        size = float(np.prod(other_high - other_low)) / float(np.prod(high - low))
        middle = (other_low + other_high) / 2
        if size > BODY and ((middle < low).any() or (middle > high).any()):
            raise SurfaceError(
                f"{dentine.file}: two bodies side by side; allowed: the dentine of one tooth; export each tooth alone"
            )


def belong_together(lumen: Surface, dentine: Surface, enamel: Surface | None, outer: Outer) -> None:
    """Raises SurfaceError when the lumen is not inside the dentine, or the enamel does not touch it."""
    low, high = dentine.vertices.min(axis=0), dentine.vertices.max(axis=0)
    boxed = float(((lumen.vertices >= low) & (lumen.vertices <= high)).all(axis=1).mean())
    within = min(boxed, float(outer.tooth.holds(lumen.vertices).mean()))
    share = abs(lumen.volume) / max(abs(dentine.volume), 1e-9)
    if within < WITHIN or share > MOST_LUMEN or not len(outer.corners):
        raise SurfaceError(
            f"{lumen.file}: the lumen does not lie inside the dentine {dentine.file} ({100 * within:.0f} % of it does, "
            f"its volume is {100 * share:.0f} %); allowed: at least {100 * WITHIN:.0f} %, "
            f"at most {100 * MOST_LUMEN:.0f} %; "
            "give both meshes of one tooth, in one coordinate system, the lumen first"
        )
    if enamel is not None:
        apart = np.maximum(enamel.vertices.min(axis=0) - high, low - enamel.vertices.max(axis=0))
        gap = float(np.linalg.norm(np.maximum(apart, 0)))
        if gap > 0:
            raise SurfaceError(
                f"{enamel.file}: the enamel lies {gap:.1f} mm from the dentine {dentine.file}; "
                "give the enamel of the same tooth, in one coordinate system"
            )
