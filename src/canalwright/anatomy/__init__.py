"""One tooth and its canals: what was measured, what is usual, and the shape that follows.

`Canal.from_measurements(...)` is the door: measurements in, a canal with stations every 0.1 mm out, each gap
filled from `averages` and marked so. `perturbed` moves a canal by the errors of its readings.
"""

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.limits import Fault, MeasurementError
from canalwright.anatomy.lumen import STEP, Doubt, Lumen, Portal
from canalwright.anatomy.measurements import Curve, Measured, Measurements, SideBranch
from canalwright.anatomy.perturb import centres, native_widths, perturbed, scaled_centres, walls
from canalwright.anatomy.sides import SideWall, furcation_side
from canalwright.anatomy.tooth import Tooth

__all__ = [
    "STEP",
    "Canal",
    "Curve",
    "Doubt",
    "Fault",
    "Lumen",
    "Measured",
    "MeasurementError",
    "Measurements",
    "Portal",
    "SideBranch",
    "SideWall",
    "Tooth",
    "centres",
    "furcation_side",
    "native_widths",
    "perturbed",
    "scaled_centres",
    "walls",
]
