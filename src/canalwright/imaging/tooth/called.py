"""Names for the canals that a click found: the user's own, or the trade's where the tooth and one direction are known."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from canalwright.anatomy import averages
from canalwright.anatomy.tooth import Tooth
from canalwright.imaging.errors import ScanError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.mesh.names import directions, names


def called(
    canals: Sequence[FoundCanal],
    tooth: Tooth,
    *,
    mesial: ArrayLike | None = None,
    buccal: ArrayLike | None = None,
    own: Sequence[str] = (),
) -> tuple[FoundCanal, ...]:
    """The canals under their names, also where they join: `own` in order, else by the side they lie on.

    `mesial`, `buccal`: directions in the scan, (3,); without one several canals stay numbered, with a note. Raises
    ScanError for another number of names than of canals, and for directions that contradict the tooth.
    """
    if own and len(own) != len(canals):
        raise ScanError(f"{len(own)} names for {len(canals)} canals found; give as many, the longest canal's first")
    note = ""
    chosen = list(own)
    if not own:
        crown = np.mean([c.crown for c in canals], axis=0)
        try:
            ways = directions(
                tooth,
                crown / np.linalg.norm(crown),
                *(None if d is None else np.asarray(d, float) for d in (mesial, buccal)),
            )
        except ValueError as error:
            raise ScanError(f"{error}; correct the direction, or leave it out") from None
        chosen, note = names(tooth, np.array([c.lumen.centre.mean(axis=0) for c in canals]), ways)
    few = fewer(tooth, len(canals))
    said = tuple(n for n in (note, few) if n)
    new = {c.name: name for c, name in zip(canals, chosen, strict=True)}
    return tuple(
        replace(c, name=new[c.name], joined=new.get(c.joined, c.joined), notes=(*c.notes, *said)) for c in canals
    )


def fewer(tooth: Tooth, found: int) -> str:
    """What to say where fewer canals were found than this tooth usually has; nothing otherwise."""
    usual = averages.tooth_averages(tooth).usual
    if found >= len(usual):
        return ""
    return f"{found} canal{'s' if found > 1 else ''} found where {len(usual)} are usual ({', '.join(usual)}): look for the missing one"
