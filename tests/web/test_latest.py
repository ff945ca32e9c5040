"""Latest wins: no final answer to an old question, previews in order, an error told once and only while it matters."""

import asyncio
from typing import Any, cast

from canalwright.planning import Choices, Plan, PlanError
from canalwright.web.latest import FAULT, Refiner


class Desk:
    """A slow planner whose plans are the activations asked for, and a page that notes what it is told."""

    def __init__(self, quick: float = 0.01, whole: float = 0.03) -> None:
        self.quick, self.whole, self.shown, self.refused = quick, whole, [], []
        self.asked_whole: list[float | None] = []
        self.refiner = Refiner(
            self._preview, self._whole, lambda p, final: self.shown.append((p, final)), self.refused.append, 0.02
        )

    async def _preview(self, choices: Choices) -> Plan | None:
        await asyncio.sleep(self.quick)
        if choices.activation == 13:
            raise PlanError("too long")
        return cast(Any, choices.activation)

    async def _whole(self, choices: Choices) -> Plan:
        self.asked_whole.append(choices.activation)
        await asyncio.sleep(self.whole)
        return cast(Any, choices.activation)

    async def drag(self, *values: float, every: float = 0.004) -> None:
        tasks = []
        for value in values:
            tasks.append(asyncio.create_task(self.refiner.change(Choices(activation=value))))
            await asyncio.sleep(every)
        await asyncio.gather(*tasks)


async def test_only_the_newest_is_final() -> None:
    desk = Desk()
    await desk.drag(1, 2, 3, 4, 5)
    assert [shown for shown, final in desk.shown if final] == [5]
    assert desk.asked_whole == [5]
    previews = [shown for shown, final in desk.shown if not final]
    assert previews == sorted(previews) and previews[-1] == 5


async def test_a_change_while_the_whole_plan_is_made_overtakes_it() -> None:
    desk = Desk(whole=0.08)
    first = asyncio.create_task(desk.refiner.change(Choices(activation=1)))
    await asyncio.sleep(0.06)
    assert desk.asked_whole == [1]
    await desk.refiner.change(Choices(activation=2))
    await first
    assert [shown for shown, final in desk.shown if final] == [2]


async def test_an_impossible_choice_is_told_and_overtaken() -> None:
    desk = Desk()
    await desk.drag(13)
    assert desk.refused == ["too long"]
    await desk.drag(13, 2)
    assert desk.shown[-1] == (2, True)


async def test_nothing_is_shown_after_the_page_has_gone() -> None:
    desk = Desk()
    task = asyncio.create_task(desk.refiner.change(Choices(activation=1)))
    await asyncio.sleep(0.002)
    desk.refiner.stop()
    await task
    assert desk.shown == []


async def test_a_fault_of_the_program_is_told_and_not_hidden() -> None:
    """A page must never go on saying that it is refining."""
    desk = Desk()

    async def broken(choices: Choices) -> Plan:
        raise ZeroDivisionError

    desk.refiner._whole = broken
    await desk.drag(2)
    assert desk.refused == [FAULT]
