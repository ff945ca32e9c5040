"""cohort class: hand out, collect, tell who is who."""

import os
from pathlib import Path
from typing import Annotated

import typer

from canalwright.cli import inputs, output
from canalwright.cli.cohort import Workforce, bar
from canalwright.cli.spread import spread

app = typer.Typer(
    help="A class: assign teeth, collect chair logs, rank and debrief; students unknown to each other.",
    no_args_is_help=True,
)

ClassFile = Annotated[Path, typer.Argument(metavar="CLASS", help="A class file (TOML).")]
Key = Annotated[
    Path, typer.Option("--key", metavar="FILE", help="The teacher's key; keep it apart from the class's folder.")
]


@app.command()
def key(file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write the key.")]) -> None:
    """Make a key: whoever holds it can tell students from pseudonyms."""
    import secrets

    handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as stream:
        stream.write(secrets.token_hex(32) + "\n")
    output.line(f"wrote {file}; keep it apart from the class's folder, and a copy of it safe")


@app.command()
def assign(
    file: ClassFile,
    key: Key,
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="A new folder for the class.")],
) -> None:
    """Give each student teeth and the protocol's cards, under a pseudonym."""
    from canalwright.cohort import classes
    from canalwright.cohort.class_model import load_class

    practical = load_class(file)
    with output.progress("handing out"):
        given = classes.assign(practical, _key(key), out)
    for name, teeth in given.items():
        output.line(f"{name}: {', '.join(teeth)}")
    output.line(
        f"wrote {out}; put each student's logs into {out / 'hand-in'}, then: canalwright cohort class collect {out}"
    )


@app.command()
@spread
def collect(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The class's folder.")],
    on: Workforce,
    json: inputs.AsJson = False,
) -> None:
    """Debrief and rank what was handed in: one report for the class, one for each student."""
    from canalwright.cohort import classes

    with bar(0) as tell:
        found = classes.collect(folder, on.where, patience=on.patience, tell=tell)
    aside = found.ran.set_aside if found.ran else {}
    if json:
        output.print_json(
            {
                "places": [p.row() for p in found.places],
                "missing": list(found.missing),
                "set_aside": aside,
                "files": [str(f) for f in found.files],
            }
        )
        return
    for place in found.places:
        output.line(f"{place.place}. {place.student}: mean rank {place.mean:.2f}")
    for name in found.missing:
        output.error(f"no usable log from {name}")
    for log, reason in aside.items():
        output.error(f"set aside: {log}: {reason}")
    output.line(f"wrote {folder / 'reports'}")


@app.command()
def names(file: ClassFile, key: Key) -> None:
    """Tell the teacher who is who."""
    from canalwright.cohort import classes
    from canalwright.cohort.class_model import load_class

    for pseudonym, student in classes.names(load_class(file), _key(key)).items():
        output.line(f"{pseudonym}\t{student}")


def _key(path: Path) -> bytes:
    return path.read_bytes().strip()
