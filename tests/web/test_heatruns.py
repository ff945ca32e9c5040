"""Protects the runs of the heat page: one run for one question, progress that only grows, an end when nobody wants it, a fault told."""

import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from canalwright.heat import solid
from canalwright.planning import Choices, Plan, PlanError
from canalwright.web import heatruns
from canalwright.web.hands import Hands, Work
from canalwright.web.heatruns import HeatRuns
from canalwright.web.markup.heat import results
from canalwright.web.words import words_of

ASKED = ("case", 2, Choices())


@pytest.fixture
def hands() -> Iterator[Hands]:
    made = Hands()
    yield made
    made.close()


def until(ready: Callable[[], bool]) -> None:
    """Wait, but not for ever."""
    end = time.monotonic() + 240.0
    while not ready():
        assert time.monotonic() < end, "the run did not get there"
        time.sleep(0.02)


def test_one_run_for_one_question_with_numbers_and_table(plan: Plan, hands: Hands) -> None:
    runs = HeatRuns(hands)
    run = runs.start(ASKED, plan)
    assert runs.start(ASKED, plan) is run
    seen, looked = list[float](), False
    while not run.work.over:
        seen.append(run.work.share or 0.0)
        looked = looked or (run.play is not None and run.doubt is None)
        time.sleep(0.05)
    assert run.work.error == ""
    assert seen == sorted(seen) and seen[-1] > 0.6
    assert looked, "the filling can be looked at before the intervals are there"
    assert run.play is not None and run.play.surface.shape[0] == len(run.play.time)
    assert run.play.sections[0].max() > 60
    assert run.play.rise.max() == pytest.approx(run.story.surface_rise, rel=1e-6)  # type: ignore[union-attr]
    text = results(run.story, run.doubt, run.choices, words_of("es"))  # type: ignore[arg-type]
    assert "Mayor aumento en el hueso" in text and "¿Y si…?" in text and "sin flujo sanguíneo" in text


def test_a_run_that_nobody_wants_ends(plan: Plan, hands: Hands) -> None:
    """Its process too, at once, whatever it is computing."""
    runs = HeatRuns(hands)
    run = runs.start(ASKED, plan)
    until(lambda: bool(run.work.share is not None))
    process = run.work._process
    runs.give_up(ASKED)
    assert runs.get(ASKED) is None
    until(lambda: not process.is_alive())
    assert run.doubt is None and run.choices == ()


def test_a_canal_that_no_run_can_be_made_of_is_told(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise ValueError("no cell lies in the canal")

    class Told:
        def __call__(self, text: str, share: float | None) -> None: ...

        def part(self, piece: Any) -> None: ...

    monkeypatch.setattr(solid, "from_lumen", broken)
    with pytest.raises(PlanError, match="no cell"):
        heatruns._run(Told(), plan)


def test_a_run_that_failed_is_begun_again_when_asked_again(plan: Plan) -> None:
    class Failing(Hands):
        def do(self, kind: str, *_: Any, **__: Any) -> Work:
            work = Work(kind, yields=True)
            work.fail("no cell lies in the canal")
            return work

    runs = HeatRuns(Failing())
    run = runs.start(ASKED, plan)
    assert "no cell" in run.work.error
    assert runs.start(ASKED, plan) is not run
