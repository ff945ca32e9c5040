"""The hazard file is whole: every control has a test that exists, what it says is said on the screens, and the page tells it all."""

import ast
from functools import cache
from pathlib import Path

import pytest

from canalwright.hazards import LIKELIHOODS, SEVERITIES, Hazard, caution, hazards, warnings
from canalwright.planning import CAUTION
from canalwright.web.stages import STAGES
from canalwright.web.words import words_of
from release import hazards as builder

HOUSE = Path(__file__).parents[2]
EVERY = pytest.mark.parametrize("hazard", hazards(), ids=[h.key for h in hazards()])
NAMED = (
    "wrong-length", "stop-misread", "over-heating", "extrusion", "wedge", "hypochlorite", "wrong-tooth", "stale-plan", "mixed-patients",
    "lost-log",
)  # fmt: skip


@cache
def names_in(path: str) -> frozenset[str]:
    tree = ast.parse((HOUSE / path).read_text(encoding="utf-8"))
    return frozenset(n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef))


@EVERY
def test_every_control_has_a_test_that_exists(hazard: Hazard) -> None:
    assert hazard.controls
    for control in hazard.controls:
        assert control.tests, control.does
        for test in control.tests:
            path, _, name = test.partition("::")
            assert name.startswith("test_") and name in names_in(path), f"{hazard.key}: {test} is gone"


@EVERY
def test_every_hazard_is_judged(hazard: Hazard) -> None:
    assert hazard.severity in SEVERITIES
    assert LIKELIHOODS.index(hazard.after) <= LIKELIHOODS.index(hazard.before)
    assert hazard.cause and hazard.harm and hazard.left
    assert bool(hazard.warning) == bool(hazard.stages)


def test_none_of_the_known_hazards_is_missing() -> None:
    keys = [h.key for h in hazards()]
    assert set(NAMED) <= set(keys)
    assert len(keys) == len(set(keys))


def test_the_standing_caution_is_the_files() -> None:
    assert caution() == CAUTION


@EVERY
def test_what_is_said_is_said_in_every_language(hazard: Hazard) -> None:
    if hazard.warning:
        assert words_of("es").known(hazard.warning) is not None, hazard.warning


def test_every_stage_that_is_named_is_one() -> None:
    known = {name for stage in STAGES for name, _ in stage.views} | {"records"}
    assert {stage for h in hazards() for stage in h.stages} <= known
    assert all(warnings(stage) for stage in ("plan", "chair", "measure", "ready"))


def test_the_page_is_up_to_date() -> None:
    assert builder.PAGE.read_text(encoding="utf-8") == builder.page(), "rebuild it with `make hazards`"
