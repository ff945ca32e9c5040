"""Items of the verdict on irrigation: needle, contact time, sequence."""

from canalwright import fit, shaping
from canalwright.anatomy import Canal
from canalwright.fit import Passage
from canalwright.instruments import Needle, Tray
from canalwright.irrigation import REMEDY, Delivery, budget, clashes, deliver, gas_chance
from canalwright.readiness.item import Item, Number, Verdict
from canalwright.readiness.record import Irrigated, Record

MARGIN = 1.0
"""A needle stays this far [mm] from where it would bind (common practice)."""
NEAREST = {"open": 2.0, "side": 1.0}
"""And no nearer to the end than this (common practice: 2 to 3 mm open, 1 mm side opening)."""
SLOWER = "irrigate more slowly, further from the end or by a side opening"
ENOUGH, MOST, ERODES = 60.0, 180.0, 600.0


def needle(canal: Canal, tray: Tray, record: Record) -> Item:
    """Does fresh irrigant get to the end, at what pressure, and is gas to be expected there?"""
    needles = [n for n in tray.needles if n.purpose == "irrigation"]
    if not needles:
        return Item(
            "needle", Verdict.UNKNOWN, "the tray has no irrigation needle", (),
            'add one to the tray: [[needle]] with purpose = "irrigation" and its opening',
        )  # fmt: skip
    rate = record.irrigated.rate if record.irrigated else None
    found = best_delivery(canal, needles, rate)
    width = float(canal.native.at(canal.end, shaping.shaped(canal).minor))
    gas = gas_chance(max(width, 0.1), found.needle.opening, found.short, found.rate)
    numbers = (
        Number("chance that fresh irrigant reaches the end", found.reaches),
        Number("renewed beyond the tip", found.exchange),
        Number("apical pressure", found.apical),
        Number("chance above the line for caution", found.over),
        Number("chance of gas at the end", gas),
    )
    where = f"{found.needle.name} goes to {found.short:.1f} mm from the end"
    if found.wedged:
        return Item(
            "needle",
            Verdict.LOOK,
            f"{where} and is wedged there",
            numbers,
            "take a thinner needle, never press a wedged one",
        )
    if found.over.value > 0.5:
        kilo = f"{1000 * found.apical.value:.1f} kPa"
        return Item(
            "needle",
            Verdict.LOOK,
            f"{where}; apical pressure {kilo}, above 0.78 kPa",
            numbers,
            "irrigate more slowly, further from the end or by a side opening",
        )
    moved = record.irrigated.bath.agitation if record.irrigated else "none"
    if found.reaches.value < 0.5 and moved != "none":
        words = (
            f"{where}; fresh irrigant gets {found.exchange.format(1)} beyond it, {moved} agitation has to carry it on"
        )
        return Item("needle", Verdict.READY, words, numbers, "")
    if found.reaches.value < 0.5:
        words = f"{where}; fresh irrigant gets {found.exchange.format(1)} beyond it"
        return Item(
            "needle", Verdict.LOOK, words, numbers, f"carry it to the end by agitation or a pumped cone; {REMEDY}"
        )
    return Item("needle", Verdict.READY, f"{where}; fresh irrigant reaches the end", numbers, "")


def best_delivery(canal: Canal, needles: list[Needle], rate: float | None = None) -> Delivery:
    """Of all needles, the one most likely to bring fresh irrigant to the end, at its stop."""
    lumen, passage = shaping.shaped(canal), Passage.of(canal)
    made = []
    for one in needles:
        reach = float(fit.reach_of(one, passage).z[0])
        tip = min(max(reach + MARGIN, canal.end + NEAREST[one.opening]), passage.orifice)
        made.append(deliver(lumen, one, tip, canal.end, rate))
    return max(made, key=lambda d: (not d.wedged, d.over.value <= 0.5, d.reaches.value, -d.short))


def contact(canal: Canal, record: Record) -> Item:
    """Was hypochlorite in the canal long enough for what the file left?"""
    done = record.irrigated or Irrigated()
    plan = budget(canal, done.bath)
    numbers = tuple(Number(f"time for {r.pocket.name} {r.pocket.depth:.1f} mm deep", r.needs) for r in plan.reached)
    step = plan.contacts[0]
    told = f"hypochlorite {done.bath.percent:g} %: {step.act}"
    if done.hypochlorite is None:
        return Item("contact time", Verdict.UNKNOWN, "the time of hypochlorite was not recorded", numbers, told)
    given, wanted = done.hypochlorite, plan.dissolving
    minutes = f"{given / 60:.0f} of {wanted / 60:.0f} min"
    if given >= wanted - 1e-9:
        left = [r for r in plan.reached if not r.done]
        if left:
            return Item("contact time", Verdict.LOOK, f"{minutes}; {plan.warnings[0]}", numbers, plan.warnings[-1])
        return Item("contact time", Verdict.READY, f"{minutes}", numbers, "")
    verdict = (
        Verdict.LOOK if all(r.needs.low <= given for r in plan.reached) and given >= wanted / 2 else Verdict.NOT_READY
    )
    return Item("contact time", verdict, f"only {minutes}", numbers, f"{(wanted - given) / 60:.0f} min more; {told}")


def sequence(record: Record) -> Item:
    """Did solutions meet that must not, and was the chelator in long enough and not too long?"""
    done = record.irrigated
    if done is None or (not done.order and done.chelator is None):
        return Item(
            "sequence",
            Verdict.UNKNOWN,
            "the order of the solutions was not recorded",
            (),
            "record it, the chelator's seconds too",
        )
    found = clashes(done.order)
    if found:
        found = tuple(sorted(found, key=lambda c: not c.severe))
        verdict = Verdict.NOT_READY if found[0].severe else Verdict.LOOK
        return Item(
            "sequence",
            verdict,
            str(found[0]) + (f"; and {len(found) - 1} more that must not meet" if len(found) > 1 else ""),
            (),
            f"rinse with {found[0].between}, then look and dry again",
        )
    if done.chelator is None:
        return Item("sequence", Verdict.UNKNOWN, "no clash; the chelator's time was not recorded", (), "chelator 60 s")
    if done.chelator < ENOUGH:
        return Item(
            "sequence",
            Verdict.LOOK,
            f"chelator for {done.chelator:.0f} s",
            (),
            f"{ENOUGH - done.chelator:.0f} s more take the smear layer",
        )
    if done.chelator > MOST:
        worse = "it erodes the wall" if done.chelator >= ERODES else "longer gains nothing"
        return Item("sequence", Verdict.LOOK, f"chelator for {done.chelator:.0f} s: {worse}", (), "60 s are enough")
    return Item("sequence", Verdict.READY, f"no clash, chelator for {done.chelator:.0f} s", (), "")
