"""What will be used where nothing was measured: shown greyed in the form, each with its source."""

from dataclasses import dataclass

import numpy as np

from canalwright.anatomy import Canal, averages
from canalwright.anatomy.lumen import Array


@dataclass(frozen=True, slots=True)
class Usual:
    """A value that stands in for one that was not measured, as people read it, and its source."""

    text: str
    source: str


KEYS = {
    "length": "end_mm", "foramen": "foramen", "orifice_depth": "orifice_depth_mm", "orifice_width": "widths", "ovality": "ovality",
    "angle": "curve", "start": "curve", "wall": "wall_mm", "crest": "crest_level_mm", "cej": "cej_level_mm", "apical_gauge": "widths",
}  # fmt: skip
"""Fields of the form and the source in `Canal.sources` that covers each."""


def usual(canal: Canal) -> dict[str, Usual]:
    """By field of the form: what the models will use for this canal; measured values come back as they are used."""
    native, known = canal.native, averages.canal_averages(canal.tooth, canal.name)

    def level(values: Array, z: float) -> float:
        return native.at(z, values)

    told = {
        "length": f"{canal.length.value:.1f}",
        "foramen": f"{canal.foramen:.2f}" if canal.foramen is not None else "",
        "orifice_depth": f"{canal.depth(canal.orifice):.1f}",
        "orifice_width": f"{level(native.minor, canal.orifice):.2f}",
        "ovality": f"{float(np.median(native.major / native.minor)):.2f}",
        "apical_gauge": f"{100 * level(native.minor, canal.end):.0f}",
        "angle": f"{known.angle.value:.0f}",
        "start": f"{known.curve_start * canal.orifice:.1f}",
        "wall": f"{level(native.wall, 5.0):.2f}",
        "crest": f"{canal.crest:.1f}" if canal.crest is not None else "",
        "cej": f"{canal.cej:.1f}" if canal.cej is not None else "",
    }
    found = {}
    for key, text in told.items():
        source = canal.sources.get(KEYS[key])
        own = canal.sources.get(f"{key}_mm", canal.sources.get(key))
        if own is not None and not own.origin.supposed:
            continue
        if text and source is not None and source.origin.supposed:
            found[key] = Usual(text, str(source))
    return found
