"""Protects the runs of the heat page: one run for one question, progress that only grows, an end when nobody wants it, a fault told."""

import time
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import pytest

from canalwright.heat import solid
from canalwright.heat.solid import Voxels
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


class Heard:
    """A teller that remembers; `parts` with the number of shares told before."""

    def __init__(self) -> None:
        self.shares, self.parts = list[float](), list[tuple[int, Any]]()

    def __call__(self, text: str, share: float | None) -> None:
        self.shares.append(share or 0.0)

    def part(self, piece: Any) -> None:
        self.parts.append((len(self.shares), piece))


def test_a_run_tells_how_far_it_is_and_hands_the_filling_over_before_intervals_and_table(
    plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Voxels, "quick", Voxels.coarse)
    monkeypatch.setattr(solid, "doubt", partial(solid.doubt, runs=4))
    monkeypatch.setattr(solid, "what_if", partial(solid.what_if, only=lambda name: name == "blood flow lost"))
    heard = Heard()
    doubt, choices = heatruns._run(heard, plan)
    assert heard.shares == sorted(heard.shares) and heard.shares[-1] > 0.9
    ((when, (story, play)),) = heard.parts
    assert heard.shares[when - 1] == pytest.approx(heatruns.STAGES[0][1]) and when < len(heard.shares)
    assert play.surface.shape[0] == len(play.time)
    assert play.sections[0].max() > 60
    assert play.rise.max() == pytest.approx(story.surface_rise, rel=1e-6)
    text = results(story, doubt, choices, words_of("es"))
    assert "Mayor aumento en el hueso" in text and "¿Y si…?" in text and "sin flujo sanguíneo" in text


def test_a_run_that_nobody_wants_ends(plan: Plan, hands: Hands) -> None:
    """Its process too, at once, whatever it is computing."""
    runs = HeatRuns(hands)
    run = runs.start(ASKED, plan)
    assert runs.start(ASKED, plan) is run, "one run for one question"
    until(lambda: bool(run.work.share is not None))
    process = run.work._process
    runs.give_up(ASKED)
    assert runs.get(ASKED) is None
    until(lambda: not process.is_alive())
    assert run.doubt is None and run.choices == ()


def test_a_canal_that_no_run_can_be_made_of_is_told(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise ValueError("no cell lies in the canal")

    monkeypatch.setattr(solid, "from_lumen", broken)
    with pytest.raises(PlanError, match="no cell"):
        heatruns._run(Heard(), plan)


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
