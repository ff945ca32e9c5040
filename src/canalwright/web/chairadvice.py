"""What follows at the chair from what was really done, in a line each: the rest planned anew, and what an event means."""

from canalwright.guide import Done, Forecast, Phase, Step, anew, packs
from canalwright.guide.debrief import DEEP, LATE
from canalwright.planning.practice import RISE_LIMIT
from canalwright.protocol import Bite, Press
from canalwright.protocol.acts import TOUCH
from canalwright.quantities import Quantity
from canalwright.web.chair import Chair
from canalwright.web.chairwhere import AHEAD, DEPTH, REACHED
from canalwright.web.words import Words

Line = tuple[str, str, str]
"""How harmful (danger, caution, note), what is said, and the number that it rests on by its name in `chairwhere` ("" for none)."""

MEANS = {
    "cone moved": "take a radiograph before you go on. If its tip is off, take it out, trim it and seat it anew",
    "bled": "do not go on over blood: rinse, wait until it stops, dry with paper points. If it goes on, do not fill today",
    "pedal held long": "only the time of this timer is reckoned with. If the carrier was hot for longer, wait longer before the next heat",
    "plugger touched the wall": "stop pressing: wedged, it can crack the root. Take the next thinner one, or set its stop shorter",
    "gutta-percha came out": "take a radiograph. If the end of the canal is empty, take the rest out and begin with a new cone",
}
"""What is done when something happened (common practice); no model follows it."""


SAYS = {
    "laid": "Noted {d} mm, planned {p} mm. The rest is laid anew: {rest}.",
    "follows": "Noted {d} mm, planned {p} mm: the heat of the rest is reckoned from it, its stops stay as planned.",
    "apart": "Noted {d} mm, planned {p} mm: the rest stays as planned. Plan anew if this depth stays.",
    "held": "Heated {s} s, planned {p} s: the outside reaches {rise}; limit 10 K.",
    "over": "Heated {s} s, planned {p} s: the outside reaches {rise}, past the 10 K limit.",
    "wait": "Wait {w} s before this heat: it then warms the outside to {rise}.",
    "cool": "Cool {c} s before the next heat (planned {cp} s): it then warms the outside to {rise}.",
    "heat": "Heat only {h} s next (planned {hp} s): the outside then warms to {rise}.",
    "both": "Cool {c} s (planned {cp} s), then heat {h} s (planned {hp} s): the outside then warms to {rise}.",
    "more": "That is still more than the plan allows: is another heat needed?",
    "last": "Nothing is heated any more, so the times stay as planned.",
    "recall": "Look at this root again at the recalls.",
    "vain": "No longer pause makes it cooler: the next heat warms the outside to {rise}. Is it needed?",
    "stays": "The times stay as planned: the next heat warms the outside to {rise}, no more than the plan allows.",
}
"""What follows for the rest."""


LAID = {
    "press": "press to {mm} mm",
    "heat": "carrier to {mm} mm",
    "inject": "needle to {mm} mm",
    "cold": "no further heat",
    "set": "Laid anew after what was done: set this stop before you begin.",
    "another": "One heat more than planned: is it needed?",
    "above": "{tool} stops {mm} mm above the surface that the bite left: nothing is pressed.",
}
"""What the rest is laid to, and what is said on an act that was laid anew."""


def advice(chair: Chair, words: Words, *, doubtful: bool = False) -> list[Line]:
    """What happened on this act, another depth than planned where it is not `doubtful`, and that the act was laid anew."""
    happened = [
        ("caution", f"{_capital(words(note))}: {words(MEANS[note])}.", "")
        for note in chair.session.notes
        if note in MEANS
    ]
    return [*happened, *([] if doubtful else _depth(chair, words)), *_own(chair, words)]


def _depth(chair: Chair, words: Words) -> list[Line]:
    session, step = chair.session, chair.session.step
    if step is None or step.depth is None or session.depth is None or abs(session.depth - step.depth) <= DEEP:
        return []
    told = "laid" if anew(session) else "follows" if step.kind in ("heat", "press") else "apart"
    rest = "; ".join(_rest_laid(session.steps[session.index + 1 :], step, words))
    return [("caution", words(SAYS[told], d=f"{session.depth:.1f}", p=f"{step.depth:.1f}", rest=rest), DEPTH)]


def _rest_laid(rest: tuple[Step, ...], step: Step, words: Words) -> list[str]:
    """What has to be set for the rest of the downpack; for the backfill the next needle."""

    def stops(kind: str, steps: list[Step]) -> list[str]:
        depths = [f"{s.depth:.1f}" for s in steps if s.kind == kind and s.depth is not None]
        return [words(LAID[kind], mm=", ".join(depths))] if depths else []

    heats = [s for s in rest if s.kind == "heat"]
    upto = next((i for i, s in enumerate(rest) if s.kind in ("heat", "inject")), len(rest))
    own = stops("press", list(rest[:upto]))
    if heats or step.number == 0:
        return [*own, *stops("heat", heats)]
    portions = [s for s in rest if s.kind == "inject"][:1]
    return [*own, *([words(LAID["cold"])] if step.kind == "heat" else []), *stops("inject", portions)]


def _own(chair: Chair, words: Words) -> list[Line]:
    """That this act was laid anew; that its press gets to nothing."""
    session, step, lines = chair.session, chair.session.step, []
    if step is None:
        return []
    if step.anew and step.kind in ("heat", "press", "inject"):
        more = step.kind == "heat" and step.number > len(chair.plan.rounds)
        told = [words(LAID["set"]), *([words(LAID["another"])] if more else [])]
        lines.append(("caution" if more else "note", " ".join(told), DEPTH))
    gap = packs(session)
    if gap is not None and gap < -TOUCH and gap < _planned_gap(chair, step) - TOUCH:
        lines.append(("caution", words(LAID["above"], tool=words(step.tool), mm=f"{-gap:.1f}"), DEPTH))
    return lines


def _planned_gap(chair: Chair, step: Step) -> float:
    """How far a press of the downpack packs by the plan, whose own findings speak of one that does not."""
    bite, press = chair.plan.protocol.acts[step.act - 1 : step.act + 1]
    return bite.level - press.stop if isinstance(bite, Bite) and isinstance(press, Press) else 0.0


def heat_advice(chair: Chair, words: Words) -> list[Line]:
    """A heat held too long, and the times of the rest; nothing while it is being worked out, or while the carrier is hot."""
    session, made = chair.session, chair.forecast
    step = session.step
    if made is None or chair.rise is None or step is None or (step.kind == "heat" and session.phase is not Phase.READY):
        return []
    heats = [d for d in session.done if session.steps[d.step].kind == "heat"]
    last = heats[-1] if heats else None
    long = last is not None and last.planned is not None and last.seconds > last.planned + LATE
    rest = _rest(chair, made, words)
    if not long or last is None:
        return rest
    if made.next is None and any(session.steps[d.step].kind == "pause" for d in session.done if d.step > last.step):
        return []
    return [_held(made, last, words), *(rest or _stays(made, words))]


def _held(made: Forecast, last: Done, words: Words) -> Line:
    over = made.reached.value >= RISE_LIMIT
    seconds = {"s": f"{last.seconds:.1f}", "p": f"{last.planned:.1f}"}
    told = words(SAYS["over" if over else "held"], **seconds, rise=kelvin(made.reached))
    return "danger" if over else "caution", told, REACHED


def _rest(chair: Chair, made: Forecast, words: Words) -> list[Line]:
    """What is other than planned up to the next heat."""
    if made.next is None or made.ahead is None:
        return []
    acts, steps = chair.plan.protocol.acts, chair.session.steps
    pauses = [s for s in steps[chair.session.index : made.next] if s.kind == "pause"]
    heat = steps[made.next]
    cool, cooled = (pauses[-1].seconds or 0.0, acts[pauses[-1].act].seconds) if pauses else (0.0, 0.0)
    hot, heated = heat.seconds or 0.0, acts[heat.act].seconds
    told = ""
    if made.wait:
        told = "wait"
    elif cool != cooled:
        told = "cool" if hot == heated else "both"
    elif hot != heated:
        told = "heat"
    if not told:
        return []
    text = words(
        SAYS[told], w=f"{made.wait:.0f}", c=f"{cool:.0f}", cp=f"{cooled:.0f}", h=f"{hot:.1f}", hp=f"{heated:.1f}",
        rise=kelvin(made.ahead),
    )  # fmt: skip
    if not made.enough:
        text += " " + words(SAYS["more"])
    return [("caution", text, AHEAD)]


def _stays(made: Forecast, words: Words) -> list[Line]:
    """Why nothing changes."""
    if made.ahead is not None:
        told = "stays" if made.enough else "vain"
        return [("note" if made.enough else "caution", words(SAYS[told], rise=kelvin(made.ahead)), AHEAD)]
    over = made.reached.value >= RISE_LIMIT
    return [("note", " ".join(words(SAYS[told]) for told in (("last", "recall") if over else ("last",))), "")]


def kelvin(q: Quantity) -> str:
    """A rise with its interval, as the head of the screen shows it."""
    return f"{q.value:.1f} K ({q.low:.1f}–{q.high:.1f})"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
