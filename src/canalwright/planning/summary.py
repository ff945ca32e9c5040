"""From draws and heat runs to the numbers of the plan."""

import numpy as np
from numpy.typing import NDArray

from canalwright.planning import backfill, practice
from canalwright.planning.doubt import Draws
from canalwright.planning.downpack import Step
from canalwright.planning.parts import HeatSummary, Portion, Round
from canalwright.planning.product import Plan
from canalwright.planning.script import Fill, Timing
from canalwright.planning.thermal import LONGEST_HOLD, Thermal
from canalwright.protocol import Act, Heat, Inject, Press, Protocol
from canalwright.quantities import Origin, Quantity, Source

Array = NDArray[np.float64]
_CHOSEN = Source(Origin.COMPUTED, "set by the plan")


def rounds(
    draws: Draws, steps: tuple[Step, ...], protocol: Protocol, timing: Timing, result: Thermal
) -> tuple[Round, ...]:
    """Each round of the downpack; fronts and rises carried from the few draws."""
    heats = _indices(protocol, Heat)
    presses = _indices(protocol, Press)
    found = []
    for number, step in enumerate(steps, start=1):
        first, press = heats[number - 1], presses[number - 1]
        front = np.nanmin(result.draws.front[:, first : press + 1], axis=1)
        rise = np.nanmax(result.draws.act_rise[:, : press + 2], axis=1)
        held = timing.last_hold if number == len(steps) else timing.hold
        found.append(
            Round(
                number=number,
                carrier_stop=draws.depth(step.carrier_stop, set_by_stop=True),
                activation=Quantity.exact(timing.activation, "s", _CHOSEN),
                bite=draws.summarise(np.maximum(step.bite + draws.sample["stop"], 0.0), "mm"),
                plugger=step.plugger,
                plugger_stop=draws.depth(step.pressed, set_by_stop=True),
                hold=_hold(draws, held, result.draws.cooled[:, press]),
                front=draws.depth(draws.carried(front)),
                surface_rise=draws.carry(np.maximum(rise, 1e-3), "K", positive=True),
            )
        )
    return tuple(found)


def portions(
    draws: Draws, fills: tuple[Fill, ...], protocol: Protocol, timing: Timing, result: Thermal
) -> tuple[Portion, ...]:
    """Each portion of the backfill; volumes from the drawn lumen, with the allowance for contraction."""
    injections = _indices(protocol, Inject)
    passage = draws.passage
    found = []
    for number, fill in enumerate(fills, start=1):
        floor = fill.bottom + draws.sample["stop"]
        volume = backfill.volumes(passage.z, passage.minor, passage.major, fill.bottom, fill.top)
        length = fill.top - fill.bottom
        volume = volume * np.clip(1 - (floor - fill.bottom) / length, 0.1, None) * (1 + practice.CONTRACTION_ALLOWANCE)
        press = injections[number - 1] + 1
        found.append(
            Portion(
                number=number,
                needle=fill.needle,
                needle_stop=draws.depth(fill.needle_stop, set_by_stop=True),
                bottom=draws.depth(fill.bottom, set_by_stop=True),
                top=draws.depth(fill.top, set_by_stop=True),
                volume=draws.summarise(volume, "mm3"),
                resoften=_resoftened(draws, fill, result, injections[number - 1]),
                plugger=fill.plugger,
                hold=_hold(draws, timing.portion_hold, result.draws.cooled[:, press]),
            )
        )
    return tuple(found)


def heat_summary(draws: Draws, result: Thermal) -> HeatSummary:
    """Rise, dose and margin at the root surface over the whole protocol."""
    many = result.draws
    rise = draws.carried(np.maximum(many.surface_rise, 1e-3), positive=True)
    rise[0] = result.story.surface_rise
    few = draws.few
    return HeatSummary(
        surface_rise=draws.summarise(rise, "K"),
        surface_level=few.summarise(few["length"] - many.surface_level, "mm"),
        above_47=few.summarise(many.above_47.max(axis=1), "s"),
        cem43=few.summarise(many.cem43.max(axis=1), "min"),
        margin=draws.summarise(practice.RISE_LIMIT - rise, "K"),
        longest_activation=draws.carry(np.maximum(result.longest_by_draw, 1e-3), "s", positive=True),
        apical=draws.carry(many.apical, "°C"),
    )


def sealer_volume(draws: Draws, film: float) -> Quantity:
    """Sealer for a film on the whole wall; its thickness is good to a factor of two (assumed)."""
    return Quantity(
        film,
        film / 2,
        film * 2,
        "mm3",
        Source(Origin.ASSUMED, "film thickness, to a factor of two"),
        1.0,
        "sealer film",
    )


def rests_on(draws: Draws, plan: Plan) -> tuple[float, tuple[tuple[str, float], ...]]:
    """Mean share of the doubt of the main numbers that rests on averages or assumptions, and the inputs that lead."""
    main = [
        plan.cone.seat, plan.heat.surface_rise, plan.heat.longest_activation,
        *(p.reach for p in plan.pluggers), *(r.front for r in plan.rounds),
    ]  # fmt: skip
    counted: dict[str, float] = {}
    for quantity in main:
        if quantity.leading:
            counted[quantity.leading] = counted.get(quantity.leading, 0.0) + 1 / len(main)
    supposed = float(np.mean([q.supposed for q in main]))
    return supposed, tuple(sorted(counted.items(), key=lambda pair: -pair[1]))


def _hold(draws: Draws, held: float, cooled: Array) -> Quantity:
    """Seconds to hold, and how long the gutta-percha beneath takes to set in 5 to 95 % of the draws."""
    drawn = draws.few.summarise(np.minimum(np.nan_to_num(cooled, nan=held, posinf=LONGEST_HOLD), LONGEST_HOLD), "s")
    return Quantity(
        held, min(drawn.low, held), max(drawn.high, held), "s", Source(Origin.COMPUTED, "held; interval: time to set"),
        drawn.supposed, drawn.leading,
    )  # fmt: skip


def _resoftened(draws: Draws, fill: Fill, result: Thermal, act: int) -> Quantity:
    """How much of the old surface is soft once the hot portion lies on it, mm."""
    front = np.nanmin(result.draws.front[:, act : act + 2], axis=1)
    return draws.summarise(np.maximum(draws.carried(fill.bottom - front), 0.0), "mm")


def _indices(protocol: Protocol, kind: type[Act]) -> list[int]:
    return [i for i, act in enumerate(protocol.acts) if isinstance(act, kind)]
