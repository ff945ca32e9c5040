"""`python -m release.mutants [MODULE ...] [--most N]`: is each small wrong change of a module noticed by its tests?

A mutant is the module with one thing changed: a comparison, a sign, a number, an `and`, a condition. It is compiled in memory only, in
a process forked after everything else is loaded and the tests have run once, so the files stay as they are, and a mutant costs
a fraction of a second. In that process the module and all that imports it are loaded anew, the tests too; the plans that the tests
of planning share stay as they were made. What survives these tests meets the slow ones, which plan afresh. Survivors are listed with
the line and the change; docs/hardening.md says why those that remain may.
"""

import argparse
import ast
import copy
import importlib.abc
import importlib.util
import os
import resource
import signal
import sys
from collections.abc import Iterator, Sequence
from functools import cache
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType

import grimp
import numba

ROOT = Path(__file__).parents[1]
PLAN = ("tests/planning/test_plan.py",)
TARGETS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "canalwright.heat.injury": (("tests/heat/test_injury.py",), ()),
    "canalwright.fit._seat": (("tests/fit/test_seat.py",), ()),
    "canalwright.fit.cone_choice": (("tests/fit/test_choice.py",), ()),
    "canalwright.fit.readings": (("tests/fit/test_readings.py",), ()),
    "canalwright.planning.backfill": (("tests/planning/test_backfill.py",), PLAN),
    "canalwright.planning.downpack": (("tests/planning/test_downpack.py",), PLAN),
    "canalwright.planning.findings": (("tests/planning/test_findings.py",), PLAN),
}
"""Modules with the quick tests that answer for them, and the slow ones that what survives those has to meet."""
SHARED = "tests.planning.conftest"
"""The plans that the tests share; not made again for each mutant."""
INTERPRETED = {"canalwright.fit._seat"}
"""Compiled modules, which are run by the interpreter here: a cached kernel would not show the change."""
PATIENCE, STUCK = 120, 1800
"""Processor time for the tests of one mutant, s, and time on the clock; one that takes longer is noticed."""
_SWAPS: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot,
    ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.And: ast.Or, ast.Or: ast.And, ast.USub: ast.UAdd,
}  # fmt: skip


def mutants(tree: ast.Module) -> Iterator[tuple[int, str, ast.Module]]:
    """Line, change in words and tree of every mutant; docstrings and annotations stay."""
    for number, node in enumerate(ast.walk(tree)):
        for change in _changes(node):
            made = copy.deepcopy(tree)
            twin = next(n for i, n in enumerate(ast.walk(made)) if i == number)
            before = ast.unparse(twin)[:70]
            change(twin)
            yield getattr(node, "lineno", 0), f"{before}  ->  {ast.unparse(twin)[:70]}", ast.fix_missing_locations(made)


def _changes(node: ast.AST) -> Iterator["Change"]:
    if isinstance(node, ast.Compare):
        for at, op in enumerate(node.ops):
            if type(op) in _SWAPS:
                yield Change("ops", _SWAPS[type(op)](), at)
    elif isinstance(node, ast.BinOp | ast.BoolOp | ast.UnaryOp) and type(node.op) in _SWAPS:
        yield Change("op", _SWAPS[type(node.op)]())
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        yield Change("value", node.value + 1 if isinstance(node.value, int) else node.value * 1.25 + 0.01)
    elif isinstance(node, ast.If | ast.IfExp | ast.While):
        yield Change("test", ast.Constant(False))


class Change:
    """Puts `value` in the place of a field of a node."""

    def __init__(self, field: str, value: object, at: int | None = None) -> None:
        self.field, self.value, self.at = field, value, at

    def __call__(self, node: ast.AST) -> None:
        """Change the node."""
        if self.at is None:
            setattr(node, self.field, self.value)
        else:
            getattr(node, self.field)[self.at] = self.value


class _Instead(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Imports the mutant in the place of the module."""

    def __init__(self, name: str, path: Path, tree: ast.Module) -> None:
        self.name, self.path, self.tree = name, path, tree

    def find_spec(self, fullname: str, path: object = None, target: ModuleType | None = None) -> ModuleSpec | None:
        """The spec of the one module that is changed."""
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, self.path, loader=self)

    def exec_module(self, module: ModuleType) -> None:
        """Run the mutant."""
        exec(compile(self.tree, str(self.path), "exec"), module.__dict__)


def survives(name: str, path: Path, tree: ast.Module, tests: Sequence[str], *, afresh: bool = False) -> bool:
    """Whether all tests pass with the mutant in the place of the module; `afresh`: with nothing of the tests kept."""
    stale = _importers(name)
    child = os.fork()
    if child == 0:
        resource.setrlimit(resource.RLIMIT_CPU, (PATIENCE, PATIENCE + 5))
        signal.alarm(STUCK)
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        if name in INTERPRETED:
            numba.config.DISABLE_JIT = True
        for one in [m for m in sys.modules if m in stale or (m.startswith("tests.") and (afresh or m != SHARED))]:
            parent, _, last = one.rpartition(".")
            if last in vars(sys.modules.get(parent, object)):
                delattr(sys.modules[parent], last)
            del sys.modules[one]
        sys.meta_path.insert(0, _Instead(name, path, tree))
        os._exit(_tested(tests))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def _tested(tests: Sequence[str]) -> int:
    import pytest

    return int(pytest.main(["-x", "-q", "-n0", "-p", "no:cacheprovider", *(str(ROOT / t) for t in tests)]))


@cache
def _importers(name: str) -> frozenset[str]:
    """A module and all of ours that import it, directly or not."""
    return frozenset({name, *grimp.build_graph("canalwright").find_downstream_modules(name)})


def main() -> None:
    """Run the mutants and print what became of them."""
    parser = argparse.ArgumentParser(prog="mutants", description=__doc__)
    parser.add_argument("modules", nargs="*", default=list(TARGETS))
    parser.add_argument("--most", type=int, default=0, help="of each module, evenly spread; 0: all")
    parser.add_argument("--quick", action="store_true", help="leave the slow tests out")
    given = parser.parse_args()
    for name in given.modules or TARGETS:
        path = ROOT / "src" / Path(*name.split(".")).with_suffix(".py")
        tree = ast.parse(path.read_text(encoding="utf-8"))
        quick, slow = TARGETS[name]
        if _tested(quick) != 0 or not survives(name, path, tree, quick):
            sys.exit(f"{name}: its tests fail without any change")
        every = list(mutants(tree))
        chosen = every[:: max(1, -(-len(every) // given.most))] if given.most else every
        left = [one for one in chosen if survives(name, path, one[2], quick)]
        if slow and not given.quick:
            left = [one for one in left if survives(name, path, one[2], slow, afresh=True)]
        print(
            f"{name}: {len(chosen)} of {len(every)} mutants, {len(chosen) - len(left)} noticed, {len(left)} not",
            flush=True,
        )
        for line, words, _ in left:
            print(f"  line {line}: {words}", flush=True)


if __name__ == "__main__":
    main()
