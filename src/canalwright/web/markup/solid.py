"""Three dimensions of a case: root, canal, instruments and temperature over time; `static/casesolid.js` brings it to life."""

import json
from typing import Any

from canalwright.heat.solid.telling import LEAVES_OUT
from canalwright.planning import Plan
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.player import SPEEDS
from canalwright.web.words import Words


def stage(words: Words) -> Safe:
    """The place of the picture."""
    return el(
        "div",
        el("div", el("p", words("Opening…")), class_="waiting"),
        id="solid",
        class_="solid case-solid",
        data_words=json.dumps(told(words)),
    )


def told(words: Words) -> dict[str, str]:
    """Texts that the browser writes."""
    return {
        "nowebgl": words(
            "This browser offers no WebGL, so nothing can be turned here; a still picture stands in. Try another browser, or "
            "allow hardware acceleration in its settings."
        ),
        "triangles": words("{shown} of {all} triangles, {frames} frames a second"),
        "still": words("{all} triangles"),
        "turnable": words("Three dimensions: drag or arrow keys turn, wheel or + and − zoom, Home as at first"),
        "root": words("Root"),
        "lumen": words("Canal, shaped"),
        "beside": words("Other canals"),
        "filling": words("Filling"),
        "plugger": words("Plugger"),
        "carrier": words("Carrier"),
        "warmest": words("{value} °C at {mm} mm"),
        "warmest_way": words("{value} °C at {mm} mm, {angle}° from the greatest width"),
        "rise": words("Greatest rise of this run: {value} K (5–95 %: {low} to {high})."),
        "play": words("Play"),
        "pause": words("Pause"),
    }


def tools(plan: Plan, words: Words) -> list[dict[str, Any]]:
    """Every plugger at its stop, and the carrier at its deepest one: what to call it, kind, depth [mm], rows of distance and diameter."""
    pluggers = [("plugger", p.plugger.name, p.plugger.profile, p.stop) for p in plan.pluggers]
    carriers = (
        [("carrier", plan.carrier.name, plan.carrier.profile, plan.rounds[-1].carrier_stop)] if plan.rounds else []
    )
    return [
        {
            "words": words(
                "{name} at its stop, {depth} mm", name=words(name), depth=f"{q.value:.1f} ({q.low:.1f}–{q.high:.1f})"
            ),
            "kind": kind,
            "depth": q.value,
            "profile": [list(row) for row in zip(profile.at, profile.diameter, strict=True)],
        }
        for kind, name, profile, q in (*pluggers, *carriers)
    ]


def controls(words: Words, heat: str) -> Safe:
    """Time, what is going on, how the root is shown, the colours, which model they come from; `heat` is where another one is run."""
    models = (("level", words("by level: round model")), ("direction", words("by direction: run in three dimensions")))
    looks = (("glass", words("Like glass")), ("open", words("Cut open")), ("whole", words("Whole")))
    return join(
        el(
            "section",
            el("p", words("Simulating…"), id="act-now", class_="act-now", aria_live="off"),
            el("p", el("span", "0.0", id="clock"), " / ", el("span", "–", id="whole"), " s", class_="clock"),
            el("label", words("Time"), for_="scrub", class_="unseen"),
            el("input", type="range", id="scrub", min="0", max="1", step="0.1", value="0", disabled=True),
            el(
                "div",
                el("button", words("Play"), type="button", class_="button main", id="play", disabled=True),
                el("span", el("label", words("Speed"), for_="speed"), " ",
                   el("select", *(el("option", shown, value=v, selected=v == "5") for v, shown in SPEEDS), id="speed")),
                class_="actions",
            ),
            class_="transport",
            aria_label=words("Player"),
        ),
        el(
            "section",
            el("h2", words("The root"), id="h-root"),
            el("div", *(el("label", el("input", type="radio", name="look", value=v, checked=v == "glass"), el("span", t))
                        for v, t in looks), class_="looks", role="radiogroup", aria_labelledby="h-root"),
            el("div", el("label", words("Instruments"), for_="tool"),
               el("select", el("option", words("over time"), value=""), id="tool"), class_="field"),
            el("h3", words("Temperature of the root"), id="h-model"),
            el("div", *(el("label", el("input", type="radio", name="model", value=v, checked=v == "level", disabled=v != "level"),
                           el("span", t)) for v, t in models), class_="looks", role="radiogroup", aria_labelledby="h-model"),
            el("p", words("There is no run in three dimensions of these choices yet."), " ",
               el("a", words("Run it on the page Heat"), href=heat), id="to-heat", class_="quiet"),
            _scale("surface", words("root surface, °C")),
            _scale("axis", words("filling on the axis, °C")),
            el("p", words("Warmest outside now:"), " ", el("b", "–", id="warmest"), class_="quiet"),
            class_="part",
            aria_labelledby="h-root",
        ),
        el(
            "p",
            words(
                "One run with the values as read, mapped by level: the model is round, so its temperature is the same all round "
                "the root. The root is drawn as thick everywhere as its least wall; side branches are left out."
            ),
            class_="quiet", data_model="level",
        ),
        el(
            "p",
            words(
                "One run in three dimensions with the values as read: means over 15° of direction and 0.25 mm of level, laid on a root "
                "drawn as thick everywhere as its least wall. The numbers above are those of the round model; those of this run, with "
                "their intervals, are on the page Heat."
            ), " ", el("b", words("Its interval is not reckoned yet."), id="rise"), " ", words(LEAVES_OUT),
            class_="quiet", data_model="direction", hidden=True,
        ),
    )  # fmt: skip


def _scale(name: str, title: str) -> Safe:
    return el("div", el("span", title), el("canvas", width=256, height=1, aria_hidden="true"),
              el("span", "", class_="ticks quiet"), class_="warmth", id=f"scale-{name}")  # fmt: skip
