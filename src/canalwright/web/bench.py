"""Where plans are made, each only once: whole plans in a process that yields to everything else, quick answers in threads.

Measured on two cores that others kept busy (load 6): a preview took 0.06 s alone, 0.12 to 0.21 s beside a whole plan in a thread of the
same process, and 0.06 to 0.10 s beside one in a process with lower priority. So the hand on a control does not feel the whole plan.

What is being made can be cancelled: its process ends, and who waited for it is told `Cancelled`.
"""

import asyncio
import contextlib
from collections import Counter, OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

from canalwright import planning
from canalwright.casefile import Case
from canalwright.instruments import Tray
from canalwright.planning import Choices, Plan, PlanError, Story
from canalwright.web import plans
from canalwright.web.hands import Hands, Work

T = TypeVar("T")
Asked = tuple[str, int, Choices]
Key = tuple[str, Asked]
REST = 1800.0
"""Seconds that the planner waits for the next plan: it takes longer to start than others, its kernels have to be loaded."""


class Cancelled(PlanError):
    """A plan or story that somebody stopped while it was made."""

    def __init__(self) -> None:
        super().__init__("Cancelled before it was ready. What is shown, if anything, is older than your choice.")


class Failed(PlanError):
    """A plan or story that could not be made through no fault of what was asked: the same may be asked again."""


class Bench:
    """Plans and stories by case, canal and choices; what was made last is kept."""

    def __init__(self, tray: Tray, kept: int = 40) -> None:
        self.tray, self._kept = tray, kept
        self._hands = Hands(at_once=1, newest_first=True, rest=REST, refuses=(PlanError,), loads=plans.__name__)
        self._quick = ThreadPoolExecutor(2, "quick")
        self._made: OrderedDict[Key, asyncio.Future[Any]] = OrderedDict()
        self._under_way: dict[Key, Work] = {}
        self._waiting: Counter[Key] = Counter()

    async def plan(self, case: Case, index: int, choices: Choices) -> Plan:
        """The whole plan; raises planning.PlanError."""
        canal = case.canals[index]
        made: Plan = await self._once(
            "plan", (case.digest, index, choices), plans.plan, canal, self.tray, choices, case.record(canal.name)
        )
        return made

    def there(self, case: Case, index: int, choices: Choices) -> Plan | None:
        """The whole plan if it has been made."""
        made = self._made.get(("plan", (case.digest, index, choices)))
        return made.result() if made is not None and made.done() and not made.exception() else None

    async def preview(self, base: Plan, choices: Choices) -> Plan:
        """What the plan would be, within a tenth of a second; raises planning.PlanError."""
        return await asyncio.get_running_loop().run_in_executor(self._quick, planning.preview, base, choices)

    async def story(self, case: Case, index: int, choices: Choices) -> tuple[Plan, Story]:
        """The plan and its simulation."""
        plan = await self.plan(case, index, choices)
        story: Story = await self._once("story", (case.digest, index, choices), plans.story, plan)
        return plan, story

    def progress(self, case: Case, index: int, choices: Choices) -> tuple[str, float | None]:
        """What is done for the plan that is being made of this, and the share of it; no words while it waits its turn, or none is made."""
        work = self._under_way.get(("plan", (case.digest, index, choices)))
        return (work.told, work.share) if work is not None else ("", None)

    def cancel(self, case: Case, index: int, choices: Choices) -> bool:
        """Stop what is being made of this, plan or story; False where nothing is. Whoever waits for it hears `Cancelled`."""
        asked = (case.digest, index, choices)
        works = [w for kind in ("plan", "story") if (w := self._under_way.get((kind, asked))) is not None]
        for work in works:
            work.cancel()
        if works:
            self.warm_up()
        return bool(works)

    def warm_up(self) -> None:
        """Start the planner's process, so that the next plan does not wait for it."""
        self._hands.do("warm-up", plans.warm_up, done=lambda _: None, yields=True)

    async def aside(self, work: Callable[..., T], *arguments: Any) -> T:
        """Any other work that would hold up the page, such as setting a card."""
        return await asyncio.get_running_loop().run_in_executor(self._quick, work, *arguments)

    def close(self) -> None:
        """Let go of processes and threads; what has not begun is not begun."""
        for work in list(self._under_way.values()):
            work.cancel()
        self._hands.close()
        self._quick.shutdown(wait=False, cancel_futures=True)

    async def _once(self, kind: str, asked: Asked, task: Callable[..., Any], *arguments: Any) -> Any:
        """The answer that is there, or under way, or made now. A reader who goes away does not stop the others' work.

        What nobody waits for any more and has not begun is not begun; what has begun is made and kept.
        A fault is not kept: who asks again gets another try, with a new process where the old one died.
        """
        key = (kind, asked)
        made = self._made.get(key)
        if made is None:
            made = self._made[key] = self._begin(key, task, *arguments)
        self._made.move_to_end(key)
        for old in [k for k in self._made if k not in self._under_way][: max(0, len(self._made) - self._kept)]:
            del self._made[old]
        self._waiting[key] += 1
        try:
            return await asyncio.shield(made)
        finally:
            self._waiting[key] -= 1
            if not self._waiting[key]:
                del self._waiting[key]
                self._forgo(key)

    def _forgo(self, key: Key) -> None:
        work = self._under_way.get(key)
        if work is not None and work.state == "waiting":
            del self._under_way[key]
            self._made.pop(key).cancel()
            work.cancel()

    def _begin(self, key: Key, task: Callable[..., Any], *arguments: Any) -> "asyncio.Future[Any]":
        loop = asyncio.get_running_loop()
        future: asyncio.Future[Any] = loop.create_future()

        def settle(work: Work, result: Any) -> None:
            if future.done():  # nobody waits for it any more; the key may be another's by now
                return
            self._under_way.pop(key, None)
            if work.state in ("failed", "cancelled"):
                if not work.refused:
                    self._made.pop(key, None)
                said = PlanError(work.error) if work.refused else Failed(work.error)
                future.set_exception(Cancelled() if work.state == "cancelled" else said)
            else:
                future.set_result(result)

        def soon(work: Work, result: Any = None) -> None:
            with contextlib.suppress(RuntimeError):  # the server has gone meanwhile
                loop.call_soon_threadsafe(settle, work, result)

        work = self._hands.do(key[0], task, *arguments, done=lambda result: soon(work, result), ended=soon, yields=True)
        self._under_way[key] = work
        return future
