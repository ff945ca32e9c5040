"""Runs in three dimensions for the heat page: each in a process of its own, with its progress, until it is done or given up.

A run is the filling itself, then the runs behind its intervals, then the table of choices: seconds to a minute. The filling can be looked
at while the rest goes on. Who asks for the same again gets the run that is under way.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field

from canalwright.heat import solid
from canalwright.heat.solid import Choice, SolidDoubt, SolidStory, Voxels
from canalwright.heat.solid.playback import Playback
from canalwright.heat.solid.search import deepest
from canalwright.planning import Choices, Plan, PlanError, thermal
from canalwright.web.hands import Hands, Work
from canalwright.web.worker import Teller

KEPT = 6
Asked = tuple[str, int, Choices]
STAGES = (("the filling", 0.15), ("the intervals", 0.45), ("the choices", 0.4))
"""What a run does, and its share of the time."""
Filled = tuple[SolidStory, Playback]
Known = tuple[SolidDoubt, tuple[Choice, ...]]


@dataclass
class HeatRun:
    """One run of a plan: its `work`, and what came of it so far."""

    plan: Plan
    work: Work = field(init=False)
    story: SolidStory | None = None
    play: Playback | None = None
    doubt: SolidDoubt | None = None
    choices: tuple[Choice, ...] = ()


class HeatRuns:
    """Runs by case, canal and choices; the last few are kept."""

    def __init__(self, hands: Hands) -> None:
        self._hands = hands
        self._runs: OrderedDict[Asked, HeatRun] = OrderedDict()

    def warm_up(self) -> None:
        """Make the first run quick: somebody looks at the page."""
        self._hands.warm(yields=True)

    def get(self, asked: Asked) -> HeatRun | None:
        """The run if there is one that was not given up."""
        run = self._runs.get(asked)
        return run if run is not None and run.work.state != "cancelled" else None

    def start(self, asked: Asked, plan: Plan) -> HeatRun:
        """The run for this plan: the one there is, or a new one."""
        run = self.get(asked)
        if run is None or run.work.state == "failed":
            run = self._runs[asked] = self._begin(plan)
        self._runs.move_to_end(asked)
        while len(self._runs) > KEPT:
            self._runs.popitem(last=False)[1].work.cancel()
        return run

    def give_up(self, asked: Asked) -> None:
        """End a run, whatever it is doing."""
        run = self.get(asked)
        if run is not None:
            run.work.cancel()

    def _begin(self, plan: Plan) -> HeatRun:
        def filled(piece: Filled) -> None:
            run.story, run.play = piece

        def known(result: Known) -> None:
            run.doubt, run.choices = result

        run = HeatRun(plan)
        run.work = self._hands.do("heat", _run, plan, part=filled, done=known, yields=True)
        return run


def _run(told: Teller, plan: Plan) -> Known:
    """The run of a plan; the filling is handed over as soon as it is there. Raises PlanError for a canal that no run can be made of."""
    step = _steps(told)
    lumen, protocol, crest = plan.lumen, plan.protocol, plan.canal.crest
    fine, coarse = Voxels.quick(), Voxels.coarse()
    try:
        root, rough = (solid.from_lumen(lumen, crest=crest, voxels=v) for v in (fine, coarse))
        story = solid.simulate(root, protocol, voxels=fine, film=True, wide=False, step=step(0))
        told.part((story, Playback.of(story)))
        assert plan.workings is not None  # plans of the bench have them
        act, pause = deepest(protocol)
        doubt = solid.doubt(
            root, lumen, protocol, story, thermal.heat_draws(lumen, plan.workings.draws), flat=plan.workings.result.draws,
            act=act, pause=pause, coarse=rough, step=step(1),
        )  # fmt: skip
        return doubt, solid.what_if(rough, protocol, story=story, sure=doubt, voxels=coarse, step=step(2))
    except ValueError as error:
        raise PlanError(str(error)) from None


def _steps(told: Teller) -> Callable[[int], Callable[[float], None]]:
    """For each stage what hears its share, from any thread; what is told never falls."""
    most, lock = 0.0, threading.Lock()

    def of(stage: int) -> Callable[[float], None]:
        before, (name, share) = sum(s for _, s in STAGES[:stage]), STAGES[stage]

        def step(part: float) -> None:
            nonlocal most
            with lock:
                most = max(most, before + share * part)
                told(name, most)

        step(0.0)
        return step

    return of
