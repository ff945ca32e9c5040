"""cohort: many teeth at once, studies of virtual teeth, classes."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from canalwright.cli import inputs, output
from canalwright.cli.spread import spread

if TYPE_CHECKING:
    from canalwright.cohort.fleet import Local
    from canalwright.cohort.run import Progress, Ran

app = typer.Typer(
    help="Many teeth: a folder or table of them, studies of virtual teeth, classes.", no_args_is_help=True
)

Out = Annotated[
    Path, typer.Option("--out", metavar="FOLDER", help="Folder of the results; an unfinished run in it is taken up.")
]
Scheduler = Annotated[
    str | None, typer.Option("--scheduler", metavar="ADDRESS", help="A Dask scheduler, such as tcp://10.0.0.5:8786.")
]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", metavar="N", min=0, max=512, help="Worker processes on this machine; 0: none, in this one."
    ),
]
Memory = Annotated[str, typer.Option("--memory", metavar="SIZE", help="Memory of each worker, such as 2GiB.")]
Port = Annotated[
    int, typer.Option("--dashboard", metavar="PORT", help="Port of the dashboard on this machine; 0: any free one.")
]
NoPage = Annotated[bool, typer.Option("--no-dashboard", help="No dashboard.")]
Patience = Annotated[
    float, typer.Option("--patience", metavar="S", min=0, help="How long a lost scheduler is waited for.")
]
Again = Annotated[bool, typer.Option("--again", help="Try anew what was set aside.")]


@dataclass(frozen=True)
class Workforce:
    """Who does the work: a scheduler that is there, or workers on this machine; spread out into the options of a verb."""

    scheduler: Scheduler = None
    workers: Workers = None
    memory: Memory = "2GiB"
    patience: Patience = 60.0

    @property
    def where(self) -> "Local | str":
        """The scheduler asked for, else a cluster on this machine."""
        from canalwright.cohort.fleet import Local

        return self.scheduler if self.scheduler is not None else Local(self.workers, self.memory, self.page)

    @property
    def page(self) -> int | None:
        """Port of the dashboard; None: no dashboard."""
        return None


@dataclass(frozen=True)
class Fleet(Workforce):
    """The same with a dashboard."""

    dashboard: Port = 0
    no_dashboard: NoPage = False

    @property
    def page(self) -> int | None:
        """Port of the dashboard; None: no dashboard."""
        return None if self.no_dashboard else self.dashboard


@app.command()
@spread
def run(
    source: Annotated[Path, typer.Argument(metavar="FOLDER|TABLE", help="Case files, or a table: CSV, TOML, Parquet.")],
    out: Out,
    tray: inputs.TrayPath = None,
    temperature: inputs.Temperature = None,
    activation: inputs.Activation = None,
    rounds: inputs.Rounds = None,
    force: inputs.Force = None,
    draws: inputs.Draws = None,
    seed: inputs.Seed = None,
    *,
    on: Fleet,
    again: Again = False,
    json: inputs.AsJson = False,
) -> None:
    """Trace, judge, plan and simulate every tooth; one Parquet table of all. Run it again to go on where it was cut short."""
    from canalwright.cohort.run import run as work
    from canalwright.cohort.sources import Setting, gather

    given = {"temperature": temperature, "activation": activation, "rounds": rounds, "force": force}
    setting = Setting(
        tray, draws or Setting.draws, Setting.seed if seed is None else seed,
        tuple((k, v) for k, v in given.items() if v is not None),
    )  # fmt: skip
    jobs = gather(source, setting)
    about = {"source": source.name, "draws": setting.draws, "seed": setting.seed, "choices": dict(setting.choices)}
    with bar(len(jobs)) as tell:
        ran = work(jobs, out, on.where, about=about, again=again, patience=on.patience, tell=tell)
    _tell(ran, [ran.path], json)


@app.command()
@spread
def study(
    file: Annotated[Path, typer.Argument(metavar="STUDY", help="A study file (TOML).")],
    out: Out,
    teeth: Annotated[
        int | None, typer.Option("--teeth", metavar="N", min=1, help="Fewer teeth of each group, for a trial.")
    ] = None,
    *,
    on: Fleet,
    json: inputs.AsJson = False,
) -> None:
    """Ask thousands of virtual teeth: answers with intervals, a report (PDF, HTML) and the data behind it (Parquet, CSV)."""
    from canalwright.cohort.study import study as work
    from canalwright.cohort.study_model import Study

    plan = Study.load(file)
    with bar(len(plan.jobs(teeth))) as tell:
        found = work(plan, out, on.where, teeth=teeth, patience=on.patience, tell=tell)
    _tell(found.ran, found.files, json)


def _tell(ran: "Ran", files: Any, json: bool) -> None:
    """What came of a run: counts, what was set aside, files."""
    if json:
        told = {
            "teeth": len(ran.outcomes), "kept": ran.kept, "set_aside": ran.set_aside,
            "processor_seconds": ran.seconds, "files": [str(f) for f in files],
        }  # fmt: skip
        output.print_json(told)
        return
    kept = f", {ran.kept} of them from an earlier run" if ran.kept else ""
    output.line(f"{len(ran.outcomes) - len(ran.set_aside)} of {len(ran.outcomes)} teeth done{kept}")
    for tooth, reason in ran.set_aside.items():
        output.error(f"set aside: {tooth}: {reason}")
    for name in files:
        output.line(f"wrote {name}")


@contextmanager
def bar(count: int) -> "Iterator[Callable[[Progress], None]]":
    """A progress bar on standard error where that is a terminal, else the dashboard's address alone."""
    from rich import progress as rich
    from rich.console import Console

    console, said = Console(stderr=True), set[str]()
    columns = (
        rich.TextColumn("{task.description}"),
        rich.BarColumn(),
        rich.MofNCompleteColumn(),
        rich.TimeRemainingColumn(),
    )
    with rich.Progress(*columns, console=console, disable=not console.is_terminal) as bar:
        task = bar.add_task("teeth", total=count)

        def tell(progress: "Progress") -> None:
            if progress.dashboard and progress.dashboard not in said:
                said.add(progress.dashboard)
                output.error(f"dashboard: {progress.dashboard}")
            aside = f", {progress.set_aside} set aside" if progress.set_aside else ""
            bar.update(task, completed=progress.done, total=progress.all, description=f"teeth{aside}")

        yield tell
