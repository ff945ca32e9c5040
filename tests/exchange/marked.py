"""A DICOM file with a person in every place that a file has: invented, and marked so that each trace can be found again."""

from collections.abc import Iterable
from io import BytesIO
from typing import Any

import numpy as np
from pydicom._dicom_dict import DicomDictionary
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence as Items
from pydicom.tag import Tag
from pydicom.uid import CTImageStorage, ExplicitVRLittleEndian

WORD, DIGITS, DAY = "ZQXMARKED", "77713377713", "18690713"
TRACES = tuple(t.encode(c) for t in (WORD, WORD.lower(), DIGITS, DAY) for c in ("ascii", "utf-16-le", "utf-16-be"))
VALUES: dict[str, Any] = {
    "AE": WORD, "AS": "077Y", "CS": WORD, "DA": DAY, "DT": f"{DAY}120000", "LO": f"{WORD} {WORD}", "LT": WORD, "OB": WORD.encode() + b"\0",
    "OD": WORD[:8].encode(), "OF": WORD[:8].encode(), "OL": WORD[:8].encode(), "OV": WORD[:8].encode(), "OW": (WORD + "!").encode(),
    "PN": f"{WORD}^{WORD}^{WORD}^{WORD}^{WORD}={WORD}^{WORD}={WORD}", "SH": WORD, "ST": WORD, "TM": "120000", "UC": WORD,
    "UI": f"1.2.3.{DIGITS}", "UN": WORD.encode() + b"\0", "UR": f"http://{WORD.lower()}.invalid/{WORD}", "UT": WORD,
}  # fmt: skip
SPARED = {
    "PixelData",
    "FloatPixelData",
    "DoubleFloatPixelData",
    "SOPClassUID",
    "PhotometricInterpretation",
    "SpecificCharacterSet",
}


def picture(rows: int = 32, columns: int = 40) -> Dataset:
    """A small image, with file head and preamble that carry the marks too."""
    made = Dataset()
    made.file_meta = FileMetaDataset()
    made.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    made.file_meta.MediaStorageSOPClassUID = CTImageStorage
    made.file_meta.MediaStorageSOPInstanceUID = f"1.2.3.{DIGITS}.1"
    made.file_meta.SourceApplicationEntityTitle = WORD
    made.file_meta.ImplementationVersionName = WORD
    made.file_meta.PrivateInformationCreatorUID = f"1.2.3.{DIGITS}.9"
    made.file_meta.PrivateInformation = WORD.encode() + b"\0"
    made.preamble = (WORD.encode() * 20)[:128]
    made.SOPClassUID, made.SOPInstanceUID = CTImageStorage, f"1.2.3.{DIGITS}.1"
    made.StudyInstanceUID, made.SeriesInstanceUID = f"1.2.3.{DIGITS}.2", f"1.2.3.{DIGITS}.3"
    made.PatientName, made.PatientID, made.Modality = WORD, DIGITS, "CT"
    made.Rows, made.Columns, made.SamplesPerPixel, made.PhotometricInterpretation = rows, columns, 1, "MONOCHROME2"
    made.BitsAllocated, made.BitsStored, made.HighBit, made.PixelRepresentation = 16, 12, 11, 0
    grey = np.random.default_rng(5).integers(0, 4096, (rows, columns)).astype("<u2")
    made.PixelData = grey.tobytes() + WORD.encode() + b"\0"
    return made


def stuffed(made: Dataset, tags: Iterable[int], nested: int = 0) -> Dataset:
    """Put a mark into each of `tags`, with the value's own kind; `nested` levels of sequences hold the same again."""
    for number in tags:
        tag = Tag(number)
        vr = DicomDictionary[int(tag)][0].partition(" ")[0]
        if tag.group < 8 or DicomDictionary[int(tag)][4] in SPARED or tag in made:
            continue
        if vr in VALUES:
            made[tag] = DataElement(tag, vr, VALUES[vr])
        elif vr == "SQ" and nested:
            item = Dataset()
            item.PatientName, item.TextValue = WORD, WORD
            made[tag] = DataElement(tag, "SQ", Items([stuffed(item, list(tags)[:40], nested - 1)]))
    block = made.private_block(0x0011, WORD, create=True)
    block.add_new(0x01, "LO", WORD)
    inner = Dataset()
    inner.PatientName = WORD
    block.add_new(0x02, "SQ", Items([inner]))
    for group in (0x5000, 0x6000, 0x6002):
        made.add_new((group, 0x0022), "LO", WORD)
        made.add_new((group, 0x3000), "OW", (WORD + "!").encode())
    if not nested:
        made.add_new((0xFFFC, 0xFFFC), "OB", WORD.encode() + b"\0")
    return made


def public_tags() -> list[int]:
    """Every attribute of the standard that this library knows."""
    return sorted(DicomDictionary)


def as_bytes(made: Dataset) -> bytes:
    """The file, with something after its end."""
    out = BytesIO()
    made.save_as(out, enforce_file_format=True)
    return out.getvalue()


def traces(content: bytes) -> list[bytes]:
    """Marks that are still to be found in a file."""
    return [t for t in TRACES if t in content]
