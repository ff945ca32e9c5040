"""One root canal as the models see it.

Conventions (hold everywhere): lengths mm; stations `z` are arc length along the centreline from the
radiographic terminus, 0 there, growing coronally. What a rubber stop shows is the depth from the
reference point, `depth = length - z`, `length` being the distance from reference point to terminus.
The working length may end short of the terminus, at `end` (z of the preparation's end).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from canalwright.anatomy import build
from canalwright.anatomy.lumen import Array, Doubt, Lumen, Portal
from canalwright.anatomy.measurements import Measurements
from canalwright.anatomy.sides import SideWall
from canalwright.anatomy.tooth import Tooth
from canalwright.instruments import File
from canalwright.quantities import Reading, Source


@dataclass(frozen=True)
class Canal:
    """A measured canal.

    `native` is the lumen before the finishing file; `file` the finishing file of the plan, taken to
    z = `end`. `errors` names the uncertain readings that the models draw from; each moves the
    geometry as `canalwright.anatomy.perturb` says. `weights` (n,), keyed alike, says what share of "width" and
    "wall" holds at each station (1 where a key is missing): a gauge makes the width sure where it was, not above.
    `sources` gives the source of each field by its case-file key. `foramen` is the least width of the canal at its
    terminus. `notes` are doubts about what was measured. `sides`: the wall by side where it was measured so.
    """

    tooth: Tooth
    name: str
    native: Lumen
    length: Reading
    end: float
    file: File
    reference: str = "cusp tip"
    orifice: float = 0.0
    crest: float | None = None
    cej: float | None = None
    post: bool = False
    foramen: float | None = None
    portals: tuple[Portal, ...] = ()
    errors: Mapping[str, Reading] = field(default_factory=dict)
    sources: Mapping[str, Source] = field(default_factory=dict)
    weights: Mapping[str, Array] = field(default_factory=dict, repr=False)
    notes: tuple[Doubt, ...] = ()
    sides: tuple[SideWall, ...] = ()

    @classmethod
    def from_measurements(cls, measurements: Measurements | None = None, /, **values: Any) -> "Canal":
        """The canal from what was measured of it: a `Measurements`, or the same as keyword values.

        `Canal.from_measurements(tooth=46, canal="mesiobuccal", working_length=20.5, finishing_file=(30, 0.04))` is
        enough; see `Measurements.of` for the rest. Raises MeasurementError for a canal that cannot be.
        """
        return build.from_measurements(cls, measurements if measurements is not None else Measurements.of(**values))

    @property
    def working_length(self) -> float:
        """Reference point to the end of the preparation, mm."""
        return self.length.value - self.end

    def depth(self, z: float) -> float:
        """What the rubber stop shows when the tip is at station `z`, mm from the reference point."""
        return self.length.value - z

    def with_native(self, native: Lumen) -> "Canal":
        """The same canal with another native lumen."""
        return replace(self, native=native)
