"""Runs in three dimensions for the heat page: each in a thread of its own, with its progress, until it is done or given up.

A run is the filling itself, then the runs behind its intervals, then the table of choices: seconds to a minute. It can be given up between
two steps; who asks for the same again while it goes on gets the one that is under way.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field

from canalwright.heat import solid
from canalwright.heat.solid import Choice, SolidDoubt, SolidStory, Voxels
from canalwright.heat.solid.playback import Playback
from canalwright.heat.solid.search import deepest
from canalwright.planning import Choices, Plan, thermal

KEPT = 6
Asked = tuple[str, int, Choices]
STAGES = (("the filling", 0.15), ("the intervals", 0.45), ("the choices", 0.4))
"""What a run does, and its share of the time."""


class GivenUp(Exception):
    """Raised inside a run that nobody wants any more."""


@dataclass
class HeatRun:
    """One run: `share` of 0 to 1 that is done, what is being done, and what came of it."""

    share: float = 0.0
    doing: str = STAGES[0][0]
    fault: str = ""
    given_up: bool = False
    plan: Plan | None = None
    story: SolidStory | None = None
    play: Playback | None = None
    doubt: SolidDoubt | None = None
    choices: tuple[Choice, ...] = ()
    done: bool = False
    lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def work(self, plan: Plan) -> None:
        """All of it, in this thread."""
        try:
            self._work(plan)
        except GivenUp:
            pass
        except ValueError as error:
            self.fault = str(error)
        self.done = True

    def _work(self, plan: Plan) -> None:
        self.plan = plan
        lumen, protocol, crest = plan.lumen, plan.protocol, plan.canal.crest
        fine, coarse = Voxels.quick(), Voxels.coarse()
        root, rough = (solid.from_lumen(lumen, crest=crest, voxels=v) for v in (fine, coarse))
        story = solid.simulate(root, protocol, voxels=fine, film=True, wide=False, step=self._step(0))
        self.play = Playback.of(story)
        self.story = story
        assert plan.workings is not None  # plans of the bench have them
        act, pause = deepest(protocol)
        self.doubt = solid.doubt(
            root, lumen, protocol, story, thermal.heat_draws(lumen, plan.workings.draws), flat=plan.workings.result.draws,
            act=act, pause=pause, coarse=rough, step=self._step(1),
        )  # fmt: skip
        self.choices = solid.what_if(rough, protocol, factor=self.doubt.factor, voxels=coarse, step=self._step(2))
        self.share = 1.0

    def _step(self, stage: int) -> Callable[[float], None]:
        before, (name, share) = sum(s for _, s in STAGES[:stage]), STAGES[stage]

        def step(part: float) -> None:
            if self.given_up:
                raise GivenUp
            self.doing = name
            self.share = max(self.share, before + share * part)

        return step


class HeatRuns:
    """Runs by case, canal and choices; the last few are kept."""

    def __init__(self) -> None:
        self._runs: OrderedDict[Asked, HeatRun] = OrderedDict()
        self._warm = False

    def warm_up(self) -> None:
        """Make the first run quick: kernels are compiled, or loaded, as soon as somebody looks at the page."""
        if not self._warm:
            self._warm = True
            solid.warm_up()

    def get(self, asked: Asked) -> HeatRun | None:
        """The run if there is one that was not given up."""
        run = self._runs.get(asked)
        return run if run is not None and not run.given_up else None

    def start(self, asked: Asked, plan: Plan) -> HeatRun:
        """The run for this plan: the one there is, or a new one."""
        run = self.get(asked)
        if run is None or run.fault:
            run = self._runs[asked] = HeatRun()
            threading.Thread(target=run.work, args=(plan,), name="heat run", daemon=True).start()
        self._runs.move_to_end(asked)
        while len(self._runs) > KEPT:
            self._runs.popitem(last=False)[1].given_up = True
        return run

    def give_up(self, asked: Asked) -> None:
        """Let a run end at its next step."""
        run = self.get(asked)
        if run is not None and not run.done:
            run.given_up = True
