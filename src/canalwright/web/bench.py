"""Where plans are made, each only once: whole plans in a process that yields to everything else, quick answers in threads.

Measured on two cores that others kept busy (load 6): a preview took 0.06 s alone, 0.12 to 0.21 s beside a whole plan in a thread of the
same process, and 0.06 to 0.10 s beside one in a process with lower priority. So the hand on a control does not feel the whole plan.
"""

import asyncio
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, ProcessPoolExecutor, ThreadPoolExecutor
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
        self._whole: Executor | None = None
        self._quick = ThreadPoolExecutor(2, "quick")
        self._made: OrderedDict[tuple[str, Asked], asyncio.Future[Any]] = OrderedDict()

    async def plan(self, case: Case, index: int, choices: Choices) -> Plan:
        """The whole plan; raises planning.PlanError."""
        return await self._once(
            "plan",
            (case.digest, index, choices),
            self._planner(),
            planning.plan,
            case.canals[index],
            self.tray,
            choices,
            case.record(case.canals[index].name),
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

    def warm_up(self) -> None:
        """Start the planner's process, so that the first plan does not wait for it."""
        self._planner().submit(planning.warm_up)

    def _planner(self) -> Executor:
        if self._whole is None:
            self._whole = ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), initializer=yield_to_others)
        return self._whole

    async def aside(self, work: Callable[..., T], *arguments: Any) -> T:
        """Any other work that would hold up the page, such as setting a card."""
        return await asyncio.get_running_loop().run_in_executor(self._quick, work, *arguments)

    def close(self) -> None:
        """Let go of the threads; what has not begun is not begun."""
        if self._whole is not None:
            self._whole.shutdown(wait=False, cancel_futures=True)
        self._quick.shutdown(wait=False, cancel_futures=True)

    def _finished(self, key: tuple[str, Asked], done: asyncio.Future[Any]) -> None:
        """A fault is not kept: who asks again gets another try, with a new process where the old one died."""
        fault = None if done.cancelled() else done.exception()
        if isinstance(fault, BrokenExecutor):
            self._whole = None
        if done.cancelled() or (fault is not None and not isinstance(fault, planning.PlanError)):
            self._made.pop(key, None)

    async def _once(self, kind: str, asked: Asked, pool: Executor, work: Callable[..., T], *arguments: Any) -> T:
        """The answer that is there, or under way, or made now. A reader who goes away does not stop the others' work."""
        key = (kind, asked)
        made = self._made.get(key)
        if made is None or made.cancelled():
            made = asyncio.get_running_loop().run_in_executor(pool, work, *arguments)
            made.add_done_callback(lambda done: self._finished(key, done))
            self._made[key] = made
        self._made.move_to_end(key)
        while len(self._made) > self._kept:
            self._made.popitem(last=False)
        result: T = await asyncio.shield(made)
        return result


def yield_to_others() -> None:
    """A planner's process: low priority where the system knows how, gone when the page is gone."""
    if hasattr(os, "nice"):
        os.nice(10)
    leave_with_parent()


def leave_with_parent() -> None:
    """A process of the page: deaf to the keyboard, gone when the page is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_with, args=(parent.sentinel,), daemon=True).start()


def _leave_with(sentinel: int) -> None:
    multiprocessing.connection.wait([sentinel])
    os._exit(0)
