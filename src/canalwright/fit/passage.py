"""The shaped lumen as instruments meet it, for one or many draws."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.perturb import departures, native_widths
from canalwright.quantities import Sample, draw
from canalwright.shaping import shaped_widths

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Passage:
    """A shaped canal from its terminus to the orifice: `d` draws (row 0 nominal) of `n` stations.

    `z` (n,) mm; `minor`, `major` (d, n) widths; `fin` (d, n) the width of the oval part that is `major` long: less
    than `minor` where the file cut a round hole in a narrower oval. `centre`, `departure`, `axis` (n, 3): nominal
    centreline, its departure from the coronal straight line, and the unit direction of the greatest width. `curve`
    (d,) scales that departure, as `canalwright.anatomy.perturb` says. `end` is z of the preparation's end; `length`
    (d,) reference point to terminus. Above the orifice nothing is constrained: the access cavity is supposed to let
    an instrument in at any tilt.
    """

    z: Array
    minor: Array
    major: Array
    fin: Array
    centre: Array
    departure: Array
    axis: Array
    curve: Array
    end: float
    length: Array

    def __post_init__(self) -> None:
        d, n = len(self.curve), len(self.z)
        expected = {
            "minor": (d, n), "major": (d, n), "fin": (d, n), "centre": (n, 3), "departure": (n, 3), "axis": (n, 3),
            "length": (d,),
        }  # fmt: skip
        for name, shape in expected.items():
            if np.shape(getattr(self, name)) != shape:
                raise ValueError(
                    f"{name} has shape {np.shape(getattr(self, name))}, expected {shape} (draws, stations)"
                )
        if n < 2 or not (np.diff(self.z) > 0).all():
            raise ValueError("stations must be two or more and grow coronally")
        if not (self.minor > 0).all():
            raise ValueError("widths of the lumen must be positive")

    @property
    def draws_count(self) -> int:
        """Number of draws, the nominal one included."""
        return len(self.curve)

    @property
    def orifice(self) -> float:
        """z of the coronal end."""
        return float(self.z[-1])

    @property
    def nominal(self) -> "Passage":
        """Row 0 alone."""
        first = {name: getattr(self, name)[:1] for name in ("minor", "major", "fin", "curve", "length")}
        return replace(self, **first)

    @classmethod
    def of(cls, canal: Canal) -> "Passage":
        """The nominal shaped canal, one draw."""
        return cls.draws(canal, draw({}, 0, 0))

    @classmethod
    def draws(cls, canal: Canal, sample: Sample) -> "Passage":
        """One row per draw of `sample`, by its readings "width", "file", "curve", "length"; the rest stays nominal."""

        def drawn(name: str, nominal: float) -> Array:
            return sample[name] if name in sample.readings else np.full(sample.size, nominal)

        native = canal.native
        kept = native.z <= (canal.orifice if canal.orifice > 0 else native.z[-1]) + 1e-9
        z = native.z[kept]
        minor, major = (width[:, kept] for width in native_widths(canal, sample))
        round_part, long_part = shaped_widths(z, minor, major, canal.file, canal.end, drawn("file", 0.0))
        return cls(
            z=z,
            minor=round_part,
            major=long_part,
            # Where the file is wider than the oval is long nothing of the oval is left.
            fin=np.where(long_part > round_part, minor, round_part),
            centre=native.centre[kept],
            departure=departures(native)[kept],
            axis=native.axis[kept],
            curve=drawn("curve", 1.0),
            end=canal.end,
            length=drawn("length", canal.length.value),
        )
