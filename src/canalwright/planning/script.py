"""From rounds and portions to the timed list of acts."""

from dataclasses import dataclass

from canalwright.instruments import Carrier, Cone, Needle, Plugger
from canalwright.planning import practice
from canalwright.planning.downpack import Step
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Protocol, Sear


@dataclass(frozen=True)
class Timing:
    """Seconds, temperatures and force of a filling; `hold` of each round but the last, `last_hold` of that."""

    temperature: float
    activation: float
    hold: float
    last_hold: float
    pause: float
    force: float
    backfill_temperature: float
    portion_hold: float = practice.PRESS


@dataclass(frozen=True)
class Fill:
    """One portion: stations of its floor and top, the needle and where its tip stands, the plugger that packs it."""

    bottom: float
    top: float
    needle: Needle
    needle_stop: float
    plugger: Plugger


def downpack_protocol(
    cone: Cone, tip: float, orifice: float, carrier: Carrier, steps: tuple[Step, ...], timing: Timing
) -> Protocol:
    """Place, sear and the rounds; the cone's tip at `tip` (z), the sear at `orifice`."""
    acts: list[Act] = [
        Place(cone, tip),
        Sear(carrier, orifice, timing.temperature, practice.SEAR_SECONDS),
        Pause(timing.pause),
    ]
    for number, step in enumerate(steps, start=1):
        plunge = min((step.top - step.carrier_stop) / practice.PLUNGE_SPEED, timing.activation)
        hold = timing.last_hold if number == len(steps) else timing.hold
        acts += [
            Heat(carrier, step.carrier_stop, timing.temperature, timing.activation, plunge, practice.DWELL),
            Bite(step.bitten, practice.BURST),
            Press(step.plugger, step.pressed, timing.force, hold),
            Pause(timing.pause),
        ]
    return Protocol(tuple(acts))


def whole_protocol(downpack: Protocol, fills: tuple[Fill, ...], timing: Timing) -> Protocol:
    """The downpack and, after it, the backfill portions each pressed with a cold plugger."""
    acts = list(downpack.acts)
    for fill in fills:
        acts += [
            Inject(fill.needle, fill.bottom, fill.top, timing.backfill_temperature, practice.NEEDLE_SECONDS),
            Press(fill.plugger, fill.top, timing.force, timing.portion_hold),
            Pause(timing.pause),
        ]
    return Protocol(tuple(acts))
