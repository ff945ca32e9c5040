"""The names that others may build on, as a list: `python -m release.names` writes docs/names.txt, a test compares it with the program.

Python: what the package and each room offer in `__all__`, with the names of their parameters or fields; a room that offers its modules
instead, with those. The command line: every verb with its options. So nothing is renamed or lost by oversight, and a reviewer sees in
one file what a change does to those who use it.
"""

import ast
import enum
import inspect
import pkgutil
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import typer

import canalwright
from canalwright.cli.app import app

PAGE = Path(__file__).parents[1] / "docs" / "names.txt"


def rooms() -> Iterator[ModuleType]:
    """The package and its rooms."""
    yield canalwright
    for found in pkgutil.iter_modules(canalwright.__path__):
        if found.ispkg:
            yield import_module(f"canalwright.{found.name}")


def offered(room: ModuleType) -> tuple[str, ...]:
    """What a room says it offers; its modules where it says nothing."""
    named = getattr(room, "__all__", None)
    if named is None:
        return tuple(found.name for found in pkgutil.iter_modules(room.__path__) if not found.name.startswith("_"))
    return tuple(sorted(named))


def listed() -> list[str]:
    """A line for each name."""
    lines = [_line(room, name) for room in rooms() for name in offered(room)]
    return lines + list(_verbs(typer.main.get_command(app), "canalwright"))


def untold(room: ModuleType) -> list[str]:
    """The names of a room that say nothing of themselves: no docstring of their own, no words below a constant."""
    missing = []
    for name in offered(room):
        thing = getattr(room, name, None) or import_module(f"{room.__name__}.{name}")
        if inspect.isclass(thing):
            told = (thing.__doc__ or "") if not (thing.__doc__ or "").startswith(f"{thing.__name__}(") else ""
        elif callable(thing) or inspect.ismodule(thing):
            told = thing.__doc__ or ""
        else:
            told = _below(room, name)
        if not told.strip():
            missing.append(f"{room.__name__}.{name}")
    return missing


def _line(room: ModuleType, name: str) -> str:
    thing = getattr(room, name, None)
    words = ""
    if inspect.isclass(thing) and issubclass(thing, enum.Enum):
        words = ": " + ", ".join(member.name for member in thing)
    elif inspect.isclass(thing) and not issubclass(thing, Exception):
        words = f"({_parameters(thing)})" + "".join(f" .{method}" for method in _methods(thing))
    elif callable(thing) and not inspect.isclass(thing):
        words = f"({_parameters(thing)})"
    return f"{room.__name__}.{name}{words}"


def _parameters(thing: object) -> str:
    try:
        found = inspect.signature(thing).parameters.values()  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return "..."
    plain = inspect.Parameter.empty
    return ", ".join(f"{p}".split(":")[0].split("=")[0].strip() + ("" if p.default is plain else "=") for p in found)


def _methods(thing: type) -> list[str]:
    made = [name for one in thing.__mro__ if one.__module__.startswith("canalwright") for name in vars(one)]
    kinds = (property, classmethod, staticmethod)
    return sorted(
        {
            n
            for n in made
            if n[0] != "_" and (callable(getattr(thing, n)) or isinstance(inspect.getattr_static(thing, n), kinds))
        }
    )


def _below(room: ModuleType, name: str) -> str:
    """The words under the assignment of a constant, wherever in its room it is made."""
    for path in sorted(Path(str(room.__file__)).parent.rglob("*.py")):
        body = ast.parse(path.read_text(encoding="utf-8")).body
        for one, after in zip(body, [*body[1:], None], strict=True):
            targets = (
                one.targets if isinstance(one, ast.Assign) else [one.target] if isinstance(one, ast.AnnAssign) else []
            )
            if not any(name in {n.id for n in ast.walk(t) if isinstance(n, ast.Name)} for t in targets):
                continue
            if (
                isinstance(after, ast.Expr)
                and isinstance(after.value, ast.Constant)
                and isinstance(after.value.value, str)
            ):
                return after.value.value
    return ""


def _verbs(command: Any, words: str) -> Iterator[str]:
    if hasattr(command, "commands"):
        for name in sorted(command.commands):
            yield from _verbs(command.commands[name], f"{words} {name}")
        return
    places = [str(p.name).upper() for p in command.params if p.param_type_name == "argument"]
    options = sorted(max(p.opts, key=len) for p in command.params if p.param_type_name == "option")
    yield " ".join([words, *places, *(o for o in options if o != "--help")])


if __name__ == "__main__":
    PAGE.write_text("".join(f"{line}\n" for line in listed()), encoding="utf-8")
    print(PAGE)
