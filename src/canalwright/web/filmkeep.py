"""A radiograph in a case's archive: its greys as a picture made anew, and what was marked on it and what for, without its file's header.

    film/<name>.png   all greys of the film, 8 bits where they fit, else 16
    film/<name>.json  what the greys stand for, receptor spacing, doubts of the reader, marks, use

Neither the name of the file nor anything else of its header is kept; what is written into the picture itself stays in it.
"""

import io
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal

import numpy as np
from PIL import Image

from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.image import Film
from canalwright.imaging.radiograph.marks import Marks, read_marks
from canalwright.imaging.radiograph.shown import Shown
from canalwright.web.radiographs import Open, Use, load, marks_of, marks_told

MOST_TOLD = 64 * 1024
"""Longest description of one film, bytes."""


@dataclass(frozen=True)
class Kept:
    """A film that came back: its picture, its marks, what it is used for."""

    film: Film
    picture: Shown
    marks: Marks
    use: Use = field(default_factory=Use)


def packed(opened: Open) -> tuple[bytes, bytes]:
    """Picture (PNG) and description (JSON) of a film.

    Whole numbers of 8 or 16 bits come back as they are, others to 1/65535 of their span.
    """
    return pictured(opened), json.dumps(described(opened), indent=1, allow_nan=False).encode()


def pictured(opened: Open) -> bytes:
    """All greys of a film as a PNG."""
    zero, step, kind = _scale(opened.film)
    picture = io.BytesIO()
    Image.fromarray(np.round((opened.film.pixels.astype(np.float64) - zero) / step).astype(kind)).save(picture, "PNG")
    return picture.getvalue()


def described(opened: Open) -> dict[str, Any]:
    """What the greys of that picture stand for, and all that was said of the film here."""
    zero, step, _ = _scale(opened.film)
    return {
        "zero": zero, "step": step, "spacing_mm": opened.film.spacing, "warnings": list(opened.film.warnings),
        "marks": marks_told(opened.marks), "use": asdict(opened.use),
    }  # fmt: skip


def _scale(film: Film) -> tuple[float, float, type[np.uint8] | type[np.uint16]]:
    """Grey of a picture's 0, the step of its greys, and their kind."""
    low, high = float(film.pixels.min()), float(film.pixels.max())
    whole = low >= 0 and high <= 65535 and bool((film.pixels == np.round(film.pixels)).all())
    zero, step = (0.0, 1.0) if whole else (low, (high - low) / 65535 or 1.0)
    return zero, step, np.uint8 if whole and high <= 255 else np.uint16


def unpacked(picture: bytes, told: bytes, name: str, *, readable: bool = True) -> Kept:
    """The film that `packed` gave; `readable` where its marks have to say something already.

    Raises ScanError in one line that begins with `name`.
    """
    film, shown = load(picture, name)
    try:
        if len(told) > MOST_TOLD:
            raise ValueError("too long")
        said = json.loads(told)
        zero, step = float(said["zero"]), float(said["step"])
        spacing = said["spacing_mm"] if said["spacing_mm"] is None else float(said["spacing_mm"])
        if not (math.isfinite(zero) and 0 < step < math.inf and (spacing is None or 0.005 <= spacing <= 0.5)):
            raise ValueError("greys or spacing that cannot be")
        warnings = tuple(str(w)[:300] for w in said["warnings"][:8])
        pixels = (zero + step * film.pixels.astype(np.float64)).astype(np.float32)
        film = replace(film, pixels=pixels, spacing=spacing, warnings=warnings)
        marks, use = marks_of(said["marks"]), use_of(said["use"])
        if readable:
            read_marks(film, marks)
    except (ScanError, ValueError, TypeError, KeyError, AttributeError, RecursionError, OverflowError) as error:
        raise ScanError(f"{name}: its description cannot be used ({' '.join(str(error).split())[:100]})") from None
    return Kept(film, shown, marks, use)


def use_of(said: Mapping[str, Any]) -> Use:
    """What a film is used for, from its description. Raises ValueError, TypeError, KeyError for what is none."""
    what, slot, towards = str(said["what"]), int(said["slot"]), str(said["towards"])
    if what not in ("measure", "check") or slot not in (0, 1) or towards not in ("left", "right"):
        raise ValueError("it does not say what the film is for")
    crown = {str(k)[:20]: str(v)[:12] for k, v in list(dict(said["crown"]).items())[:8]}
    canal, angle, band = str(said["canal"])[:40], str(said["angle"])[:8], str(said["band"])[:20]
    kind: Literal["measure", "check"] = "check" if what == "check" else "measure"
    return Use(canal, kind, slot, angle, towards, band, crown)
