"""What a segmentation needs of the series that it refers to, and what of that is kept when the series itself is not.

A scan that is open in the page is no file of ours any more. Kept of each image: which it is (its UIDs, those of study, series and frame of
reference), and where it lies. Left out: all else, so that no name, number, date or place of the patient or the clinic stays.
"""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import UID

from canalwright.imaging.errors import ImagingError
from canalwright.imaging.readers.dicom import series_headers

KEPT = (
    "SOPClassUID", "SOPInstanceUID", "StudyInstanceUID", "SeriesInstanceUID", "FrameOfReferenceUID", "Modality", "Rows", "Columns",
    "ImagePositionPatient", "ImageOrientationPatient", "PixelSpacing", "SliceThickness", "SpacingBetweenSlices", "NumberOfFrames",
    "SharedFunctionalGroupsSequence", "PerFrameFunctionalGroupsSequence", "DimensionOrganizationSequence", "DimensionIndexSequence",
)  # fmt: skip
"""Attributes of an image that are kept."""
INSIDE = (
    *KEPT, "PlanePositionSequence", "PlaneOrientationSequence", "PixelMeasuresSequence", "FrameContentSequence", "DimensionIndexValues",
    "StackID", "InStackPositionNumber", "DimensionOrganizationUID", "DimensionIndexPointer", "FunctionalGroupPointer",
)  # fmt: skip
"""Attributes that are kept inside their sequences."""


@dataclass(frozen=True)
class Series:
    """Headers of the images in the order of the slices, and the frame that each slice is; a single header for a file of many frames."""

    headers: tuple[Dataset, ...]
    order: tuple[int, ...]

    def bare(self) -> Self:
        """The same with what is kept alone."""
        return type(self)(tuple(_bare(header) for header in self.headers), self.order)

    def uids(self) -> dict[str, str]:
        """Which series it is: UIDs of study, series and frame of reference, those that there are."""
        names = {"study": "StudyInstanceUID", "series": "SeriesInstanceUID", "frame": "FrameOfReferenceUID"}
        return {key: str(uid) for key, name in names.items() if (uid := getattr(self.headers[0], name, ""))}

    def dumps(self) -> str:
        """What is kept, as text."""
        told = [[header.to_json_dict(), str(header.file_meta.TransferSyntaxUID)] for header in self.bare().headers]
        return json.dumps({"headers": told, "order": self.order})

    @classmethod
    def loads(cls, text: str) -> Self:
        """The series that `dumps` gave. Raises ImagingError for another text."""
        try:
            told = json.loads(text)
            headers = []
            for table, syntax in told["headers"]:
                header = Dataset.from_json(table)
                header.file_meta = FileMetaDataset()
                header.file_meta.TransferSyntaxUID = UID(str(syntax))
                headers.append(header)
            return cls(tuple(headers), tuple(int(k) for k in told["order"]))
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise ImagingError(
                f"what was kept of the series cannot be read ({str(error)[:80]}): open the scan again"
            ) from None


def series_of(path: Path, series: str | None = None) -> Series | None:
    """The series at a path, chosen as for reading; None where it is no DICOM. Raises ScanError as reading it does."""
    found = series_headers(path, series=series)
    return None if found is None else Series(tuple(found[0]), tuple(found[1]))


def _bare(header: Dataset, names: tuple[str, ...] = KEPT) -> Dataset:
    made = Dataset()
    for name in names:
        if name in header:
            value: Any = header[name].value
            if header[name].VR == "SQ":
                value = [_bare(item, INSIDE) for item in value]
            setattr(made, name, value)
    if names is KEPT:
        made.file_meta = FileMetaDataset()
        made.file_meta.TransferSyntaxUID = header.file_meta.TransferSyntaxUID
    return made
