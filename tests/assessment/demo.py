"""An invented radiograph of the demo case's distal canal, filled, as a picture with marks: for tests and pictures of the page."""

from pathlib import Path

import numpy as np
from PIL import Image

from canalwright.imaging.phantom.filling import Bubble, Filling
from canalwright.imaging.phantom.projection import Beam, Projected, film_of
from canalwright.imaging.phantom.scan import CanalShape, RootShape, make

KNOWN_MM = 8.0


def radiograph() -> Projected:
    """A distal root with a filling 0.7 mm short and one void of 0.4 mm."""
    shape = CanalShape(apical=0.45, taper=0.06, ratio=(1.2, 1.4), bend=10.0, curved=5.0, aside=(0.0, 0.0), towards=0.0)
    made = make((shape,), RootShape(height=12.0, half=(1.6, 1.9), growth=0.09))
    return film_of(made, Filling(0.7, 11.0, (Bubble(4.0, 0.4),)), Beam(), 7, cell=0.12)


def write(shot: Projected, path: Path) -> None:
    """Save the film as a 16-bit PNG."""
    grey = shot.film.pixels
    low, high = float(grey.min()), float(grey.max())
    Image.fromarray(((grey - low) / (high - low) * 60000).astype(np.uint16)).save(path)


def marks(shot: Projected) -> dict[str, object]:
    """Marks as a clinician would set them: a gauge of 8 mm beside the root, the canal, its end."""
    middle = shot.at(6.0)
    pixels = KNOWN_MM / shot.scale.value
    known = [
        [float(middle[0]) - 70, float(middle[1]) + pixels / 2],
        [float(middle[0]) - 70, float(middle[1]) - pixels / 2],
    ]
    line = [[float(v) for v in shot.at(z)] for z in (10.5, 7.0, 3.5, 0.0)]
    return {"known": known, "known_mm": KNOWN_MM, "line": line}
