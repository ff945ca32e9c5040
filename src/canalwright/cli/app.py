"""The verbs, and what happens to errors on their way to the user."""

import sys
from collections.abc import Sequence

import typer

from canalwright import __version__
from canalwright.cli import (
    cases,
    checking,
    cohort,
    cohort_class,
    correcting,
    demo,
    exchanging,
    heating,
    measuring,
    packing,
    ready,
    ready_film,
    records,
    serving,
    techniques,
)
from canalwright.cli.errors import BAD_INPUT, bad_input_errors, explain

app = typer.Typer(
    name="canalwright",
    help="From one canal's own measurements to a plan, a simulated downpack and a card. "
    "Decision support for trained, licensed clinicians; not a certified medical device.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
app.command("check-case")(cases.check_case)
app.command("ready")(ready.ready)
app.command("radiograph")(ready_film.radiograph)
app.command("count")(ready_film.count)
app.command("plan")(cases.plan)
app.command("simulate")(cases.simulate)
app.command("card")(cases.card)
app.command("heat3d")(heating.heat3d)
app.command("techniques")(techniques.techniques)
app.command("check")(checking.check)
app.command("measure")(measuring.measure)
app.command("correct")(correcting.correct)
app.command("serve")(serving.serve)
app.command("pack")(packing.pack)
app.command("unpack")(packing.unpack)
app.command("letter")(exchanging.letter)
app.command("leaflet")(exchanging.leaflet)
app.command("casebook")(exchanging.casebook)
app.command("deidentify")(exchanging.deidentify)
app.command("demo")(demo.demo)
app.add_typer(records.app, name="records")
app.add_typer(exchanging.export, name="export")
cohort.app.add_typer(cohort_class.app, name="class")
app.add_typer(cohort.app, name="cohort")


def _version(shown: bool) -> None:
    if shown:
        typer.echo(f"canalwright {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(False, "--version", callback=_version, is_eager=True, help="Show the version."),
) -> None:
    """Exit codes: 0 done, 2 bad input (nothing written), 3 done but dangerous (with --strict), 1 our fault."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; bad input ends in one line on standard error and exit code 2, never a traceback."""
    try:
        app(args=None if arguments is None else list(arguments))
    except Exception as error:
        if not isinstance(error, bad_input_errors()):
            raise
        explain(error)
        sys.exit(BAD_INPUT)
