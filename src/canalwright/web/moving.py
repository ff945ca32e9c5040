"""The moving picture of a filling for teaching: made by a process in the background, with progress and a way out, then fetched."""

from collections import OrderedDict

from canalwright.casefile import Case
from canalwright.planning import Choices, Plan, Story
from canalwright.report.animation import animation_bytes
from canalwright.web.bench import Asked, Bench
from canalwright.web.hands import Hands, Work
from canalwright.web.worker import Told

KEPT = 6
EVERY, SPEED = 0.5, 4.0


class MovingPictures:
    """Pictures by case, canal and choices, made once; the last few are kept."""

    def __init__(self, bench: Bench, hands: Hands) -> None:
        self._bench, self._hands = bench, hands
        self._works: OrderedDict[Asked, Work] = OrderedDict()
        self._made: OrderedDict[Asked, bytes] = OrderedDict()

    async def start(self, case: Case, index: int, choices: Choices) -> Work:
        """Begin the picture of this filling, or give what is under way or made; raises PlanError."""
        asked = (case.digest, index, choices)
        work = self._works.get(asked)
        if work is not None and (not work.over or asked in self._made):
            return work
        plan, story = await self._bench.story(case, index, choices)

        def done(picture: bytes) -> None:
            self._made[asked] = picture
            while len(self._made) > KEPT:
                self._made.popitem(last=False)

        work = self._works[asked] = self._hands.do(
            "moving picture", _draw, plan, story, case.label, done=done, yields=True
        )
        while len(self._works) > 4 * KEPT:
            self._works.popitem(last=False)[1].cancel()
        return work

    def state(self, asked: Asked) -> Work | None:
        """How far it is; None where it was never asked for, or is not kept any more."""
        work = self._works.get(asked)
        return None if work is not None and work.state == "done" and asked not in self._made else work

    def picture(self, asked: Asked) -> bytes | None:
        """The picture once it is made."""
        return self._made.get(asked)


def _draw(told: Told, plan: Plan, story: Story, label: str) -> bytes:
    told("drawing the frames", 0.0)
    return animation_bytes(
        plan, story, ".gif", every=EVERY, speed=SPEED, label=label, told=lambda share: told("drawing the frames", share)
    )
