"""Small DICOM series written for the tests: invented, no patient."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import CTImageStorage, EnhancedCTImageStorage, ExplicitVRLittleEndian, generate_uid

Array = NDArray[np.float64]


def slice_dataset(
    grey: NDArray[np.int16], position: Array, *, turn: Array, spacing: tuple[float, float], series: str, number: int
) -> Dataset:
    data = Dataset()
    data.file_meta = FileMetaDataset()
    data.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    data.file_meta.MediaStorageSOPClassUID = CTImageStorage
    data.SOPClassUID = CTImageStorage
    data.SOPInstanceUID = data.file_meta.MediaStorageSOPInstanceUID = generate_uid()
    data.StudyInstanceUID = "1.2.3.4"
    data.StudyID, data.StudyDate, data.StudyTime = "1", "20260101", "120000"
    data.SeriesInstanceUID = series
    data.SeriesNumber, data.InstanceNumber = int(series.rsplit(".", 1)[1]), number
    data.PatientName, data.PatientID, data.PatientBirthDate = "Invented^Person", "X1", "19700101"
    data.PatientSex = "O"
    data.Modality = "CT"
    data.ImagePositionPatient = [float(v) for v in position]
    data.ImageOrientationPatient = [float(v) for v in turn]
    data.PixelSpacing = list(spacing)
    data.Rows, data.Columns = grey.shape
    data.SamplesPerPixel, data.PhotometricInterpretation = 1, "MONOCHROME2"
    data.BitsAllocated = data.BitsStored = 16
    data.HighBit, data.PixelRepresentation = 15, 1
    data.RescaleSlope, data.RescaleIntercept = "2", "-1000"
    data.PixelData = grey.astype("<i2").tobytes()
    return data


def write_series(
    folder: Path,
    volume: NDArray[np.int16],
    *,
    step: float = 0.2,
    spacing: tuple[float, float] = (0.2, 0.3),
    turn: tuple[float, ...] = (1, 0, 0, 0, 1, 0),
    series: str = "1.2.3.7",
    origin: tuple[float, float, float] = (10, 20, 30),
    skip: tuple[int, ...] = (),
) -> list[Dataset]:
    """Write `volume` [z, y, x] as one file per slice, named in no order; returns the slices."""
    folder.mkdir(parents=True, exist_ok=True)
    way = np.array(turn, float)
    normal = np.cross(way[:3], way[3:])
    made = []
    for k, grey in enumerate(volume):
        if k in skip:
            continue
        data = slice_dataset(
            grey, np.array(origin) + k * step * normal, turn=way, spacing=spacing, series=series, number=99 - k
        )
        data.save_as(folder / f"{series.rsplit('.', 1)[1]}_{(k * 7) % 11:02d}_{k}.dcm", enforce_file_format=True)
        made.append(data)
    return made


def write_multi_frame(
    path: Path,
    volume: NDArray[np.int16],
    *,
    step: float = 0.2,
    spacing: tuple[float, float] = (0.2, 0.3),
    order: list[int] | None = None,
    places: list[float] | None = None,
) -> Dataset:
    """Write `volume` [z, y, x] as one enhanced CT file; frames stored in `order`, at `places` (mm) along the normal."""
    order = list(range(len(volume))) if order is None else order
    places = [k * step for k in range(len(volume))] if places is None else places
    data = slice_dataset(
        volume[0], np.zeros(3), turn=np.array([1, 0, 0, 0, 1, 0], float), spacing=spacing, series="1.2.3.7", number=1
    )
    data.SOPClassUID = data.file_meta.MediaStorageSOPClassUID = EnhancedCTImageStorage
    for key in ("ImagePositionPatient", "ImageOrientationPatient", "PixelSpacing", "RescaleSlope", "RescaleIntercept"):
        delattr(data, key)
    shared, measures, turned, scale = Dataset(), Dataset(), Dataset(), Dataset()
    measures.PixelSpacing, measures.SliceThickness = list(spacing), step
    turned.ImageOrientationPatient = [1, 0, 0, 0, 1, 0]
    scale.RescaleSlope, scale.RescaleIntercept, scale.RescaleType = "2", "-1000", "HU"
    shared.PixelMeasuresSequence = [measures]
    shared.PlaneOrientationSequence = [turned]
    shared.PixelValueTransformationSequence = [scale]
    data.SharedFunctionalGroupsSequence = [shared]
    frames = []
    for k in order:
        frame, place = Dataset(), Dataset()
        place.ImagePositionPatient = [10.0, 20.0, 30.0 + places[k]]
        frame.PlanePositionSequence = [place]
        frames.append(frame)
    data.PerFrameFunctionalGroupsSequence = frames
    data.NumberOfFrames = len(order)
    data.PixelData = volume[order].astype("<i2").tobytes()
    data.save_as(path, enforce_file_format=True)
    return data
