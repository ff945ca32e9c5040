"""The controls of a plan: each says whether the planner or the clinician set it."""

from collections.abc import Iterable
from typing import Any

from canalwright.instruments import Tray
from canalwright.planning import Choices, Plan
from canalwright.protocol import Heat, Pause, Press
from canalwright.web.choosing import RANGES
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

SLIDERS = (
    ("activation", "Activation"),
    ("temperature", "Set temperature"),
    ("force", "Press force"),
    ("rounds", "Rounds"),
    ("trim", "Cut off the cone's tip"),
    ("wall_change", "Dentine wall, change"),
    ("hold", "Hold"),
    ("last_hold", "Last hold"),
    ("pause", "Pause between rounds"),
)
FIRST = 6
PARTS = ("coronal", "middle", "apical")


def controls(plan: Plan | None, choices: Choices, tray: Tray, words: Words) -> Safe:
    """Sliders and instruments; before the first plan only what the clinician chose is told, the rest waits for it without a number."""
    state = values(plan, choices) if plan else _chosen(choices)
    sliders = [_slider(key, words(title), state.get(key), words) for key, title in SLIDERS]
    more = el(
        "details",
        el("summary", words("Times and instruments")),
        el("div", *sliders[FIRST:], class_="sliders"),
        el("div", *_instruments(tray, state, words), class_="selects"),
        class_="more",
    )
    return join(
        el("h2", words("What if?"), id="h-controls"),
        el("div", *sliders[:FIRST], class_="sliders"),
        more,
    )


def values(plan: Plan, choices: Choices) -> dict[str, dict[str, Any]]:
    """Where each control stands, and whether the planner set it: `{key: {value, auto}}`."""
    acts = plan.protocol.acts
    heats = [a for a in acts if isinstance(a, Heat)]
    presses = [a for a in acts if isinstance(a, Press)]
    rounds = len(plan.rounds)
    planned: dict[str, Any] = {
        "activation": heats[0].seconds if heats else 0.0,
        "temperature": heats[0].temperature if heats else 0.0,
        "force": choices.force,
        "rounds": rounds,
        "trim": plan.cone.trim.value,
        "wall_change": choices.wall_change,
        "hold": presses[0].seconds if rounds > 1 else _first(choices.hold, presses[0].seconds if presses else 0.0),
        "last_hold": presses[rounds - 1].seconds if 0 < rounds <= len(presses) else 0.0,
        "pause": next((a.seconds for a in acts if isinstance(a, Pause)), choices.pause),
        "cone": plan.cone.cone.name,
        "carrier": plan.carrier.name,
        "sealer": plan.sealer.name if plan.sealer else "",
    }
    standard = Choices()
    found = {k: {"value": v, "auto": getattr(choices, k) == getattr(standard, k)} for k, v in planned.items()}
    for i, chosen in enumerate(plan.pluggers):
        found[f"plugger.{i}"] = {"value": chosen.plugger.name, "auto": choices.pluggers is None}
    return found


def _chosen(choices: Choices) -> dict[str, dict[str, Any]]:
    """What stands before there is a plan: the clinician's own choices."""
    standard = Choices()
    mine = {key: getattr(choices, key) for key in (*dict(SLIDERS), "cone", "carrier", "sealer")}
    found: dict[str, dict[str, Any]] = {
        key: {"value": value, "auto": False} for key, value in mine.items() if value != getattr(standard, key)
    }
    for i, name in enumerate(choices.pluggers or ()):
        found[f"plugger.{i}"] = {"value": name, "auto": False}
    return found


def _first(chosen: float | None, otherwise: float) -> float:
    return otherwise if chosen is None else chosen


def _slider(key: str, title: str, state: dict[str, Any] | None, words: Words) -> Safe:
    span = RANGES[key]
    value = state["value"] if state else (span.low + span.high) / 2
    told = f"{value:.{span.digits}f} {span.unit}" if state else "…"
    return el(
        "div",
        el("label", title, for_=f"c-{key}"),
        el("output", told, for_=f"c-{key}", id=f"o-{key}"),
        el(
            "input",
            type="range",
            id=f"c-{key}",
            data_choice=key,
            min=f"{span.low:g}",
            max=f"{span.high:g}",
            step=f"{span.step:g}",
            value=f"{value:g}",
            data_digits=span.digits,
            data_unit=span.unit,
            aria_valuetext=told if state else words("Not planned yet"),
            aria_describedby=f"a-{key}",
        ),
        _set_by(key, state, words),
        class_="slider",
        data_control=key,
    )


def _instruments(tray: Tray, state: dict[str, dict[str, Any]], words: Words) -> Iterable[Safe]:
    pluggers = [p.name for p in tray.pluggers]
    for i, part in enumerate(PARTS):
        yield _select(f"plugger.{i}", words("{part} plugger", part=words(part)).capitalize(), pluggers, state, words)
    yield _select("carrier", words("Heat carrier"), [c.name for c in tray.carriers], state, words)
    yield _select("cone", words("Cone"), [c.name for c in tray.cones], state, words)
    if tray.sealers:
        yield _select("sealer", words("Sealer"), [s.name for s in tray.sealers], state, words)


def _select(key: str, title: str, names: list[str], state: dict[str, dict[str, Any]], words: Words) -> Safe:
    here = state.get(key, {"value": "", "auto": True})
    options = [el("option", words(n), value=n, selected=n == here["value"]) for n in names]
    ident = f"c-{key.replace('.', '-')}"
    return el(
        "div",
        el("label", title, for_=ident),
        el("select", *options, id=ident, data_choice=key),
        _set_by(key, state.get(key), words),
        class_="select",
        data_control=key,
    )


def _set_by(key: str, state: dict[str, Any] | None, words: Words) -> Safe:
    ident = f"a-{key.replace('.', '-')}"
    return el(
        "span",
        el("span", words("as planned"), class_="planned"),
        el("span", class_="was", data_was=words("moved with it, was {value}")),
        el("button", words("yours: give back"), type="button", class_="give-back", data_give_back=key),
        class_="set-by",
        id=ident,
        data_auto=str(bool(state["auto"])).lower() if state else "unknown",
    )
