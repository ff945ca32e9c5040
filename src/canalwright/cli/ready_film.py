"""radiograph: what the marks of a film say. count: one more canal for a finishing file of the tray."""

from pathlib import Path
from typing import Annotated, Any

import typer

from canalwright.cli import inputs, output

FilmPath = Annotated[
    Path, typer.Argument(metavar="FILM", help="A radiograph: DICOM, PNG, TIFF or JPEG.", show_default=False)
]
MarksPath = Annotated[Path, typer.Argument(metavar="MARKS", help="Its marks (TOML), in pixels.", show_default=False)]
Second = Annotated[Path | None, typer.Option("--second", metavar="FILM", help="A second film, from another angle.")]
SecondMarks = Annotated[
    Path | None, typer.Option("--second-marks", metavar="MARKS", help="The marks of the second film.")
]
Angle = Annotated[
    float, typer.Option("--angle", metavar="DEG", parser=inputs.decimal, help="By how much the tube was turned for it.")
]
Towards = Annotated[
    str, typer.Option("--towards", metavar="SIDE", help="Towards which side of the picture: left or right.")
]
TrayFile = Annotated[
    Path, typer.Argument(metavar="TRAY", help="Your tray file (TOML); it is changed.", show_default=False)
]
FileName = Annotated[str, typer.Argument(metavar="FILE", help="Size and taper, such as 35/0.06.", show_default=False)]
Canals = Annotated[int, typer.Option("--canals", metavar="N", help="How many canals it shaped.")]


def radiograph(
    film: FilmPath,
    marks: MarksPath,
    second: Second = None,
    second_marks: SecondMarks = None,
    angle: Angle = 20.0,
    towards: Towards = "right",
    json: inputs.AsJson = False,
) -> None:
    """Read a marked radiograph: scale, tooth length, curve, and with a second film where a second canal lies.

    MARKS holds known_mm, known (tip, stop, more between), reference, canal, terminus and pair, as x, y in pixels.
    """
    from canalwright.imaging.errors import ScanError
    from canalwright.imaging.radiograph.marks import read_marks, second_canal
    from canalwright.imaging.radiograph.read import read_film
    from canalwright.report.radiograph import film_json, film_text

    if (second is None) != (second_marks is None):
        raise ScanError("a second film needs its marks too: give --second and --second-marks")
    if towards not in ("left", "right"):
        raise ScanError(f"--towards {towards}: give left or right")
    read, marked = read_film(film), _marks(marks)
    found, depth = read_marks(read, marked), None
    if second is not None and second_marks is not None:
        films, both = (read, read_film(second)), (marked, _marks(second_marks))
        depth = second_canal(films, both, angle=angle, towards="left" if towards == "left" else "right")
    if json:
        output.print_json(film_json(found, depth))
    else:
        output.line(film_text(found, depth))


def count(tray: TrayFile, file: FileName, canals: Canals = 1) -> None:
    """Count a use of a finishing file in the tray file, and say how many canals are left in it."""
    from canalwright.casefile.counting import count_use

    uses, most = count_use(tray, file, canals)
    left = "" if most is None else (f"; {most - uses} left" if uses < most else "; discard it")
    output.line(f"{file}: {uses} canals{left}")


def _marks(path: Path) -> Any:
    from canalwright.casefile import toml
    from canalwright.imaging.errors import ScanError
    from canalwright.imaging.radiograph.marks import Marks

    table = toml.read(path)
    known = {"known", "known_mm", "reference", "canal", "terminus", "pair"}
    if extra := sorted(set(table) - known):
        raise ScanError(f"{path.name}: unknown key {extra[0]!r}; there are {', '.join(sorted(known))}")

    def point(value: Any) -> tuple[float, float]:
        return (float(value[0]), float(value[1]))

    try:
        return Marks(
            tuple(map(point, table.get("known", []))),
            float(table["known_mm"]) if "known_mm" in table else None,
            point(table["reference"]) if "reference" in table else None,
            tuple(map(point, table.get("canal", []))),
            point(table["terminus"]) if "terminus" in table else None,
            tuple(map(point, table.get("pair", []))),
        )
    except (TypeError, ValueError, IndexError, KeyError):
        raise ScanError(f"{path.name}: a mark is a pair of numbers, x and y in pixels: mend it") from None
