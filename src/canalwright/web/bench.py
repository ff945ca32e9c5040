"""Where plans are made: in threads, so that no page waits for another, and each only once.

The kernels let go of the interpreter while they run. Measured on two busy cores while a whole plan was made in a thread: the event loop
came to its next turn after 9 ms (median), 27 ms (95 %), 67 ms at most; that is why there is no second process to feed.
"""

import asyncio
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

from canalwright import planning
from canalwright.casefile import Case
from canalwright.instruments import Tray
from canalwright.planning import Choices, Plan, Story

T = TypeVar("T")
Asked = tuple[str, int, Choices]


class Bench:
    """Plans and stories by case, canal and choices; what was made last is kept."""

    def __init__(self, tray: Tray, kept: int = 24) -> None:
        self.tray, self._kept = tray, kept
        self._whole = ThreadPoolExecutor(1, "plan")
        self._quick = ThreadPoolExecutor(2, "quick")
        self._made: OrderedDict[tuple[str, Asked], asyncio.Future[Any]] = OrderedDict()

    async def plan(self, case: Case, index: int, choices: Choices) -> Plan:
        """The whole plan; raises planning.PlanError."""
        return await self._once(
            "plan", (case.digest, index, choices), self._whole, planning.plan, case.canals[index], self.tray, choices
        )

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
        return plan, await self._once("story", (case.digest, index, choices), self._quick, planning.simulate, plan)

    async def aside(self, work: Callable[..., T], *arguments: Any) -> T:
        """Any other work that would hold up the page, such as setting a card."""
        return await asyncio.get_running_loop().run_in_executor(self._quick, work, *arguments)

    def close(self) -> None:
        """Let go of the threads; what has not begun is not begun."""
        self._whole.shutdown(wait=False, cancel_futures=True)
        self._quick.shutdown(wait=False, cancel_futures=True)

    async def _once(
        self, kind: str, asked: Asked, pool: ThreadPoolExecutor, work: Callable[..., T], *arguments: Any
    ) -> T:
        """The answer that is there, or under way, or made now. A reader who goes away does not stop the others' work."""
        key = (kind, asked)
        made = self._made.get(key)
        if made is None or made.cancelled():
            made = asyncio.get_running_loop().run_in_executor(pool, work, *arguments)
            made.add_done_callback(lambda done: done.cancelled() or done.exception())
            self._made[key] = made
        self._made.move_to_end(key)
        while len(self._made) > self._kept:
            self._made.popitem(last=False)
        result: T = await asyncio.shield(made)
        return result
