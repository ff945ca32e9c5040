"""Cone, pluggers, carrier and needles for one canal: what the fit room found, as parts of a plan."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright import fit
from canalwright.fit import ConeFit, PluggerFit, Reach
from canalwright.fit.pluggers import NEAREST
from canalwright.instruments import Carrier, Cone, Needle, PaperPoint, Plugger, Tray
from canalwright.planning import parts, practice
from canalwright.planning.choices import Choices
from canalwright.planning.doubt import Draws
from canalwright.planning.parts import ConePlan, PluggerPlan, TrimRow
from canalwright.quantities import Quantity

Array = NDArray[np.float64]
PARTS = ("coronal", "middle", "apical")
TRIMS = np.arange(0.0, 3.01, 0.5)


class ChoiceError(ValueError):
    """A choice that the tray or the canal does not offer."""


@dataclass(frozen=True)
class Tools:
    """What was chosen of the tray, with the deepest station (z, nominal) of each."""

    cone: ConePlan
    pluggers: tuple[PluggerFit, ...]
    carrier: Carrier
    carrier_reach: Reach
    needles: tuple[tuple[Needle, Reach], ...]
    paper_point: PaperPoint | None
    reaches: tuple[parts.Reach, ...]
    aim_met: bool


def fit_tools(draws: Draws, tray: Tray, choices: Choices, *, brief: bool = False) -> Tools:
    """Choose from the tray; raises ChoiceError when the tray lacks a kind of instrument or a name is not on it.

    `brief`: needles, the table of trims and the list of reaches are left out, for a downpack alone.
    """
    for kind, items in (("cones", tray.cones), ("pluggers", tray.pluggers), ("carriers", tray.carriers)):
        if not items:
            raise ChoiceError(f"tray {tray.name!r}: no {kind} on it; add at least one to plan a filling")
    scores = draws.sample["tool"]
    choice = fit.choose_pluggers(tray.pluggers, draws.passage, scores=scores)
    pluggers = (
        choice.chosen if choices.pluggers is None else _named_pluggers(draws, tray, choices.pluggers, choice.reaches)
    )
    carriers = tuple(zip(tray.carriers, fit.reaches(tray.carriers, draws.passage, scores), strict=True))
    carrier, carrier_reach = _carrier(carriers, draws, choices)
    injecting = tuple(n for n in tray.needles if n.purpose == "backfill")
    needles = tuple(zip(injecting, fit.reaches(injecting, draws.passage, scores), strict=True) if injecting else ())
    cone = _cone(draws, tray, choices)
    listed: list[parts.Reach] = []
    for kind, pairs in (("plugger", choice.reaches), ("carrier", carriers), ("needle", needles)):
        listed += [_reach(draws, kind, tool.name, reach) for tool, reach in pairs]
    return Tools(
        cone,
        tuple(p for p in pluggers),
        carrier,
        carrier_reach,
        needles,
        _paper_point(tray, draws),
        tuple(listed),
        any(p.part == "apical" and p.meets for p in pluggers),
    )


def with_cone(tools: Tools, draws: Draws, tray: Tray, choices: Choices) -> Tools:
    """The same tools with the cone or trim of other choices."""
    return replace(tools, cone=_cone(draws, tray, choices))


def plugger_plan(draws: Draws, fitted: PluggerFit) -> PluggerPlan:
    """One plugger as the card shows it; `short_of_end` is that of its stop."""
    return PluggerPlan(
        fitted.part,
        fitted.plugger,
        draws.depth(fitted.reach.z),
        draws.depth(fitted.stop, set_by_stop=True),
        draws.summarise(fitted.stop - draws.canal.end + draws.sample["stop"], "mm"),
    )


def _cone(draws: Draws, tray: Tray, choices: Choices, *, brief: bool = False) -> ConePlan:
    cones = tray.cones
    if choices.cone is not None:
        cones = tuple(c for c in cones if c.name == choices.cone)
        if not cones:
            raise ChoiceError(f"cone {choices.cone!r} is not on tray {tray.name!r}; it has {_names(tray.cones)}")
    passage, end = draws.passage, draws.canal.end
    scores = draws.sample["cone"]
    best = fit.choose_cone(cones, passage, scores=scores)[0]
    trim = best.trim.length
    seats, grip = best.seats, best.tug_back
    offset = best.cone.tolerance * scores
    if choices.trim is not None:
        if not 0 <= choices.trim <= 10:
            raise ChoiceError(f"trim {choices.trim} mm: 0 to 10 mm can be cut off a cone")
        trim = choices.trim
        seats = fit.seat(best.cone.profile, passage.z, passage.minor, offset=offset, trim=trim)
        grip = fit.tug_back(best.cone.profile, passage.z, passage.minor, seats, offset=offset, trim=trim)
    return ConePlan(
        best.cone,
        Quantity.exact(trim, "mm") if brief else _trim_doubt(draws, best, offset, trim),
        draws.depth(seats),
        draws.summarise(seats - end, "mm"),
        draws.summarise(grip, "mm"),
        Quantity.share(fit.chance(seats, end), draws.sample.size - 1),
        () if brief else _table(draws, best, offset, trim),
    )


def _trim_doubt(draws: Draws, best: ConeFit, offset: Array, trim: float) -> Quantity:
    """The trim to cut, and the trims that the 5 and 95 % draws would have asked for."""
    passage, end = draws.passage, draws.canal.end
    wanted = []
    for share in (0.05, 0.95):
        seats = fit.seat(best.cone.profile, passage.z, passage.minor, offset=offset, trim=trim)
        row = int(np.argsort(seats)[int(share * (len(seats) - 1))])
        one = fit.trim_for(best.cone.profile, passage.z, passage.minor[row], end, offset=float(offset[row]))
        wanted.append(one.length)
    summary = draws.summarise(best.seats, "mm")
    low, high = min(*wanted, trim), max(*wanted, trim)
    return Quantity(trim, low, high, "mm", supposed=summary.supposed, leading=summary.leading)


def _table(draws: Draws, best: ConeFit, offset: Array, trim: float) -> tuple[TrimRow, ...]:
    passage = draws.passage
    trims = np.sort(np.append(TRIMS[np.abs(TRIMS - trim) >= 0.06], trim))  # no two rows that read alike
    rows = fit.trim_table(best.cone.profile, passage.z, passage.minor, draws.canal.end, trims, offset=offset)
    count = draws.sample.size - 1
    return tuple(TrimRow(row.trim, row.tip, draws.depth(row.seats), Quantity.share(row.chance, count)) for row in rows)


def _named_pluggers(
    draws: Draws, tray: Tray, names: Sequence[str], reaches: tuple[tuple[Plugger, Reach], ...]
) -> tuple[PluggerFit, ...]:
    chosen = []
    for part, name in zip(PARTS, names, strict=True):
        found = [(p, r) for p, r in reaches if p.name == name]
        if not found:
            raise ChoiceError(f"plugger {name!r} is not on tray {tray.name!r}; it has {_names(tray.pluggers)}")
        plugger, reach = found[0]
        end = draws.canal.end
        stop = min(max(float(reach.z[0]) + practice.STOP_SHORT, end + NEAREST), draws.passage.orifice)
        meets = part != "apical" or stop <= end + practice.REACH_TO_END
        margin = stop - float(reach.z[0])
        chosen.append(PluggerFit(part, plugger, reach, stop, margin, reach.chance(stop), meets, "chosen by hand"))
    return tuple(chosen)


def _carrier(carriers: tuple[tuple[Carrier, Reach], ...], draws: Draws, choices: Choices) -> tuple[Carrier, Reach]:
    if choices.carrier is not None:
        named = [pair for pair in carriers if pair[0].name == choices.carrier]
        if not named:
            names = _names([c for c, _ in carriers])
            raise ChoiceError(f"carrier {choices.carrier!r} is not on the tray; it has {names}")
        return named[0]
    aim = draws.canal.end + practice.CLEARANCE_TO_END
    near = [pair for pair in carriers if float(pair[1].z[0]) + 0.25 <= aim]
    if near:
        return max(near, key=lambda pair: (pair[0].profile.tip, float(pair[0].profile(5.0))))
    return min(carriers, key=lambda pair: float(pair[1].z[0]))


def _reach(draws: Draws, kind: str, name: str, reach: Reach) -> parts.Reach:
    short = draws.summarise(reach.z - draws.canal.end, "mm")
    return parts.Reach(kind, name, draws.depth(reach.z), short, reach.stopped_by)


def _paper_point(tray: Tray, draws: Draws) -> PaperPoint | None:
    """The paper point whose tip is nearest the apical width from below."""
    width = float(np.interp(draws.canal.end, draws.passage.z, draws.passage.minor[0]))
    fitting = [p for p in tray.paper_points if p.profile.tip <= width + 1e-9]
    return max(fitting, key=lambda p: p.profile.tip, default=None)


def _names(items: Sequence[Cone | Plugger | Carrier]) -> str:
    return ", ".join(item.name for item in items)
