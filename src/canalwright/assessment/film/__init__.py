"""A filling on one calibrated radiograph.

    read = film.read(picture, scale, film.Marks(line=...), tooth=46, canal="distal")
    read.assessment      the numbers; read.outline, read.fill ...: what was found, in pixels, to be drawn and corrected

`straight` lays the picture along the canal, `profile` measures the filling across it, `outline` finds the root, `density` the
voids, `beyond` what lies outside, `overlay` lays the plan over it, `reading` puts the assessment together.
"""

from canalwright.assessment.film.marks import FilmError, Marks
from canalwright.assessment.film.overlay import Overlay, lay_over
from canalwright.assessment.film.reading import FilmReading, read

__all__ = ["FilmError", "FilmReading", "Marks", "Overlay", "lay_over", "read"]
