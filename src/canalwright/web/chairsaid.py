"""All that the chair's screen shows of an open session, in plain JSON types and in the reader's words."""

import json
from dataclasses import asdict
from typing import Any

from canalwright.guide import Doubt, Phase, Step, anew, concerning, debrief, doubt, doubts
from canalwright.guide.concerns import HEAT
from canalwright.guide.depths import BEYOND
from canalwright.instruments import iso3630
from canalwright.planning import Harm
from canalwright.planning.practice import RISE_LIMIT
from canalwright.quantities import Quantity
from canalwright.report import ISO_3630, finding_words
from canalwright.report.words import figure
from canalwright.web.chair import Chair
from canalwright.web.chairadvice import Line, advice, heat_advice
from canalwright.web.chairwhere import LIMIT
from canalwright.web.markup.debrief import ended
from canalwright.web.markup.resting import key_of
from canalwright.web.prefs import Prefs
from canalwright.web.words import Words

TRY = "try"
"""The act before the first step of the plan: the cone is tried in dry."""
DOES = {
    TRY: "Try the cone in dry, take a radiograph",
    "place": "Place the cone, coated with sealer",
    "sear": "Sear the cone off",
    "heat": "Heat, plunging to the stop",
    "bite": "Take the carrier out with its bite",
    "press": "Press and hold",
    "inject": "Inject the backfill from the stop",
    "pause": "Let it cool, change instruments",
}
SHORT = {
    "place": "Place",
    "sear": "Sear",
    "heat": "Heat",
    "bite": "Bite",
    "press": "Press",
    "inject": "Backfill",
    "pause": "Cool",
}
"""An act in one word, for what comes next."""
READ = {"sear": "level of the cut, from", "bite": "top of what stays, from"}
"""What the depth of an act is, where it is no stop."""
OWN = 2
"""Lines of what was done, beside which no caution of the plan has room."""
TRIED = "Go on only when it stops at length, resists the pull, and the radiograph shows its tip there."
KEPT = {
    BEYOND: "deeper than the end of the root at {limit}: through the foramen. Take it out, look at a radiograph, measure again",
}
BINDS = "deeper than {tool} gets without binding, {limit}: take it out and measure again"
ASKED = {
    "place": "deeper than the end of the root at {limit}: measure again, or note it if the cone is through the foramen",
    "": "deeper than the end of the root at {limit}: measure again, or note it if it is through the foramen",
}


def state(chair: Chair, prefs: Prefs) -> dict[str, Any]:
    """All that the chair's screen shows; the try-in counts as an act of its own."""
    words, session = prefs.words, chair.session
    step, coming = session.step, session.following
    return {
        "n": chair.count,
        "tooth": prefs.tooth(chair.case.tooth),
        "canal": words(chair.plan.canal.name),
        "reference": words(chair.plan.canal.reference),
        "practice": chair.head.practice,
        "index": session.index + (not session.trying),
        "total": len(session.steps) + 1,
        "phase": session.phase.value,
        "entered": session.entered,
        "since": session.since,
        "before": session.before,
        "notes": list(session.notes),
        "noted_depth": session.depth,
        "step": _step(chair, step, words) if step else None,
        "next": " · ".join(filter(None, (words(SHORT[coming.kind]), words(coming.tool)))) if coming else "",
        "next_depth": f"{coming.depth:.1f} mm" if coming is not None and coming.depth is not None else "",
        "rise": _rise(chair) | {"limit": RISE_LIMIT},
        "retimed": _retimed(chair),
        "wait": chair.forecast.wait if chair.forecast is not None and chair.rise is not None else 0.0,
        "lines": [dict(zip(("harm", "text", "where"), line, strict=True)) for line in _lines(chair, words)]
        if step
        else [],
        "end": _end(chair, words) if session.phase is Phase.DONE else "",
        "case": f"/case/{chair.case.digest[:16]}/{chair.head.canal}/plan"
        + (f"?{chair.head.query}" if chair.head.query else ""),
    }


def _rise(chair: Chair) -> dict[str, Any]:
    """The greatest rise, no number while what was done last is still being worked out or cannot be."""
    told = chair.rise
    if told is None:
        return {"value": None, "unknown": chair.unknown}
    return {"value": round(told.value, 1), "low": round(told.low, 1), "high": round(told.high, 1), "unknown": False}


def _retimed(chair: Chair) -> bool:
    """Whether a timer to come has another time than the plan gave it."""
    session, acts = chair.session, chair.plan.protocol.acts
    return any(s.seconds is not None and s.seconds != acts[s.act].seconds for s in session.steps[session.index :])


def _step(chair: Chair, step: Step, words: Words) -> dict[str, Any]:
    """A step as the screen shows it, its lengths rounded here, so that they end in the same digit as on the page and the card."""
    kind = TRY if chair.session.trying else step.kind
    told = asdict(step) | {k: _tenths(getattr(step, k)) for k in ("depth", "low", "high")}
    colour = iso3630.colour(step.size) if step.size in iso3630.SIZES and step.size is not None else None
    noted = chair.session.depth
    return told | {
        "kind": kind,
        "words": words(DOES[kind]),
        "tool": words(step.tool),
        "read": words(READ.get(step.kind, "stop, from")),
        "cut": _cut(step, words),
        "cut_between": "({}–{})".format(*map(figure, step.cut[1:])) if step.cut else "",
        "colour": ISO_3630[colour] if colour else None,
        "colour_name": words(colour or ""),
        "asked": [{"over": d.over, "text": _sentence(_asked(d, step, words))} for d in doubts(chair.plan, step)],
        "danger": noted is not None and doubt(chair.plan, step, noted) is not None,
    }


def _asked(found: Doubt, step: Step, words: Words) -> str:
    limit = _mm(found.limit)
    if found.kind == BEYOND:
        return words(ASKED.get(step.kind, ASKED[""]), limit=limit)
    return words(BINDS, tool=words(step.tool), limit=limit)


def _lines(chair: Chair, words: Words) -> list[Line]:
    """What is to be known on this act, dangers first: a depth that cannot be, what happened, what follows for the rest, and of the plan's
    findings every danger, or the worst where there is none and room is left: all has to be read without a scroll."""
    session, step = chair.session, chair.session.step
    assert step is not None
    found = doubt(chair.plan, step, session.depth) if session.depth is not None else None
    heated = heat_advice(chair, words)  # speaks for what was done, where the plan's findings speak for what was planned
    lines = [*advice(chair, words, doubtful=found is not None), *heated]
    if found is not None:
        text = words(KEPT.get(found.kind, BINDS), tool=words(step.tool), limit=_mm(found.limit))
        lines.insert(0, ("danger", f"{session.depth:.1f} mm: {text}.", LIMIT))
    if session.trying:
        lines.append(("note", words(TRIED), ""))
    rounds = sum(s.kind == "heat" for s in session.steps)
    concerned = concerning(chair.plan, step, trying=session.trying, rounds=rounds)
    there = [f for f in concerned if f.code not in HEAT or not heated]
    room = len(lines) < OWN and not (anew(session) or step.anew)  # what was laid anew takes the room of two
    shown = there[: max(sum(f.harm is Harm.DANGER for f in there), room)]
    for finding in shown:
        harm, message, action = finding_words(finding)
        lines.append((harm, f"{words(message)} {words(action)}", key_of(finding, chair.plan)))
    lines.sort(key=lambda line: line[0] != "danger")
    if more := len(there) - len(shown):
        harm, text, where = lines[-1]
        lines[-1] = (harm, f"{text} {words('And {n} more on the page of the plan.', n=more)}", where)
    return lines


def _tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _mm(q: Quantity) -> str:
    return f"{q.value:.1f} mm ({q.low:.1f}–{q.high:.1f})"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _cut(step: Step, words: Words) -> str:
    """What is cut off the cone before it is placed."""
    if step.cut is None:
        return ""
    return words("cut {mm} mm off its tip", mm=figure(step.cut[0]))


def _said(step: Step, words: Words) -> str:
    depth = f" {step.depth:.1f} mm" if step.depth is not None else ""
    return f"{words(DOES[step.kind])}: {words(step.tool)}{depth}" if step.tool else words(DOES[step.kind])


def _end(chair: Chair, words: Words) -> str:
    """What was done beside the plan, as the screen shows it when all is done."""
    session = chair.session
    rows = [(_said(session.steps[line.step], words), session.steps[line.step], line) for line in debrief(session)]
    return ended(rows, chair.plan.heat.surface_rise, chair.rise, words)


def as_json(content: dict[str, Any]) -> str:
    """Compact JSON without numbers that JSON does not know."""
    return json.dumps(content, allow_nan=False, separators=(",", ":"))
