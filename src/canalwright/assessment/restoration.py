"""What the filled root still allows: a post, a ferrule, and where the filling should have stopped for it.

A post is a straight cylinder along the canal's coronal axis. At each station z the dentine left on its thin side is

    t(z) = r(z) - a(z) - d / 2

r the radius of a round root with the canal's least wall, a the distance of the canal's centreline from that axis, d the post's
diameter. The post ends where t falls below 1 mm, or where 5 mm (at least 4) of filling would no longer be left below it,
whichever comes first.

Limits: filling left 4-5 mm, Ricketts, Tait & Higgins 2005, Br Dent J 198:463-471; dentine about a post 1 mm (common practice); ferrule
1.5-2 mm high (common practice; fracture load rose with it, 153 N at 1 mm to 238 N at 2 mm, J Adv Prosthodont 2017, PMC5673608)
and 1 mm thick (common practice); post at least as long as the crown, and half of the root that stands in bone (textbooks, from memory).

Left out: strength of post and tooth under load, and heat when a post is bonded later: light and setting warm the top of the filling from
above, some kelvin for a minute, which is far less than the filling took, but no model here says so.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.perturb import departures
from canalwright.quantities import Origin, Quantity, Source
from canalwright.shaping import shaped

Array = NDArray[np.float64]
LEFT, LEFT_LEAST = 5.0, 4.0
DENTINE = 1.0
FERRULE, FERRULE_LEAST, FERRULE_THICK = 2.0, 1.5, 1.0
SHORTEST = 3.0
"""A post shorter than this in the canal is none (our own)."""
DIAMETERS = (0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8)
Z90 = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class Post:
    """A post of `diameter` that ends at station `z` (depth from the reference point: `depth`), `length` mm in the canal, with `left` mm of
    filling below it. `cut`: widest layer that its way takes off the canal's wall, mm; `stopped` what ends it; `works` whether it is one.
    """

    diameter: float
    z: float
    depth: Quantity
    length: Quantity
    left: Quantity
    cut: float
    stopped: str

    @property
    def works(self) -> bool:
        """Long enough to be a post, with filling enough below it."""
        return self.length.value >= SHORTEST and self.left.value >= LEFT_LEAST


@dataclass(frozen=True, slots=True)
class Told:
    """One rule: whether it holds (None: not known), and in words what is wrong or missing."""

    rule: str
    holds: bool | None
    words: str


@dataclass(frozen=True)
class Restoration:
    """`posts` by diameter, the `best` of them (the longest; of equal length the one that cuts least), `told` rule by rule, `stop`: depth at
    which a backfill should stop for the best post, from the reference point.
    """

    posts: tuple[Post, ...]
    best: Post | None
    told: tuple[Told, ...]
    stop: Quantity | None
    leaves_out: tuple[str, ...] = (
        "strength of post and tooth under load",
        "heat when a post is bonded later",
        "a root that is not round about its canal: its grooves are thinner than the wall that was measured",
    )


def restoration(
    canal: Canal,
    filled_to: float,
    *,
    ferrule: float | None = None,
    thickness: float | None = None,
    crown: float | None = None,
    filled_top: float | None = None,
) -> Restoration:
    """Post and ferrule of a canal filled from station `filled_to` (its apical end, never below the terminus) up.

    `ferrule` height and `thickness` of sound dentine above the crown's margin, `crown` height, mm, where known. `filled_top`: station of
    the top of the filling, where it is known: a filling that ends deeper than the post should leave a gap.
    Raises ValueError for lengths that cannot be.
    """
    for name, value, most in (("ferrule", ferrule, 10.0), ("thickness", thickness, 6.0), ("crown", crown, 15.0)):
        if value is not None and not 0 <= value <= most:
            raise ValueError(f"{name} {value:g} mm, allowed 0 to {most:g} mm: measure it again")
    bottom = max(filled_to, 0.0)
    posts = tuple(_post(canal, bottom, d) for d in DIAMETERS)
    working = [p for p in posts if p.works]
    best = max(working, key=lambda p: (round(p.length.value, 1), -p.cut, p.diameter), default=None)
    told = list(_rules(canal, best, crown, filled_top))
    told += [_ferrule(ferrule), _thick(thickness)]
    return Restoration(posts, best, tuple(told), best.depth if best else None)


def _post(canal: Canal, bottom: float, diameter: float) -> Post:
    top = canal.orifice if canal.orifice > 0 else float(canal.native.z[-1])
    reading = canal.errors.get("wall")
    error = reading.error if reading is not None else 0.0
    levels = [_level(canal, diameter, top, wall) for wall in (0.0, -Z90 * error, Z90 * error)]
    allowed = bottom + LEFT
    z, (shallow, deep) = max(levels[0], allowed), (max(levels[1], allowed), max(levels[2], allowed))
    source = Source(Origin.COMPUTED, "dentine of 1 mm about the post, 5 mm of filling below it")
    least = bottom + LEFT_LEAST
    stopped = "filling to be left below it" if allowed >= levels[0] else "dentine about it"
    lumen = shaped(canal)
    there = (lumen.z >= z) & (lumen.z <= top)
    away = np.linalg.norm(departures(canal.native), axis=1)
    cut = float(np.max((away + diameter / 2 - lumen.minor / 2)[there], initial=0.0))
    length = canal.length.value

    def ordered(value: float, one: float, other: float) -> Quantity:
        return Quantity(value, min(value, one, other), max(value, one, other), "mm", source)

    return Post(
        diameter,
        z,
        ordered(length - z, length - shallow, length - max(min(deep, z), least)),
        ordered(max(top - z, 0.0), max(top - shallow, 0.0), max(top - deep, 0.0)),
        ordered(z - bottom, shallow - bottom, deep - bottom),
        max(cut, 0.0),
        stopped,
    )


def _level(canal: Canal, diameter: float, top: float, thinner: float) -> float:
    """The deepest station down to which the dentine about a post stays at 1 mm; `top` where it does nowhere."""
    lumen = canal.native
    away = np.linalg.norm(departures(lumen), axis=1)
    left = lumen.minor / 2 + lumen.wall + thinner - away - diameter / 2
    here = lumen.z <= top + 1e-9
    z, ok = lumen.z[here], left[here] >= DENTINE
    thin = np.flatnonzero(~ok)
    if not len(thin):
        return float(z[0])
    return float(z[thin[-1] + 1]) if thin[-1] + 1 < len(z) else top


def _rules(canal: Canal, best: Post | None, crown: float | None, filled_top: float | None) -> tuple[Told, ...]:
    if best is None:
        return (Told("post", False, "no post leaves 1 mm of dentine and 4 mm of filling: hold the core otherwise"),)
    left = best.left.value
    found = [
        Told(
            "filling left",
            left >= LEFT_LEAST,
            f"{left:.1f} mm of filling stay below the post, 5 mm wanted, 4 mm at least",
        ),
        Told("way in", best.cut < 0.3, f"the post's way takes up to {best.cut:.1f} mm off the canal's wall"),
    ]
    if crown is not None:
        words = f"{best.length.value:.1f} mm in the canal for a crown of {crown:.1f} mm"
        found.append(Told("crown", best.length.value >= crown, words))
    else:
        found.append(Told("crown", None, "height of the crown not given: a post wants to be as long"))
    if canal.crest is not None:
        half = (canal.crest - best.z) >= canal.crest / 2
        found.append(
            Told(
                "bone",
                half,
                f"the post reaches {max(canal.crest - best.z, 0):.1f} mm below the crest of bone, half of {canal.crest:.1f} mm wanted",
            )
        )
    if filled_top is not None:
        gap = best.z - filled_top
        if gap > 0.3:
            found.append(
                Told(
                    "gap",
                    False,
                    f"the filling ends {gap:.1f} mm below the post's end: an empty space would stay between",
                )
            )
    return tuple(found)


def _ferrule(height: float | None) -> Told:
    if height is None:
        return Told("ferrule", None, "height of the ferrule not given: 2 mm wanted, 1.5 mm at least")
    holds = True if height >= FERRULE else None if height >= FERRULE_LEAST else False
    return Told("ferrule", holds, f"ferrule of {height:.1f} mm, 2 mm wanted, 1.5 mm at least")


def _thick(thickness: float | None) -> Told:
    if thickness is None:
        return Told("thickness", None, "thickness of the ferrule not given: 1 mm at least")
    return Told("thickness", thickness >= FERRULE_THICK, f"ferrule {thickness:.1f} mm thick, 1 mm at least")
