"""`plan`: from one canal and one tray to a whole plan with intervals."""

import threading
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from canalwright import __version__, compaction, fit, heat, shaping
from canalwright.anatomy import perturbed
from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.instruments import Sealer, Tray
from canalwright.planning import findings, fitting, moved, practice, summary, thermal
from canalwright.planning.backfill import Top, backfill_top, lay_portions, needle_stop, sealer_film, widest_needle
from canalwright.planning.choices import Choices
from canalwright.planning.doubt import Draws
from canalwright.planning.downpack import Step, lay_rounds, pressed_there, widest_reaching
from canalwright.planning.fitting import Tools
from canalwright.planning.moved import LEAST_WALL
from canalwright.planning.product import Plan
from canalwright.planning.script import Fill, Timing, downpack_protocol, whole_protocol
from canalwright.planning.workings import Workings
from canalwright.protocol import Heat, Protocol
from canalwright.readiness import Record, judge

Array = NDArray[np.float64]


Telling = Callable[[str, float], None]
FITTED, TIMED, HEATED, JUDGED = 0.22, 0.28, 0.9, 0.96
"""Shares of the whole work after which the tools are fitted, the times chosen, the drawn canals heated and the filling pressed: as
measured for an invented molar's canals, of 1.7 s of computing."""


class PlanError(ValueError):
    """A plan that cannot be made: what stands against it, and what to do."""


def plan(
    canal: Canal,
    tray: Tray,
    choices: Choices | None = None,
    record: Record | None = None,
    *,
    threads: int | None = None,
    step: Telling = lambda doing, share: None,
) -> Plan:
    """Plan the filling of `canal` with the instruments of `tray`; with a `record` the plan carries its readiness.

    Raises PlanError for a choice that the tray does not offer or that no filling can have, and for a tray without cones,
    pluggers or carriers. The result is the same for the same input, whatever `threads` (None: one for each core): draws are seeded
    by `choices.seed`. `step` hears what is done and the share of all the work that lies behind, 0 to 1.
    """
    choices = choices or Choices()
    check(choices)
    try:
        made = _make(canal, tray, choices, None, threads, step)
    except fitting.ChoiceError as error:
        raise PlanError(str(error)) from None
    step("judging what comes before the filling", JUDGED)
    return findings.with_readiness(made, judge(canal, tray, record)) if record is not None else made


def preview(base: Plan, choices: Choices) -> Plan:
    """The plan that `choices` would give, at once: for a control under the hand. `plan` gives the final word.

    The heat model runs once, coarsely, with nominal values; its spread is taken over from `base` in proportion;
    branches and wall stress come from a few draws, the risk at the terminus stays as it was.
    Rounds, temperature, activation and holds that the planner chose for `base` stay unless `choices` sets them.
    Raises PlanError as `plan` does, and ValueError for a base that was not made by `plan`.
    """
    if base.workings is None:
        raise ValueError("a preview needs a plan made by `plan`")
    check(choices)
    try:
        return _make(base.workings.canal, base.tray, _as_planned(base, choices), base)
    except fitting.ChoiceError as error:
        raise PlanError(str(error)) from None


def _make(
    original: Canal,
    tray: Tray,
    choices: Choices,
    base: Plan | None,
    threads: int | None = None,
    step: Telling = lambda doing, share: None,
) -> Plan:
    step("fitting cone and instruments", 0.0)
    canal = _changed(original, choices)
    lumen = shaping.shaped(canal)
    lumen = replace(lumen, wall=np.maximum(lumen.wall, LEAST_WALL))
    old = base.workings if base else None
    if old and base and same_fit(base.choices, choices):
        draws = replace(old.draws if base.choices.force == choices.force else old.draws.pressed(choices), canal=canal)
        tools = (
            old.tools
            if same_cone(base.choices, choices)
            else fitting.with_cone(old.tools, draws, tray, _cone_kept(base, choices))
        )
    else:
        draws = Draws.of(canal, choices)
        tools = fitting.fit_tools(draws, tray, choices)
    step("choosing rounds and times", FITTED)
    steps, timing = rounds_and_timing(draws, lumen, tools, choices)
    top = backfill_top(canal, steps[-1].left)
    fills = _fills(tools, steps, top)
    protocol = whole_protocol(downpack_of(canal, tools, steps, timing), fills, timing)

    def heated(share: float) -> None:
        step("heating the drawn canals", TIMED + share * (HEATED - TIMED))

    result = (
        thermal.in_proportion(lumen, protocol, old.result)
        if old
        else thermal.run(lumen, protocol, draws, threads, heated)
    )
    step("pressing the filling", HEATED)
    sealer = sealer_of(tray, choices)
    known = old.pressed.extrusion if old else None
    pressed = moved.move(canal, lumen, protocol, result.story, sealer, choices, known)
    rounds = summary.rounds(draws, steps, protocol, timing, result)
    made = Plan(
        canal=canal,
        tray=tray,
        choices=choices,
        lumen=lumen,
        cone=tools.cone,
        paper_point=tools.paper_point,
        pluggers=tuple(fitting.plugger_plan(draws, p) for p in tools.pluggers),
        carrier=tools.carrier,
        sealer=sealer,
        reaches=tools.reaches,
        rounds=rounds,
        portions=summary.portions(draws, fills, protocol, timing, result),
        backfill_top=draws.depth(top.z),
        backfill_reason=top.reason,
        heat=summary.heat_summary(draws, result),
        fill=pressed.summary,
        extrusion=pressed.extrusion,
        sealer_volume=summary.sealer_volume(draws, sealer_film(lumen, sealer.film_thickness) if sealer else 0.0),
        protocol=protocol,
        findings=(),
        supposed=0.0,
        versions={"canalwright": __version__},
        workings=Workings(original, draws, tools, result, pressed),
    )
    supposed, leading = summary.rests_on(draws, made)
    made = replace(made, supposed=supposed, leading=leading)
    made = replace(made, findings=findings.find(made, draws, tools, top))
    return findings.with_readiness(made, base.readiness) if base and base.readiness else made


def rounds_and_timing(draws: Draws, lumen: Lumen, tools: Tools, choices: Choices) -> tuple[tuple[Step, ...], Timing]:
    """Rounds and their timing: as few as the usual plunge asks for, up to two more where that spares the root surface.

    Where no number of rounds does, activations shorter than the usual speed of the plunge are tried; the findings then say
    what is left of the margin.
    """
    steps = _steps(draws, tools, choices.rounds)
    free = choices.rounds is None and choices.activation is None
    for count in (None, len(steps) + 1, len(steps) + 2) if free else (choices.rounds,):
        tried = steps if count is None else _steps(draws, tools, count)
        timing, spares = _timing(draws.canal, lumen, tools, tried, choices, thermal.TRIALS)
        if spares:
            return tried, timing
    if choices.activation is None:
        timing, _ = _timing(draws.canal, lumen, tools, steps, choices, thermal.SHORT)
    return steps, timing


def _steps(draws: Draws, tools: Tools, rounds: int | None) -> tuple[Step, ...]:
    end, orifice = draws.canal.end, draws.passage.orifice
    deepest = max(float(tools.carrier_reach.z[0]) + 0.25, end + practice.CLEARANCE_TO_END)
    if deepest >= orifice - 0.5:
        raise PlanError(
            f"carrier {tools.carrier.name!r} gets no deeper than {deepest:.1f} mm from the terminus, the orifice lies at "
            f"{orifice:.1f} mm ({tools.carrier_reach.stopped_by}); add a thinner carrier to the tray or shape more"
        )
    pluggers = tuple((p.plugger, p.stop) for p in tools.pluggers)
    most = min(end + practice.REACH_TO_END, orifice - 0.5)
    return lay_rounds(orifice, pressed_there(deepest, most, pluggers), pluggers, rounds)


def _timing(
    canal: Canal, lumen: Lumen, tools: Tools, steps: tuple[Step, ...], choices: Choices, trials: tuple[float, ...]
) -> tuple[Timing, bool]:
    """Timing of these rounds, and whether it spares the root surface; activations from `trials` leave time for the plunge."""
    offered = sorted(tools.carrier.temperatures, reverse=True)
    usual = [t for t in offered if t <= practice.TEMPERATURE] or offered[-1:]
    temperatures = [choices.temperature] if choices.temperature is not None else usual
    plunge = max(step.top - step.carrier_stop for step in steps) / practice.PLUNGE_SPEED
    enough = [t for t in trials if t >= plunge - 1e-9] or list(trials)
    activations = [choices.activation] if choices.activation is not None else enough
    timing = Timing(
        temperature=temperatures[0],
        activation=activations[0],
        hold=choices.hold if choices.hold is not None else practice.PRESS,
        last_hold=choices.last_hold if choices.last_hold is not None else practice.LAST_PRESS,
        pause=choices.pause,
        force=choices.force,
        backfill_temperature=choices.backfill_temperature,
    )

    def make(setting: thermal.Setting) -> Protocol:
        changed = replace(timing, temperature=setting.temperature, activation=setting.activation)
        return downpack_of(canal, tools, steps, changed)

    spares = True
    if len(temperatures) > 1 or len(activations) > 1:
        setting = thermal.choose_setting(lumen, canal, temperatures, activations, make)
        timing = replace(timing, temperature=setting.temperature, activation=setting.activation)
        spares = setting.spares
    if choices.last_hold is None:
        timing = replace(timing, last_hold=thermal.last_hold(lumen, downpack_of(canal, tools, steps, timing)))
    return timing, spares


def downpack_of(canal: Canal, tools: Tools, steps: tuple[Step, ...], timing: Timing) -> Protocol:
    """The downpack of these rounds: the cone placed and seared, then heat, bite, press and pause in turn."""
    cone = tools.cone.cone.trimmed(tools.cone.trim.value) if tools.cone.trim.value > 0 else tools.cone.cone
    tip = max(canal.length.value - tools.cone.seat.value, 0.0)
    return downpack_protocol(cone, tip, steps[0].top, tools.carrier, steps, timing)


def _fills(tools: Tools, steps: tuple[Step, ...], top: Top) -> tuple[Fill, ...]:
    bottom = steps[-1].left
    needles = tuple((n, float(r.z[0])) for n, r in tools.needles)
    pluggers = tuple((p.plugger, p.stop) for p in tools.pluggers)
    fills = []
    for low, high in lay_portions(bottom, top.z):
        needle = widest_needle(needles, low)
        if needle is None:
            break
        packer, _ = widest_reaching(pluggers, high)
        fills.append(Fill(low, high, needle[0], needle_stop(low, needle[1]), packer))
    return tuple(fills)


def sealer_of(tray: Tray, choices: Choices) -> Sealer | None:
    """The sealer chosen, else the first of the tray; None where it has none. Raises PlanError for a name not on it."""
    if choices.sealer is None:
        return tray.sealers[0] if tray.sealers else None
    for sealer in tray.sealers:
        if sealer.name == choices.sealer:
            return sealer
    names = ", ".join(s.name for s in tray.sealers) or "none"
    raise PlanError(f"sealer {choices.sealer!r} is not on tray {tray.name!r}; it has {names}")


def _as_planned(base: Plan, choices: Choices) -> Choices:
    """Choices in which rounds, temperature, activation and holds that the planner had chosen stay as they are."""
    heats = [act for act in base.protocol.acts if isinstance(act, Heat)]
    return replace(
        choices,
        rounds=choices.rounds if choices.rounds is not None else len(base.rounds),
        temperature=choices.temperature if choices.temperature is not None else heats[-1].temperature,
        activation=choices.activation if choices.activation is not None else heats[-1].seconds,
        last_hold=choices.last_hold if choices.last_hold is not None else base.rounds[-1].hold.value,
    )


_FIT = ("carrier", "pluggers", "width_change", "draws", "seed")


def same_fit(one: Choices, other: Choices) -> bool:
    """True where nothing differs that pluggers, carrier, needles or the canals drawn depend on; the force is in none of them."""
    return all(getattr(one, name) == getattr(other, name) for name in _FIT)


def same_cone(one: Choices, other: Choices) -> bool:
    """True where cone and trim are asked for alike."""
    return (one.cone, one.trim) == (other.cone, other.trim)


def _cone_kept(base: Plan, choices: Choices) -> Choices:
    """The planner's own choice of a cone does not depend on the trim: it stays while the trim is moved."""
    if choices.cone is None and base.choices.cone is None:
        return replace(choices, cone=base.cone.cone.name)
    return choices


def _changed(canal: Canal, choices: Choices) -> Canal:
    if choices.wall_change == 0 and choices.width_change == 0:
        return canal
    return perturbed(canal, wall=choices.wall_change, width=choices.width_change)


_RANGES = {
    "temperature": (100.0, 400.0, "deg C"), "activation": (0.5, 15.0, "s"), "force": (1.0, 60.0, "N"), "hold": (1.0, 120.0, "s"),
    "last_hold": (1.0, 120.0, "s"), "pause": (0.0, 120.0, "s"), "rounds": (1, 8, ""), "backfill_temperature": (50.0, 220.0, "deg C"),
    "wall_change": (-2.0, 2.0, "mm"), "width_change": (-0.5, 0.5, "mm"), "trim": (0.0, 10.0, "mm"), "draws": (64, 100_000, ""),
}  # fmt: skip


def check(choices: Choices) -> None:
    """Raises PlanError for a choice that no filling can have."""
    for name, (low, high, unit) in _RANGES.items():
        value = getattr(choices, name)
        if value is not None and not low <= value <= high:
            raise PlanError(
                f"{name} = {value} {unit}".strip() + f": allowed {low:g} to {high:g}; choose a value in this range"
            )


def warm_up() -> threading.Thread:
    """Load or compile the kernels in a background thread, which is returned, so that the first plan does not wait for them."""

    def work() -> None:
        heat.warm_up().join()
        fit.warm_up()
        compaction.warm_up(wait=True)

    thread = threading.Thread(target=work, name="planning warm-up", daemon=True)
    thread.start()
    return thread
