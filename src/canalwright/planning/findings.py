"""What the clinician should know about a plan, ranked by harm."""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from canalwright import fit, heat, shaping
from canalwright.fit import BEYOND
from canalwright.planning import practice
from canalwright.planning.backfill import Top
from canalwright.planning.doubt import Draws
from canalwright.planning.fitting import Tools
from canalwright.planning.inputs_said import said
from canalwright.planning.parts import Finding, Harm
from canalwright.planning.product import Plan
from canalwright.planning.unpressed import unpressed
from canalwright.protocol import Heat
from canalwright.quantities import Origin, Quantity, Source
from canalwright.readiness import Number, Readiness, Verdict

LEAST_WALL = 0.5
"""Dentine below which a wall is called thin, mm (common practice, no source)."""
LEAST_ACTIVATION = 0.5
"""The shortest activation that can be given by hand, s (common practice)."""
COLD_END = 2.0
LEAST_SOFTENED = 0.5
"""Softened depth under a portion below which the joint is doubtful, mm (common practice asks for 2 mm)."""


def find(plan: Plan, draws: Draws, tools: Tools, top: Top) -> tuple[Finding, ...]:
    """All findings, the most harmful first."""
    found = [
        *_heat(plan), *_plunge(plan), *_wall(plan), *_cone(plan), *_pluggers(plan, draws, tools), *unpressed(plan), *_carrier(plan, tools),
        *_backfill(plan, top), *_press(plan), *_joints(plan), *_notes(plan), *_rests(plan),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda f: -f.harm))


def with_readiness(plan: Plan, ready: Readiness) -> Plan:
    """The plan with the verdict on its canal, and a finding for each item that asks for something."""
    harm = {Verdict.UNKNOWN: Harm.NOTE, Verdict.LOOK: Harm.DOUBT, Verdict.NOT_READY: Harm.CAUTION}
    new = [
        Finding(
            harm[item.verdict], f"readiness-{item.name.replace(' ', '-')}", f"{item.name}: {item.message}", item.action,
            item.numbers[0].quantity if item.numbers else None, item.numbers,
        )
        for item in ready.to_do
    ]  # fmt: skip
    return replace(plan, readiness=ready, findings=tuple(sorted((*plan.findings, *new), key=lambda f: -f.harm)))


def _heat(plan: Plan) -> Iterator[Finding]:
    rise, longest = plan.heat.surface_rise, plan.heat.longest_activation
    planned = plan.rounds[-1].activation.value
    cooler, given = _cooler(planned, longest.low), Number("heat", plan.rounds[-1].activation)
    rests = (Number("longest safe activation", longest), given)
    if rise.value > practice.RISE_LIMIT:
        yield Finding(
            Harm.DANGER,
            "surface-too-hot",
            f"root surface expected to warm by {rise.format()}: past the 10 K limit",
            cooler,
            rise,
            rests,
        )
    elif rise.high > practice.RISE_LIMIT:
        yield Finding(
            Harm.CAUTION,
            "surface-may-heat",
            f"root surface warms by {rise.format()}: may pass the 10 K limit",
            f"the {planned:.1f} s planned keep to it by the best estimate, but not in 95 of 100 canals like this one: {cooler}",
            rise,
            rests,
        )
    dose = plan.heat.cem43
    if dose.high > heat.injury.BONE_CEM43:
        harm = Harm.DANGER if dose.value > heat.injury.BONE_CEM43 else Harm.CAUTION
        yield Finding(
            harm, "thermal-dose", f"thermal dose at the root surface {dose.format()} CEM43; 16 min equal 47 °C for one minute",
            cooler, dose, rests,
        )  # fmt: skip
    if planned > longest.value:
        yield Finding(
            Harm.DANGER, "activation-too-long", f"activation of {planned:.1f} s is longer than the longest safe one, {longest.format()}",
            f"shorten it to {longest.low:.1f} s or less", longest, (given,),
        )  # fmt: skip


def _cooler(planned: float, sure: float) -> str:
    """What to do for a cooler root surface; `planned` seconds of activation, `sure` those that keep to the limit in 95 of 100 draws."""
    others = "lower the set temperature or pause longer between rounds"
    if sure < LEAST_ACTIVATION:
        return f"even {LEAST_ACTIVATION:.1f} s, the shortest that a hand can give, may pass it; {others}"
    shorter = math.floor(10 * sure + 1e-6) / 10
    return f"heat {shorter:.1f} s at most in each round, {others}" if shorter < planned - 1e-6 else others


def _plunge(plan: Plan) -> Iterator[Finding]:
    heats = [act for act in plan.protocol.acts if isinstance(act, Heat)]
    bite = max((r.bite for r in plan.rounds), key=lambda b: b.value)
    longest = bite.value + practice.LEFT_BY_BITE
    needed = longest / practice.PLUNGE_SPEED
    if heats and heats[0].seconds < needed - 0.05:
        yield Finding(
            Harm.DOUBT,
            "quick-plunge",
            f"{heats[0].seconds:.2f} s leave little time for a plunge of {longest:.1f} mm ({needed:.1f} s at the usual speed), "
            "so as to spare the root surface",
            "do not force the carrier: go as deep as it sinks by itself, and add a round",
            plan.rounds[0].activation,
            (Number("bite", bite),),
        )


def _wall(plan: Plan) -> Iterator[Finding]:
    canal = plan.canal
    inside = canal.native.z >= canal.end - 1e-9
    wall = np.where(inside, shaping.remaining_dentine(canal), np.inf)
    at = int(np.argmin(wall))
    least, depth = float(wall[at]), canal.depth(float(canal.native.z[at]))
    # The apical 3 mm taper to nothing in any root; the thin-wall rule speaks of the part that is wedged and heated.
    body = canal.native.z >= canal.end + 3.0
    if least <= 0:
        yield Finding(
            Harm.DANGER, "wall-cut-through", f"the finishing file leaves no dentine {depth:.1f} mm from the {canal.reference}",
            "check the wall on the scan; use a smaller file; do not press here", rests=_left(least, plan),
        )  # fmt: skip
        return
    if body.any():
        at = int(np.argmin(np.where(body, wall, np.inf)))
        least, depth = float(wall[at]), canal.depth(float(canal.native.z[at]))
        if least < LEAST_WALL:
            yield Finding(
                Harm.CAUTION, "thin-wall", f"only {least:.2f} mm of dentine are left {depth:.1f} mm from the {canal.reference}",
                "press lightly there, keep activations short, no plugger may bind", rests=_left(least, plan),
            )  # fmt: skip


def _left(wall: float, plan: Plan) -> tuple[Number, ...]:
    """Dentine left at a place, as the canal's walls were read."""
    source = plan.canal.sources.get("wall_mm", Source(Origin.COMPUTED))
    return (Number("least dentine", Quantity.exact(max(wall, 0.0), "mm", source)),)


def _cone(plan: Plan) -> Iterator[Finding]:
    cone = plan.cone
    if cone.short.low <= BEYOND + 1e-6:
        yield Finding(
            Harm.CAUTION, "cone-loose", f"cone {cone.cone.name} may be loose right through the end of the canal",
            "try a larger cone or trim more; do not fill before it is held", cone.short,
        )  # fmt: skip
    elif cone.short.low < -plan.canal.end - 0.25:
        yield Finding(
            Harm.CAUTION, "cone-beyond", f"the cone may pass the terminus: seat {cone.short.format()} short of the working length",
            "try it in with a radiograph before sealer; trim by the table", cone.short,
        )  # fmt: skip
    if cone.chance.value < 0.5:
        yield Finding(
            Harm.DOUBT, "cone-seat-doubtful",
            "chance that the cone seats within 0.5 mm of the working length, from size tolerances alone",
            "gauge the cone, try it in, and trim by the table until tug-back is felt at length", cone.chance,
        )  # fmt: skip
    if cone.tug_back.high < 1.0:
        yield Finding(
            Harm.DOUBT,
            "little-tug-back",
            f"tug-back over only {cone.tug_back.format()}",
            "choose another cone or trim more",
            cone.tug_back,
        )


def _pluggers(plan: Plan, draws: Draws, tools: Tools) -> Iterator[Finding]:
    if len(plan.pluggers) < 3:
        have = ", ".join(p.part for p in plan.pluggers)
        yield Finding(
            Harm.CAUTION, "pluggers-missing", f"the tray has no plugger for every part of this canal (found: {have})",
            "add pluggers of other tip widths to the tray",
        )  # fmt: skip
    if not tools.aim_met:
        changes = fit.remedies(plan.canal, plan.tray.pluggers)
        action = (
            "; or ".join(r.message for r in changes)
            or "no thinner or elastic plugger and no larger file helps: shape or access first"
        )
        deepest = min(plan.pluggers, key=lambda p: p.short_of_end.value)
        yield Finding(
            Harm.CAUTION, "plugger-out-of-reach",
            f"no plugger reaches within {practice.REACH_TO_END:.0f} mm of the working length: "
            f"the deepest stops {deepest.short_of_end.format()} short",
            action, deepest.short_of_end,
        )  # fmt: skip
    for planned, fitted in zip(plan.pluggers, tools.pluggers, strict=True):
        if fitted.chance < 0.95:
            yield Finding(
                Harm.CAUTION, "plugger-may-bind",
                f"{planned.part} plugger {planned.plugger.name} may bind before its stop (free in {fitted.chance:.0%} of the draws)",
                "fit it dry before filling; set the stop 1 mm short of where it binds", planned.reach,
                (Number("share of the draws in which it is free", _exact(fitted.chance)),),
            )  # fmt: skip


def _carrier(plan: Plan, tools: Tools) -> Iterator[Finding]:
    end = plan.canal.end
    short = float(tools.carrier_reach.z[0]) - end
    if short > practice.CLEARANCE_TO_END:
        yield Finding(
            Harm.CAUTION, "carrier-out-of-reach",
            f"carrier {plan.carrier.name} gets no nearer than {short:.1f} mm to the working length ({tools.carrier_reach.stopped_by})",
            "use a thinner carrier, or expect the end to stay cold", rests=(Number("carrier short of the end", _exact(short, "mm")),),
        )  # fmt: skip
    last = plan.rounds[-1].front
    cold = plan.canal.working_length - last.value
    if cold > COLD_END:
        yield Finding(
            Harm.CAUTION, "end-stays-cold",
            f"gutta-percha softens to {last.format()} only: the last {cold:.1f} mm are not moulded, the trimmed cone has to fit there",
            "rely on the cone's fit, or heat nearer to the end if the root surface allows it", last,
        )  # fmt: skip


def _press(plan: Plan) -> Iterator[Finding]:
    fill, risk = plan.fill, plan.extrusion
    if fill.root_warns:
        depth = plan.canal.depth(fill.root_level)
        yield Finding(
            Harm.DANGER if fill.root_ratio.value >= 1 else Harm.CAUTION,
            "root-stress",
            f"stress in the wall comes to {fill.root_ratio.format(2)} of the strength of dentine, {depth:.1f} mm from the "
            f"{plan.canal.reference}",
            "press more lightly there and never with a plugger that binds",
            fill.root_ratio,
        )
    if risk.chance.value > 0.05:
        cause = f"; what brings it there: {risk.cause}" if risk.cause else ""
        mend = (
            f"; {risk.causes[0].mended} would bring the chance to {risk.causes[0].chance.format(2)}"
            if risk.cause
            else ""
        )
        yield Finding(
            Harm.DANGER if risk.chance.value > 0.5 else Harm.CAUTION,
            "beyond-the-terminus",
            f"chance {risk.chance.format(2)} that gutta-percha passes the terminus, by {risk.length.format()}{cause}",
            f"check cone fit and apical gauge{mend}",
            risk.length,
            (Number("chance of passing the terminus", risk.chance),),
        )
    for branch in fill.portals:
        yield Finding(
            Harm.NOTE,
            "side-branch",
            f"{branch.portal.kind} {branch.portal.z:.1f} mm from the terminus: sealer {branch.sealer.format()} deep, gutta-percha "
            f"{branch.gutta.format()} of {branch.length:.1f} mm; chance of full length {branch.chance.format(2)}",
            branch.doubt or "its width decides",
            branch.chance,
            (Number("sealer goes in", branch.sealer), Number("gutta-percha goes in", branch.gutta)),
        )


def _backfill(plan: Plan, top: Top) -> Iterator[Finding]:
    if top.below_post is not None and top.below_post < practice.BELOW_POST_LEAST:
        yield Finding(
            Harm.CAUTION, "short-below-post", f"only {top.below_post:.1f} mm of filling below the post",
            "leave 4-5 mm at least: shorten the post", rests=(Number("filling left below the post", _exact(top.below_post, "mm")),),
        )  # fmt: skip
    if not any(n.purpose == "backfill" for n in plan.tray.needles) and top.z > plan.canal.end:
        yield Finding(
            Harm.CAUTION, "no-needle", "the tray has no needle for the backfill", "add a backfill needle to the tray"
        )
    for portion in plan.portions:
        gap = portion.bottom.value - portion.needle_stop.value
        if gap > 1.0:
            yield Finding(
                Harm.DOUBT, "needle-short",
                f"needle {portion.needle.name} stays {gap:.1f} mm above the floor of portion {portion.number}: air may be trapped",
                "use a thinner needle for this portion, or fill it in smaller steps", portion.needle_stop,
                (Number("fill from", portion.bottom),),
            )  # fmt: skip


def _joints(plan: Plan) -> Iterator[Finding]:
    cold = [p for p in plan.portions if p.resoften.value < LEAST_SOFTENED]
    if cold:
        worst = min(cold, key=lambda p: p.resoften.value)
        yield Finding(
            Harm.DOUBT,
            "cold-joint",
            f"portion {worst.number} softens only {worst.resoften.format()} of the surface it is laid on; "
            f"{practice.RESOFTEN:.0f} mm wanted",
            "hold the hot needle against the surface before delivering, or touch it briefly with the carrier, and press well",
            worst.resoften,
        )


def _exact(value: float, unit: str = "") -> Quantity:
    """A number that follows from others, without an interval of its own."""
    return Quantity.exact(value, unit, Source(Origin.COMPUTED))


def _notes(plan: Plan) -> Iterator[Finding]:
    for note in plan.canal.notes:
        yield Finding(Harm.DOUBT, "measurement", f"{note.key}: {note.message}", note.action)


def _rests(plan: Plan) -> Iterator[Finding]:
    if plan.supposed > 0.5:
        leading = ", ".join(said(name) for name, _ in plan.leading[:3])
        yield Finding(
            Harm.NOTE, "rests-on-averages", f"{plan.supposed:.0%} of the doubt rests on averages or assumptions, not on this tooth",
            f"what leads: {leading}", rests=(Number("share of the doubt", _exact(plan.supposed)),),
        )  # fmt: skip
