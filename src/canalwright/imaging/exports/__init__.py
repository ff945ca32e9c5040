"""What was found, for other programs: tables, surfaces, labels, DICOM segmentation."""

from canalwright.imaging.exports.folder import KINDS, USUAL, export
from canalwright.imaging.exports.labels import labels, nrrd_of, tooth_labels, write_labels
from canalwright.imaging.exports.segmentation import FILLING, segmentation
from canalwright.imaging.exports.surfaces import SURFACES, lumen_surface, pulp_surface, root_surface, write_surface
from canalwright.imaging.exports.tables import COLUMNS, as_csv, as_json, rows, write_table

__all__ = [
    "COLUMNS",
    "FILLING",
    "KINDS",
    "SURFACES",
    "USUAL",
    "as_csv",
    "as_json",
    "export",
    "labels",
    "lumen_surface",
    "nrrd_of",
    "pulp_surface",
    "root_surface",
    "rows",
    "segmentation",
    "tooth_labels",
    "write_labels",
    "write_surface",
    "write_table",
]
