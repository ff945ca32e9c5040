"""Trade names for the canals found in a tooth, when the tooth and one direction are known.

A mesh does not say which side is buccal. Without a direction from the user the canals are numbered,
and say so. With the ISO 3950 code and one of `mesial` or `buccal`, the other follows from the crown
direction, as scans in patient coordinates are not mirrored.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.tooth import Tooth

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Directions:
    """Unit directions in scan space, at right angles to the crown direction."""

    mesial: Array
    buccal: Array


def directions(tooth: Tooth, crown: Array, mesial: Array | None, buccal: Array | None) -> Directions | None:
    """Both directions from the one that is given, None when neither is.

    For lower right and upper left teeth crown x buccal = mesial, for the others the reverse.
    Raises ValueError for directions along the tooth's axis, or two that contradict one another.
    """
    if mesial is None and buccal is None:
        return None
    hand = 1.0 if tooth.quadrant in (2, 4) else -1.0
    m = _across(mesial, crown, "mesial") if mesial is not None else None
    b = _across(buccal, crown, "buccal") if buccal is not None else None
    if m is None and b is not None:
        m = hand * np.cross(crown, b)
    if b is None and m is not None:
        b = hand * np.cross(m, crown)
    assert m is not None and b is not None
    if hand * np.dot(np.cross(crown, b), m) < 0.5:
        raise ValueError(
            f"mesial and buccal directions do not fit tooth {tooth.code}: one is wrong, or the mesh is mirrored"
        )
    return Directions(m, b)


def _across(way: Array, crown: Array, word: str) -> Array:
    way = np.asarray(way, dtype=float)
    flat = way - (way @ crown) * crown
    if way.shape != (3,) or np.linalg.norm(flat) < 0.3 * max(float(np.linalg.norm(way)), 1e-12):
        raise ValueError(f"the {word} direction runs along the tooth's axis; give one across it, 3 numbers")
    return np.asarray(flat / np.linalg.norm(flat))


def names(tooth: Tooth | None, middles: Array, ways: Directions | None) -> tuple[list[str], str]:
    """A name for each canal whose middle lies at `middles` (n, 3), and a note when they are only numbered."""
    n = len(middles)
    numbered = ["single"] if n == 1 else [f"canal {i + 1}" for i in range(n)]
    if n == 1:
        return numbered, ""
    if tooth is None:
        return numbered, "canals are numbered, the largest first: no tooth was given to name them by"
    if ways is None:
        return (
            numbered,
            "canals are numbered, the largest first: no mesial or buccal direction was given to name them by",
        )
    mesial, buccal = middles @ ways.mesial, middles @ ways.buccal
    named = _trade(tooth, mesial - mesial.mean(), buccal - buccal.mean())
    if named is None:
        return numbered, f"canals are numbered, the largest first: no trade names for {n} canals of a {tooth.kind}"
    return named, ""


def _trade(tooth: Tooth, mesial: Array, buccal: Array) -> list[str] | None:
    n, inner = len(mesial), "palatal" if tooth.upper else "lingual"
    if tooth.position < 6:
        return _pair(buccal, "buccal" if tooth.position > 3 else "labial", inner) if n == 2 else None
    if tooth.upper:
        return _upper_molar(mesial, buccal) if n in (3, 4) else None
    if n == 2:
        return _pair(mesial, "mesial", "distal")
    if n not in (3, 4):
        return None
    order = np.argsort(-mesial)
    split = 2 if n == 4 or mesial[order[0]] - mesial[order[1]] <= mesial[order[1]] - mesial[order[2]] else 1
    found = [""] * n
    for group, word in ((order[:split], "mesio"), (order[split:], "disto")):
        if len(group) == 1:
            found[group[0]] = {"mesio": "mesial", "disto": "distal"}[word]
        else:
            outer, lingual = group[np.argmax(buccal[group])], group[np.argmin(buccal[group])]
            found[outer], found[lingual] = f"{word}buccal", f"{word}lingual"
    return found


def _upper_molar(mesial: Array, buccal: Array) -> list[str]:
    found = [""] * len(mesial)
    palatal = int(np.argmin(buccal))
    rest = [i for i in np.argsort(-mesial).tolist() if i != palatal]
    found[palatal], found[rest[-1]] = "palatal", "distobuccal"
    front = rest[:-1]
    if len(front) == 1:
        found[front[0]] = "mesiobuccal"
    else:
        first, second = sorted(front, key=lambda i: -buccal[i])
        found[first], found[second] = "mesiobuccal", "second mesiobuccal"
    return found


def _pair(along: Array, high: str, low: str) -> list[str]:
    return [high, low] if along[0] > along[1] else [low, high]
