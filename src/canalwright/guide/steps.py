"""The steps of a filling as the chair shows them: one for each act of the plan's protocol."""

from dataclasses import dataclass, replace

from canalwright.planning import Plan
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Sear
from canalwright.protocol.acts import TOUCH


@dataclass(frozen=True, slots=True)
class Step:
    """One act to do.

    `act` is its place in the protocol; `kind` one of place, sear, heat, bite, press, inject, pause; `tool` the
    instrument by name and `size` its ISO size where it has one; `depth` what the rubber stop shows (of a bite the level
    at which the filling ends after it), mm, with its 5-95 % interval (`low`, `high`); `seconds` what a timer counts
    (None: no timer); `longest` the longest safe activation, s; `temperature` of the carrier, deg C; `number` of the
    round or portion; `cut` what is cut off the cone's tip before it is placed, mm, with its 5-95 % interval (None:
    nothing); `anew`: another stop or tool than the plan's act has, or of another round or portion, for what was done asked for it.
    """

    act: int
    kind: str
    tool: str = ""
    size: int | None = None
    depth: float | None = None
    low: float | None = None
    high: float | None = None
    seconds: float | None = None
    longest: float | None = None
    temperature: float | None = None
    number: int = 0
    cut: tuple[float, float, float] | None = None
    anew: bool = False

    def laid(self, depth: float | None, tool: str, number: int) -> "Step":
        """This step with another stop (mm), tool and number; the interval moves with the stop, for its doubt is that of length and hand."""
        if depth is None or self.depth is None:
            return replace(self, number=number)
        by = depth - self.depth
        low, high = (None if end is None else end + by for end in (self.low, self.high))
        anew = abs(by) > TOUCH or tool != self.tool or number != self.number
        return replace(self, depth=depth, low=low, high=high, tool=tool, number=number, anew=anew)

    @property
    def timed(self) -> bool:
        """Whether a timer runs."""
        return self.seconds is not None


def steps_of(plan: Plan) -> tuple[Step, ...]:
    """The steps of a plan, in order; as many as its protocol has acts."""
    counts = {Heat: 0, Press: 0, Inject: 0}
    found = []
    for index, act in enumerate(plan.protocol.acts):
        for kind in counts:
            counts[kind] += isinstance(act, kind)
        found.append(_step(plan, index, act, counts[Heat], counts[Press], counts[Inject]))
    return tuple(found)


def _step(plan: Plan, index: int, act: Act, heats: int, presses: int, injections: int) -> Step:
    depth = plan.canal.depth
    match act:
        case Place(tip=tip):
            seat, trim = plan.cone.seat, plan.cone.trim
            where = depth(tip) if tip > 0 else seat.value  # the models hold a cone that would pass the terminus there
            cut = (trim.value, trim.low, trim.high) if trim.value > 0 else None
            return Step(index, "place", plan.cone.cone.name, plan.cone.cone.size, where, seat.low, seat.high, cut=cut)
        case Sear(carrier=carrier, level=level, temperature=temperature):
            return Step(
                index, "sear", carrier.name, None, depth(level), *_around(plan, depth(level)), temperature=temperature
            )
        case Heat(carrier=carrier, temperature=temperature, seconds=seconds):
            stop = plan.rounds[heats - 1].carrier_stop
            longest = plan.heat.longest_activation.low
            return Step(
                index,
                "heat",
                carrier.name,
                None,
                depth(act.stop),
                stop.low,
                stop.high,
                seconds,
                longest,
                temperature,
                heats,
            )
        case Bite(level=level):
            return Step(
                index, "bite", plan.carrier.name, None, depth(level), *_around(plan, depth(level)), number=heats
            )
        case Press(plugger=plugger, stop=stop, seconds=seconds):
            shown = plan.rounds[presses - 1].plugger_stop if presses <= len(plan.rounds) else None
            low, high = (shown.low, shown.high) if shown else _around(plan, depth(stop))
            return Step(
                index,
                "press",
                plugger.name,
                None,
                depth(stop),
                low,
                high,
                seconds,
                number=max(injections or heats, 1),
            )
        case Inject(needle=needle):
            stop = plan.portions[injections - 1].needle_stop
            return Step(index, "inject", needle.name, None, stop.value, stop.low, stop.high, number=injections)
        case Pause(seconds=seconds):
            return Step(index, "pause", seconds=seconds)


def _around(plan: Plan, depth: float) -> tuple[float | None, float | None]:
    """The interval of a depth set by a stop: that of the first round's stop, moved there, for the doubt is that of the length and of the
    stop and the same at every station."""
    if not plan.rounds:
        return None, None
    stop = plan.rounds[0].carrier_stop
    return depth + stop.low - stop.value, depth + stop.high - stop.value
