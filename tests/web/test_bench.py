"""Work that is cancelled really ends, is told to who waited, is not kept, and does not stand in the way of the next."""

import asyncio
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.planning import Choices
from canalwright.web.bench import Bench, Cancelled
from canalwright.web.hands import FAULT, LOST, MEMORY, Hands
from tests.support import errands


def test_a_process_that_is_cancelled_ends_whatever_it_is_doing(tmp_path: Path) -> None:
    hands, said, note = Hands(at_once=1), list[str](), tmp_path / "pid"
    work = hands.do("turn", errands.for_ever, note, done=lambda _: None, ended=lambda w: said.append(w.state))
    while work.share is None or not note.exists() or not note.read_text():
        time.sleep(0.02)
    pid = int(note.read_text())
    work.cancel()
    assert work.state == "cancelled" and said == ["cancelled"]
    while _runs(pid):
        time.sleep(0.02)
    after = hands.do("after", errands.at_once, done=lambda answer: said.append(answer))
    while not after.over:
        time.sleep(0.02)
    assert said == ["cancelled", "here"]
    hands.close()


def test_work_whose_process_is_killed_is_done_again_once_and_then_told(tmp_path: Path) -> None:
    """As when the system takes a process away for want of memory: at work, or while it waits."""
    hands, said = Hands(at_once=1), list[str]()
    for times, state, error in ((1, "done", ""), (2, "failed", LOST)):
        note = tmp_path / f"left{times}"
        note.write_text("x" * times)
        work = hands.do("killed", errands.killed, note, done=said.append)
        _wait(lambda work=work: work.over)  # type: ignore[misc]
        assert (work.state, work.error) == (state, error)
    hands.warm()
    os.kill(hands._idle[False][0].pid, signal.SIGKILL)
    after = hands.do("after", errands.at_once, done=said.append)
    _wait(lambda: after.over)
    assert said == ["at last", "here"]
    hands.close()


def test_a_part_comes_before_the_whole_and_a_process_does_not_wait_for_ever() -> None:
    hands, said = Hands(at_once=1, rest=0.2), list[str]()
    work = hands.do("parts", errands.in_parts, part=said.append, done=said.append)
    _wait(lambda: work.over and not hands._idle)
    assert said == ["a part", "the whole"] and (work.told, work.share) == ("halfway", 0.5)
    again = hands.do("again", errands.at_once, done=said.append)
    _wait(lambda: again.over)
    assert said[-1] == "here"
    hands.close()


def test_what_cannot_be_sent_or_needs_more_memory_than_there_is_is_told(tmp_path: Path) -> None:
    hands = Hands(at_once=1)
    works = [
        hands.do("sent", errands.at_once, lambda: None, done=print),
        hands.do("large", errands.too_large, done=print),
    ]
    _wait(lambda: all(work.over for work in works))
    assert [work.error for work in works] == [FAULT, MEMORY]
    hands.close()


async def test_what_nobody_waits_for_is_not_begun_and_who_asked_last_is_served_first(case: Case) -> None:
    """A control moved in many windows must not leave a queue of old plans before the newest."""
    bench, made = Bench(casefile.generic_tray()), []

    async def ask(index: int, seed: int) -> None:
        await bench.plan(case, index, Choices(draws=64, seed=seed))
        made.append(seed)

    try:
        asked = [asyncio.create_task(ask(0, 0))]
        while not bench._under_way or next(iter(bench._under_way.values())).state == "waiting":
            await asyncio.sleep(0.02)
        for seed in (1, 2, 3):
            asked.append(asyncio.create_task(ask(0, seed)))
            await asyncio.sleep(0.05)
        asked[2].cancel()
        await asyncio.gather(*asked, return_exceptions=True)
        assert made == [0, 3, 1]
        assert bench.there(case, 0, Choices(draws=64, seed=2)) is None and not bench._under_way
    finally:
        bench.close()


def _wait(ready: Callable[[], bool]) -> None:
    end = time.monotonic() + 60.0
    while not ready():
        assert time.monotonic() < end, "it did not come to this"
        time.sleep(0.02)


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


async def test_a_plan_that_is_cancelled_is_told_and_made_when_asked_again(case: Case) -> None:
    bench, choices = Bench(casefile.generic_tray()), Choices(draws=64)
    try:
        asked = [asyncio.create_task(bench.plan(case, 0, choices)) for _ in range(2)]
        await asyncio.sleep(0.2)
        assert bench.cancel(case, 0, choices)
        for waiting in asked:
            with pytest.raises(Cancelled, match="older than your choice"):
                await waiting
        assert bench.there(case, 0, choices) is None
        assert not bench.cancel(case, 0, choices), "there is nothing left to cancel"
        plan = await bench.plan(case, 0, choices)
        assert bench.there(case, 0, choices) is plan
    finally:
        bench.close()
