"""Labels as a DICOM Segmentation (PS3.3 A.51) that refers to the series they were found in.

Codes: the category is SNOMED CT as DICOM PS3.16 itself lists it; no SNOMED CT code for a root canal stands there, so canals
carry a code of our private scheme with their meaning in words. The tooth itself may be given as the anatomic region. The
patient's identity is left out unless it is asked for: viewers join the file to its series by the study and instance UIDs.
"""

import warnings as python_warnings
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from pydicom.dataset import Dataset
from pydicom.uid import generate_uid

from canalwright.imaging.errors import ImagingError
from canalwright.imaging.grid import Grid
from canalwright.imaging.readers.series import Series, series_of
from canalwright.imaging.volume import Scan

SCHEME = "99CANALWRIGHT"
MAKER = "canalwright"
PATIENT = ("PatientName", "PatientID", "PatientBirthDate", "PatientSex")
EMPTY = (*PATIENT, "StudyDate", "StudyTime", "AccessionNumber", "StudyID", "ReferringPhysicianName")
"""Attributes that a segmentation must have and a series may lack: empty there, as the standard allows."""


@dataclass(frozen=True)
class Purpose:
    """What a segmentation shows, its `label` (code string) and `series` in words, and how it was found: `code` and words of `method`."""

    label: str
    series: str
    code: str
    method: str


CANALS = Purpose("ROOT_CANALS", "Root canals measured in a scan", "TUBE-FIT", "blurred tube fit")
FILLING = Purpose("ROOT_FILLING", "Root filling found in two scans", "SHARES", "shares of two registered scans")


def segmentation(
    mask: Scan,
    names: Sequence[str],
    whole: Grid,
    *,
    series: str | Series | None = None,
    region: tuple[str, str, str] | None = None,
    identity: bool = False,
    purpose: Purpose = CANALS,
) -> Dataset:
    """The segmentation of `mask` (numbers 1, 2, ... called `names`), which lies on the grid of the DICOM scan `whole`.

    `series`: as it was chosen for reading, or what was kept of it (`readers.series`) where its files are gone.
    `region`: code, scheme and meaning of the tooth. `purpose`: what is shown, and found how.
    Raises ImagingError when the scan is no DICOM series, or the mask does not lie on it.
    """
    found = series if isinstance(series, Series) else series_of(Path(whole.path), series)
    if found is None:
        raise ImagingError(
            f"{whole.path}: not a DICOM series, which a segmentation must refer to; write .nii.gz instead"
        )
    low = np.round(whole.to_index(mask.affine[:3, 3])).astype(int)
    size = np.array(mask.shape[::-1])
    if (
        np.abs(whole.to_patient(low) - mask.affine[:3, 3]).max() > 0.01
        or np.any(low < 0)
        or np.any(low + size > np.array(whole.shape[::-1]))
    ):
        raise ImagingError(f"{whole.path}: the labels do not lie on the grid of this series; find them in it again")
    sources, order = list(found.headers), found.order
    if len(sources) == len(order):
        sources = sources[low[2] : low[2] + size[2]]
        rows = list(range(size[2]))
        shape = (int(size[2]), *whole.shape[1:])
    else:  # frames of one file, in the order in which they are stored
        rows = [order[k] for k in range(low[2], low[2] + size[2])]
        shape = whole.shape
    greys = np.zeros(shape, np.uint8)
    greys[rows, low[1] : low[1] + size[1], low[0] : low[0] + size[0]] = mask.voxels
    ready = [_whole(header, float(whole.spacing[2]), identity) for header in sources]
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("ignore")
        return _made(ready, greys, names, region, purpose)


def _made(
    sources: list[Dataset], greys: Any, names: Sequence[str], region: tuple[str, str, str] | None, purpose: Purpose
) -> Dataset:
    import highdicom  # here, since it is large, and few of those who read a scan write one
    from pydicom.sr.codedict import codes

    hd: Any = highdicom
    release = version("canalwright")
    how = hd.AlgorithmIdentificationSequence(
        name=purpose.method, family=hd.sr.CodedConcept(purpose.code, SCHEME, "Model fit"), version=release
    )
    ours = {
        "pulp": "Dental pulp",
        "filling": "Root filling",
        "void": "Void in a root filling",
        "unfilled": "Unfilled root canal",
    }
    kinds = {name: hd.sr.CodedConcept(name.upper(), SCHEME, meaning) for name, meaning in ours.items()}
    kinds["tooth"] = codes.SCT.Tooth
    canal = hd.sr.CodedConcept("ROOT-CANAL", SCHEME, "Root canal")
    segments = [
        hd.seg.SegmentDescription(
            segment_number=number,
            segment_label=name,
            segmented_property_category=codes.SCT.AnatomicalStructure,
            segmented_property_type=kinds.get(name, canal),
            algorithm_type=hd.seg.SegmentAlgorithmTypeValues.SEMIAUTOMATIC,
            algorithm_identification=how,
            anatomic_regions=[hd.sr.CodedConcept(*region)] if region else None,
        )
        for number, name in enumerate(names, 1)
    ]
    try:
        return hd.seg.Segmentation(  # type: ignore[no-any-return]
            source_images=sources,
            pixel_array=greys,
            segmentation_type=hd.seg.SegmentationTypeValues.BINARY,
            segment_descriptions=segments,
            series_instance_uid=generate_uid(),
            series_number=9001,
            sop_instance_uid=generate_uid(),
            instance_number=1,
            manufacturer=MAKER,
            manufacturer_model_name=MAKER,
            software_versions=release,
            device_serial_number="0",
            content_label=purpose.label,
            series_description=purpose.series,
        )
    except (AttributeError, ValueError, KeyError) as error:
        said = " ".join(str(error).split())[:120]
        raise ImagingError(f"the series cannot carry a segmentation ({said}); write .nii.gz instead") from None


def _whole(header: Dataset, step: float, identity: bool) -> Dataset:
    """A copy of a slice's header with what a segmentation needs, the patient's identity emptied unless it is wanted."""
    copy = Dataset()
    copy.update(header)
    copy.file_meta = header.file_meta
    for key in EMPTY:
        if key not in copy or (key in PATIENT and not identity):
            setattr(copy, key, "")
    if "SliceThickness" not in copy and "NumberOfFrames" not in copy:
        copy.SliceThickness = step
    if "FrameOfReferenceUID" not in copy:
        copy.FrameOfReferenceUID = generate_uid(entropy_srcs=[str(header.get("SeriesInstanceUID", ""))])
    return copy
