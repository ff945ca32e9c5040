"""A simulated filling as the browser plays it: small whole numbers, sent once.

Arrays over time and depth travel as 16-bit integers in base64 (`scale` says how many steps to the unit, `MISSING` what is not there); the
player interpolates between frames. Depths in mm from the reference point, temperatures deg C, time s, pressure MPa.
"""

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy import Canal
from canalwright.instruments import Profile
from canalwright.planning import CAUTION, Plan, Story
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Sear
from canalwright.report.palette import warmth
from canalwright.report.warmth import AXIS, SURFACE, Scale
from canalwright.report.words import act_words
from canalwright.web.words import ENGLISH, Words

Array = NDArray[np.float64]
MISSING = -32768
KINDS: dict[type[Act], str] = {
    Place: "place",
    Sear: "heat",
    Heat: "heat",
    Bite: "bite",
    Press: "press",
    Inject: "inject",
    Pause: "pause",
}


def film(plan: Plan, story: Story, words: Words = ENGLISH) -> dict[str, Any]:
    """All that the player needs, in plain JSON types."""
    heat, moved, canal = story.heat, story.compaction, plan.canal
    length, lumen = canal.length.value, plan.lumen
    return {
        "tooth": canal.tooth.code,
        "canal": canal.name,
        "basis": words("one run with the values as read"),
        "caution": words(CAUTION),
        "seconds": round(float(heat.time[-1]), 3),
        "time": _list(heat.time, 3),
        "depth": _list(length - heat.z, 3),
        "axis": _packed(heat.axis, 50),
        "surface": _packed(heat.surface, 500),
        "pressure": _packed(moved.pressure, 1000),
        "top": _list(length - heat.top),
        "front": _list(length - heat.front),
        "carrier": _list(length - heat.carrier_tip),
        "carrier_temperature": _list(heat.carrier_temperature, 1),
        "plugger": _list(length - heat.plugger_tip),
        "acts": [_act(a.act, a.start, a.end, canal, words) for a in heat.acts],
        "portals": [
            {
                "words": " ".join(filter(None, (words(p.direction) if p.direction else "", words(p.kind)))),
                "depth": round(canal.depth(p.z), 2),
                "length": round(float(moved.branch_length[i + 1]), 3),
                "sealer": _list(moved.portal_sealer[:, i + 1]),
                "gutta": _list(moved.portal_gutta[:, i + 1]),
            }
            for i, p in enumerate(moved.portals)
        ],
        "events": [
            {"time": round(e.time, 2), "depth": round(length - e.z, 2), "what": words(e.what)} for e in moved.events
        ],
        "lumen": {
            "depth": _list(length - lumen.z),
            "minor": _list(lumen.minor),
            "major": _list(lumen.major),
            "wall": _list(lumen.wall),
        },
        "floor": round(plan.cone.seat.value, 3),
        "start": round(float(heat.surface[0].max()), 2),
        "scales": {"axis": _scale(AXIS), "surface": _scale(SURFACE)},
    }


def _act(act: Act, start: float, end: float, canal: Canal, words: Words) -> dict[str, Any]:
    told: dict[str, Any] = {
        "kind": KINDS[type(act)],
        "words": words(act_words(act, canal)),
        "start": round(start, 3),
        "end": round(end, 3),
    }
    if isinstance(act, Sear | Heat):
        told |= {"tool": act.carrier.name, "profile": _profile(act.carrier.profile)}
    if isinstance(act, Press):
        told |= {"tool": act.plugger.name, "profile": _profile(act.plugger.profile)}
    return told


def _profile(profile: Profile) -> list[list[float]]:
    """Rows of distance from the tip and diameter."""
    return [[round(float(a), 3), round(float(b), 3)] for a, b in zip(profile.at, profile.diameter, strict=True)]


def _scale(scale: Scale) -> dict[str, Any]:
    """A colour scale: colours evenly from `cool` to `hot` by the temperature to the power `bend`."""
    return {
        "cool": scale.cool,
        "hot": scale.hot,
        "bend": scale.bend,
        "shown": list(scale.shown),
        "colours": [warmth(i / 31) for i in range(32)],
    }


def _packed(values: Array, scale: int) -> dict[str, Any]:
    whole = np.where(np.isfinite(values), np.clip(np.round(np.nan_to_num(values) * scale), -32767, 32767), MISSING)
    return {
        "scale": scale,
        "shape": list(values.shape),
        "data": base64.b64encode(whole.astype("<i2").tobytes()).decode(),
    }


def _list(values: Array, digits: int = 3) -> list[float | None]:
    return [round(float(v), digits) if np.isfinite(v) else None for v in values]
