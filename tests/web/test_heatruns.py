"""Protects the runs of the heat page: one run for one question, progress that only grows, an end when nobody wants it, a fault told."""

import time
from collections.abc import Callable
from typing import Any

import pytest

from canalwright.planning import Choices, Plan
from canalwright.web import heatruns
from canalwright.web.heatruns import HeatRun, HeatRuns
from canalwright.web.markup.heat import results
from canalwright.web.words import words_of

ASKED = ("case", 2, Choices())


def until(ready: Callable[[], bool]) -> None:
    """Wait, but not for ever."""
    end = time.monotonic() + 120.0
    while not ready():
        assert time.monotonic() < end, "the run did not get there"
        time.sleep(0.02)


def test_one_run_for_one_question_with_numbers_and_table(plan: Plan) -> None:
    runs = HeatRuns()
    run = runs.start(ASKED, plan)
    assert runs.start(ASKED, plan) is run
    seen = []
    while not run.done:
        seen.append(run.share)
        time.sleep(0.05)
    assert run.fault == ""
    assert seen == sorted(seen)
    assert run.share == 1.0
    assert run.play is not None and run.play.surface.shape[0] == len(run.play.time)
    assert run.play.sections[0].max() > 60
    assert run.play.rise.max() == pytest.approx(run.story.surface_rise, rel=1e-6)  # type: ignore[union-attr]
    text = results(run.story, run.doubt, run.choices, words_of("es"))  # type: ignore[arg-type]
    assert "Mayor aumento en el hueso" in text and "¿Y si…?" in text and "sin flujo sanguíneo" in text


def test_a_run_that_nobody_wants_ends(plan: Plan) -> None:
    runs = HeatRuns()
    run = runs.start(ASKED, plan)
    runs.give_up(ASKED)
    assert runs.get(ASKED) is None
    until(lambda: run.done)
    assert run.choices == ()


def test_a_fault_is_told_and_tried_again(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise ValueError("no cell lies in the canal")

    monkeypatch.setattr(heatruns.solid, "from_lumen", broken)
    runs = HeatRuns()
    run = runs.start(ASKED, plan)
    until(lambda: run.done)
    assert "no cell" in run.fault
    assert runs.start(ASKED, plan) is not run
    assert isinstance(run, HeatRun)
