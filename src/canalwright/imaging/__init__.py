"""Reading scans and surfaces, tracing the canal, measuring it.

Every refusal of this room is an `ImagingError` (`ScanError`, `SurfaceError`) of one line. What is
found comes back as `FoundCanal`, whichever way it was found.
"""

from canalwright.imaging.corrections import Correction, correct
from canalwright.imaging.errors import CorrectionError, ImagingError, ScanError, SurfaceError
from canalwright.imaging.found import FoundCanal, FoundPortal, Quality
from canalwright.imaging.measures import measures
from canalwright.imaging.mesh.canals import canals_from_surfaces
from canalwright.imaging.mesh.surfaces import Surface, read_surface
from canalwright.imaging.readers.opened import Opened
from canalwright.imaging.readers.scan import open_scan, read_scan
from canalwright.imaging.readers.stack import VoxelSize, voxel_size
from canalwright.imaging.sides import side_walls
from canalwright.imaging.to_canal import reference_point, to_canal
from canalwright.imaging.tooth.called import called
from canalwright.imaging.tooth.canals import FoundTooth, find_canals, measure_tooth
from canalwright.imaging.tracing.branches import find_portals, fine, portals_of
from canalwright.imaging.tracing.mask import trace_mask
from canalwright.imaging.tracing.trace import trace
from canalwright.imaging.volume import Scan

__all__ = [
    "Correction",
    "CorrectionError",
    "FoundCanal",
    "FoundPortal",
    "FoundTooth",
    "ImagingError",
    "Opened",
    "Quality",
    "Scan",
    "ScanError",
    "Surface",
    "SurfaceError",
    "VoxelSize",
    "called",
    "canals_from_surfaces",
    "correct",
    "find_canals",
    "find_portals",
    "fine",
    "measure_tooth",
    "measures",
    "open_scan",
    "portals_of",
    "read_scan",
    "read_surface",
    "reference_point",
    "side_walls",
    "to_canal",
    "trace",
    "trace_mask",
    "voxel_size",
]
