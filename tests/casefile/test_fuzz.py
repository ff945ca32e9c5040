"""Protects: whatever stands in a file, reading it gives a case or a CaseError in lines, and nothing else."""

import copy
import tomllib
from importlib.resources import files
from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from canalwright import casefile
from canalwright.casefile.case import Case

DEMO_TEXT = casefile.dumps(casefile.demo_case())
DEMO = tomllib.loads(DEMO_TEXT)
KEYS = st.sampled_from(
    sorted(
        {key for table in DEMO["canal"] for key in table}
        | {"value", "method", "by_level", "size", "taper", "second", "x"}
    )
)
NUMBERS = st.one_of(
    st.integers(-(10**30), 10**30),
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0, -1, 0.021, 21000, 1e308, 30, 46, 5e-324]),
)
SCALARS = st.one_of(
    NUMBERS,
    st.booleans(),
    st.text(max_size=8),
    st.sampled_from(["apex locator", "pruett", "lingual", "MB"]),
    st.dates(),
)
VALUES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4), max_leaves=8
)


def read(table: dict[str, Any]) -> None:
    try:
        case = casefile.from_table(table, "x.toml")
    except casefile.CaseError as error:
        assert error.problems
        for problem in error.problems:
            line = str(problem)
            assert line.startswith("x.toml")
            assert "\n" not in line
            assert problem.action
    else:
        assert isinstance(case, Case)
        assert casefile.loads(casefile.dumps(case)).digest == case.digest
        for canal in case.canals:
            lumen = canal.native
            assert all(np.isfinite(values).all() for values in (lumen.centre, lumen.major, lumen.wall, lumen.area))
            assert (lumen.minor > 0).all()
            assert (lumen.major >= lumen.minor - 1e-12).all()


def places(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in a nest of tables and lists."""
    children = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [path, *(place for key, child in children for place in places(child, (*path, key)))]


def place_value(place: tuple[Any, ...]) -> Any:
    node: Any = DEMO
    for key in place:
        node = node[key]
    return node


PLACES = [place for place in places(DEMO) if place]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.dictionaries(st.sampled_from(["case", "tooth", "canal", "x"]), VALUES, max_size=4))
def test_any_tables(table: dict[str, Any]) -> None:
    read(table)


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_good_case_with_something_changed(data: st.DataObject) -> None:
    table = copy.deepcopy(DEMO)
    for place in data.draw(st.lists(st.sampled_from(PLACES), min_size=1, max_size=3)):
        node: Any = table
        try:
            for key in place[:-1]:
                node = node[key]
            if data.draw(st.booleans()):
                node[place[-1]] = data.draw(VALUES)
            elif isinstance(node, dict):
                node[data.draw(KEYS)] = node.pop(place[-1])
            else:
                node.append(copy.deepcopy(node[place[-1]]))
        except (KeyError, IndexError, TypeError, AttributeError):
            continue
    read(table)


NUMBER_PLACES = [place for place in PLACES if isinstance(place_value(place), int | float)]


@settings(max_examples=250, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(NUMBER_PLACES), st.floats(0, 45), st.booleans()), min_size=1, max_size=6))
def test_a_good_case_with_other_numbers(changes: list[tuple[tuple[Any, ...], float, bool]]) -> None:
    """Numbers of the right order, so that the geometry behind the ranges is reached; half of them near the old ones."""
    table = copy.deepcopy(DEMO)
    for place, number, near in changes:
        node: Any = table
        for key in place[:-1]:
            node = node[key]
        node[place[-1]] = node[place[-1]] * (0.5 + number / 45) if near else number
    read(table)


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_a_good_file_with_bytes_changed(data: st.DataObject) -> None:
    text = bytearray(DEMO_TEXT.encode())
    for at in data.draw(st.lists(st.integers(0, len(text) - 1), max_size=4)):
        text[at] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(text)))
    try:
        casefile.from_table(casefile.case.toml.parse(bytes(text[: max(cut, 200)]), "x.toml"), "x.toml")
    except casefile.CaseError as error:
        assert all("\n" not in str(problem) for problem in error.problems)


TRAY = tomllib.loads(files("canalwright.casefile").joinpath("generic_tray.toml").read_text(encoding="utf-8"))
TRAY_PLACES = [place for place in places(TRAY) if place]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(TRAY_PLACES), st.one_of(VALUES, st.floats(0, 60))), min_size=1, max_size=3))
def test_a_good_tray_with_something_changed(changes: list[tuple[tuple[Any, ...], Any]]) -> None:
    table = copy.deepcopy(TRAY)
    for place, value in changes:
        node: Any = table
        try:
            for key in place[:-1]:
                node = node[key]
            node[place[-1]] = value
        except (KeyError, IndexError, TypeError):
            continue
    try:
        casefile.tray.tray_from_table(table, "x.toml")
    except casefile.CaseError as error:
        assert all("\n" not in str(problem) and problem.action for problem in error.problems)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(["tray", "cone", "plugger", "carrier", "needle", "sealer"]), VALUES, max_size=5))
def test_any_tray(table: dict[str, Any]) -> None:
    try:
        casefile.tray.tray_from_table(table, "x.toml")
    except casefile.CaseError as error:
        assert all("\n" not in str(problem) for problem in error.problems)
