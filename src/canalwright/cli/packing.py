"""pack, unpack: all files of a case as one archive, and back."""

from pathlib import Path
from typing import Annotated

import typer

from canalwright.cli import inputs, output
from canalwright.cli.errors import BAD_INPUT

Out = Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Write here.")]
Archive = Annotated[Path, typer.Argument(metavar="ARCHIVE", help="Archive of a case (ZIP).")]


def pack(
    case: inputs.CasePath, tray: inputs.TrayPath = None, out: Out = None, draws: inputs.Draws = None, language: inputs.Language = "en"
) -> None:  # fmt: skip
    """Put a case, its sessions at the chair on this machine, and the card and plan of every canal into one archive."""
    from canalwright.planning import plan, simulate
    from canalwright.web.archive import packed
    from canalwright.web.chairbook import Chairbook
    from canalwright.web.markup.picture import tongue

    spoken = tongue(inputs.words_in(language))
    read, canals = inputs.read_case(case)
    instruments, choices = inputs.read_tray(tray), inputs.choices_of(draws=draws)
    target = out or Path(case.with_suffix(".zip").name)
    _refuse(target)
    filled = []
    with output.progress("planning") as step:
        for one in canals:
            step(one.name)
            made = plan(one, instruments, choices, read.record(one.name))
            filled.append((made, simulate(made)))
    with target.open("xb") as file:
        file.write(packed(read, filled, Chairbook(), tongue=spoken))
    output.line(f"wrote {target}")


def unpack(archive: Archive, out: Out = None) -> None:
    """Bring back the case of an archive, and its sessions at the chair; nothing that is here already is changed."""
    from canalwright import casefile
    from canalwright.casefile.archive import read
    from canalwright.web.archive import restored
    from canalwright.web.chairbook import Chairbook

    target = out or Path(f"{archive.stem}.toml")
    _refuse(target)
    back = restored(read(archive), archive.name, Chairbook())
    casefile.dump(back.case, target)
    films = (
        f"; {len(back.films)} radiographs stay in the archive: open it in the page to see them" if back.films else ""
    )
    output.line(f"wrote {target}; {back.sessions} sessions at the chair came with it{films}")


def _refuse(target: Path) -> None:
    """Nothing is written over, and nothing reckoned in vain."""
    if target.exists():
        output.error(f"{target}: there is such a file already, and it is left as it is; name another with --out")
        raise typer.Exit(BAD_INPUT)
