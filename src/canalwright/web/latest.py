"""Latest wins: a control moves many times a second; only its newest place counts.

`Refiner.change` answers each change with a preview and, once the hand rests, with the whole plan. Previews come in the
order of the changes, so that the picture follows the hand; the whole plan is shown only for the newest change. What is shown
before it is marked as being refined.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable

from canalwright.planning import Choices, Plan, PlanError

log = logging.getLogger(__name__)
FAULT = "A fault in the program: this plan could not be made. What is shown is older than your choice."
REST = 0.45
"""Seconds without a change after which the whole plan is asked for."""


class Refiner:
    """One page's questions about one canal.

    `preview(choices)` gives the quick answer (or None while there is nothing to start from), `whole(choices)` the last word;
    `show(plan, final)` and `refuse(message)` tell the page.
    """

    def __init__(
        self,
        preview: Callable[[Choices], Awaitable[Plan | None]],
        whole: Callable[[Choices], Awaitable[Plan]],
        show: Callable[[Plan, bool], None],
        refuse: Callable[[str], None],
        rest: float = REST,
    ) -> None:
        self._preview, self._whole, self._show, self._refuse, self._rest = preview, whole, show, refuse, rest
        self._turn, self._stops = 0, 0
        self._previewing = False
        self._waiting: Choices | None = None
        self._asking: asyncio.Future[Plan] | None = None

    async def change(self, choices: Choices) -> None:
        """Answer a change; returns when it was answered in full or overtaken."""
        self._overtake()
        turn = self._turn
        try:
            await self._answer_quickly(choices)
            if turn == self._turn:
                await asyncio.sleep(self._rest)
            if turn == self._turn:
                self._asking = asyncio.ensure_future(self._whole(choices))
                plan = await self._asking
                if turn == self._turn:
                    self._show(plan, True)
        except asyncio.CancelledError:
            if turn == self._turn:
                raise
        except PlanError as error:
            if turn == self._turn:
                self._refuse(str(error))
        except Exception:
            log.exception("a plan could not be made")
            if turn == self._turn:
                self._refuse(FAULT)

    def stop(self) -> None:
        """Nothing that is under way is shown any more."""
        self._overtake()
        self._stops += 1
        self._waiting = None

    def _overtake(self) -> None:
        """What was asked before is not waited for any more."""
        self._turn += 1
        if self._asking is not None:
            self._asking.cancel()
            self._asking = None

    async def _answer_quickly(self, choices: Choices) -> None:
        """One preview at a time; while one runs the newest choices wait, older ones are dropped."""
        self._waiting = choices
        if self._previewing:
            return
        self._previewing = True
        try:
            while self._waiting is not None:
                asked, self._waiting = self._waiting, None
                stops = self._stops
                try:
                    plan = await self._preview(asked)
                except PlanError as error:
                    if self._waiting is None and stops == self._stops:
                        self._refuse(str(error))
                    continue
                if plan is not None and stops == self._stops:
                    self._show(plan, False)
        finally:
            self._previewing = False
