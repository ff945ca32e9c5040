"""A solid and its protocol as one draw of the measurements has them."""

from collections.abc import Mapping

import numpy as np

from canalwright.heat.materials import Materials
from canalwright.heat.solid.tissue import Solid

LEAST_BORE = 0.1
"""A drawn canal is at least this wide (radius), mm."""


def moved(solid: Solid, wall: float = 0.0, width: float = 0.0) -> Solid:
    """The solid with its root surface `wall` mm further out and its canal `width` mm wider, in all directions, as
    `heat.simulate_many` takes the two: the dentine gains `wall - width / 2`. A canal never gets narrower than 0.1 mm in radius.
    """
    if wall == 0.0 and width == 0.0:
        return solid
    half = max(width / 2, LEAST_BORE - float(solid.bore.min())) if width < 0 else width / 2
    canal = solid.canal - np.float32(half)
    foot = np.maximum(canal, -solid.station)
    past = solid.station > solid.length
    canal = np.where(past, solid.canal, foot)
    root, own = (
        np.where(past, f, np.minimum(np.maximum(f - np.float32(wall), -solid.station), canal))
        for f in (solid.root, solid.own)
    )
    return solid.with_(
        canal=np.asarray(canal, np.float32),
        root=np.asarray(root, np.float32),
        own=np.asarray(own, np.float32),
        bore=solid.bore + half,
    )


def halved(solid: Solid, towards: float | None = None) -> Solid:
    """The solid with half of its dentine gone from outside: all round, or most `towards` a direction [deg], half as much at 60 deg from it
    and none at right angles and beyond. Tooth above the orifice stays.
    """
    gone = 1.0 if towards is None else np.maximum(np.cos(solid.angle - np.radians(towards)), 0.0)
    within = (solid.station <= solid.length) & (solid.station > -1.0)
    own = np.where(within, solid.own + gone * (solid.canal - solid.own) / 2, solid.own)
    own = np.minimum(np.maximum(own, -solid.station), np.maximum(solid.canal, solid.own))
    root = np.where(solid.root < solid.own, np.minimum(solid.root, own), own)
    return solid.with_(own=np.asarray(own, np.float32), root=np.asarray(root, np.float32))


def materials_of(base: Materials, values: Mapping[str, float]) -> Materials:
    """`base` with the drawn properties among `values`; offsets of the geometry are left to `moved`."""
    return Materials.of(
        {**{n: getattr(base, n) for n in vars(base)}, **{n: v for n, v in values.items() if hasattr(base, n)}}
    )
