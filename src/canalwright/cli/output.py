"""What goes to the terminal: tables and progress on standard error, results on standard output."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from canalwright.planning import Plan, Story


def line(text: str) -> None:
    """One line of result."""
    typer.echo(text)


def error(text: str) -> None:
    """One line of complaint."""
    typer.echo(text, err=True)


def print_json(content: dict[str, Any]) -> None:
    """The result as JSON, keys in a fixed order, no number that JSON does not know."""
    typer.echo(json.dumps(content, indent=2, allow_nan=False))


def print_plan(plan: "Plan") -> None:
    """A plan as people read it."""
    from canalwright.report import plan_text

    typer.echo(plan_text(plan))
    typer.echo()


def print_story(plan: "Plan", story: "Story") -> None:
    """What happened, as people read it."""
    from canalwright.report import story_text

    typer.echo(story_text(plan, story))
    typer.echo()


@contextmanager
def progress(what: str) -> Iterator[Callable[[str], None]]:
    """A spinner with the name of what is under way, on standard error and only where that is a terminal."""
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda name: None
        return
    with console.status(what) as status:
        yield lambda name: status.update(f"{what}: {name}")
