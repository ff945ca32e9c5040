"""What every verb reads: a case, a tray, the choices."""

from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from canalwright.anatomy import Canal
    from canalwright.casefile import Case
    from canalwright.instruments import Tray
    from canalwright.planning import Choices
    from canalwright.web.words import Words


def decimal(text: str | float) -> float:
    """A number of an option; a comma is taken as the decimal point. Raises BadParameter."""
    try:
        return float(str(text).strip().replace(",", ".", 1))
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no number: write it as 2.5") from None


CasePath = Annotated[Path, typer.Argument(metavar="CASE", help="A case file (TOML).", show_default=False)]
TrayPath = Annotated[
    Path | None, typer.Option("--tray", metavar="FILE", help="Your tray file; without it the generic tray.")
]
CanalName = Annotated[
    str | None, typer.Option("--canal", metavar="NAME", help="One canal by its name; without it all.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON: each number with value, low, high, unit, source.")]
Strict = Annotated[bool, typer.Option("--strict", help="Exit with code 3 when a finding of the worst kind stands.")]
Temperature = Annotated[
    float | None, typer.Option("--temperature", metavar="C", parser=decimal, help="Set temperature of the carrier.")
]
Activation = Annotated[
    float | None, typer.Option("--activation", metavar="S", parser=decimal, help="Seconds of each activation.")
]
Rounds = Annotated[int | None, typer.Option("--rounds", metavar="N", help="Rounds of the downpack.")]
Force = Annotated[
    float | None, typer.Option("--force", metavar="N", parser=decimal, help="Force of the press, newton.")
]
Trim = Annotated[float | None, typer.Option("--trim", metavar="MM", parser=decimal, help="Cut off the cone's tip.")]
Cone = Annotated[str | None, typer.Option("--cone", metavar="NAME", help="Cone of the tray.")]
Carrier = Annotated[str | None, typer.Option("--carrier", metavar="NAME", help="Heat carrier of the tray.")]
Draws = Annotated[
    int | None, typer.Option("--draws", metavar="N", min=64, max=100_000, help="Draws behind the intervals.")
]
Seed = Annotated[int | None, typer.Option("--seed", metavar="N", min=0, help="Seed of the draws.")]
Language = Annotated[str, typer.Option("--language", metavar="L", help="en or es.")]


@dataclass(frozen=True)
class Wanted:
    """Of which canals, with which instruments and choices a plan is wanted; spread out into the options of a verb."""

    tray: TrayPath = None
    canal: CanalName = None
    cone: Cone = None
    trim: Trim = None
    carrier: Carrier = None
    temperature: Temperature = None
    activation: Activation = None
    rounds: Rounds = None
    force: Force = None
    draws: Draws = None
    seed: Seed = None


def read_case(path: Path, canal: str | None = None) -> "tuple[Case, tuple[Canal, ...]]":
    """The case and the canals asked for."""
    from canalwright import casefile

    case = casefile.load(path)
    if canal is None:
        return case, case.canals
    try:
        return case, (case.canal(canal),)
    except (KeyError, ValueError):
        names = ", ".join(c.name for c in case.canals)
        raise casefile.CaseError(
            (casefile.Problem(path.name, "canal", repr(canal), names, "name one of these with --canal"),)
        ) from None


def read_tray(path: Path | None) -> "Tray":
    """The tray of the file, or the generic one."""
    from canalwright import casefile

    return casefile.generic_tray() if path is None else casefile.load_tray(path)


def choices_of(**given: Any) -> "Choices":
    """Choices from the options that were given; the rest as they are by default."""
    from canalwright.planning import Choices

    known = {f.name for f in fields(Choices)}
    return Choices(**{k: v for k, v in given.items() if k in known and v is not None})


def point(option: str, text: str) -> tuple[float, float, float]:
    """Three numbers in mm from the text of an option."""
    try:
        x, y, z = (float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(
            f"{option} = {text!r}: three numbers in mm with commas between, such as 12.5,-3,40"
        ) from None
    return x, y, z


VoxelSize = Annotated[
    str | None,
    typer.Option(
        "--voxel",
        metavar="MM|X,Y,Z",
        help="Voxel size of a stack of pictures: one number, or along a row, down the rows, from slice to slice.",
    ),
]


def voxel_size(text: str | None) -> float | tuple[float, float, float] | None:
    """One number for cubes, or three (x, y, z: along a row, down the rows, from slice to slice), mm."""
    from canalwright import imaging

    if text is None:
        return None
    try:
        return imaging.voxel_size(text)
    except imaging.ImagingError as error:
        raise typer.BadParameter(f"--voxel: {error}") from None


def words_in(language: str) -> "Words":
    """The catalogue of a language that there is."""
    from canalwright.web.words import LANGUAGES, words_of

    if language not in LANGUAGES:
        raise typer.BadParameter(f"--language = {language!r}: one of {', '.join(LANGUAGES)}")
    return words_of(language)
