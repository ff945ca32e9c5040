"""What a section points at: each mark has a station, words, a number and a side of the drawing."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from canalwright.anatomy.canal import Canal
from canalwright.planning.product import Plan
from canalwright.quantities import Quantity

Kind = Literal["landmark", "portal", "cone", "plugger", "carrier", "front", "backfill", "post"]


@dataclass(frozen=True)
class Mark:
    """One thing to point at: `words` name it, `depth` is what the rubber stop shows there [mm]."""

    key: str
    kind: Kind
    words: str
    depth: Quantity

    @property
    def left(self) -> bool:
        """Anatomy and cone stand on the left, instruments and filling on the right."""
        return self.kind in ("landmark", "portal", "cone", "post")


def canal_marks(canal: Canal) -> list[Mark]:
    """Landmarks of the canal itself; a constriction at the end of the working length shares its label."""
    narrow = constriction(canal)
    together = narrow is not None and abs(narrow - canal.end) < 0.15
    found = [
        Mark(key, "landmark", words, Quantity.exact(canal.depth(z), "mm"))
        for key, words, z in (
            ("cej", "CEJ", canal.cej),
            ("crest", "crest of bone", canal.crest),
            ("orifice", "orifice", canal.orifice or None),
            ("constriction", "constriction", None if together else narrow),
            ("end", "end of WL, constriction" if together else "end of WL", canal.end),
            ("terminus", "terminus", 0.0),
        )
        if z is not None
    ]
    found += [
        Mark(
            f"portal-{i}",
            "portal",
            " ".join(filter(None, (p.direction, p.kind))),
            Quantity.exact(canal.depth(p.z), "mm"),
        )
        for i, p in enumerate(canal.portals, 1)
    ]
    return found


def plan_marks(plan: Plan) -> list[Mark]:
    """Landmarks, cone, plugger stops, carrier stops, melt fronts and portions of a plan."""
    found = canal_marks(plan.canal)
    found.append(Mark("cone", "cone", "cone tip", plan.cone.seat))
    found += [Mark(f"plugger-{i}", "plugger", f"{p.part} plugger", p.stop) for i, p in enumerate(plan.pluggers, 1)]
    for r in plan.rounds:
        found.append(Mark(f"carrier-{r.number}", "carrier", f"carrier {r.number}", r.carrier_stop))
        found.append(Mark(f"front-{r.number}", "front", f"melt front {r.number}", r.front))
    if plan.canal.post:
        found.append(Mark("post", "post", "post down to", plan.backfill_top))
    found += [Mark(f"portion-{p.number}", "backfill", f"portion {p.number} top", p.top) for p in plan.portions]
    return found


def constriction(canal: Canal) -> float | None:
    """Station of the narrowest native section in the apical 2.5 mm, if it lies within that part; else None."""
    lumen = canal.native
    part = lumen.z <= 2.5
    if part.sum() < 3:
        return None
    least = int(np.argmin(lumen.minor[part]))
    return float(lumen.z[least]) if 0 < least < part.sum() - 1 else None
