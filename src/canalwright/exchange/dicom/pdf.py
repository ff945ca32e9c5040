"""Encapsulated PDF (DICOM PS3.3 A.45.1): letter, leaflet, casebook or card inside the patient's study, and out again."""

import hashlib
from io import BytesIO
from pathlib import Path
from typing import Any, Literal

import pydicom
from pydicom.errors import InvalidDicomError
from pydicom.uid import EncapsulatedPDFStorage

from canalwright.exchange import codes
from canalwright.exchange.dicom.study import Study, base, concept
from canalwright.exchange.errors import ExchangeError

Document = Literal["letter", "leaflet", "casebook", "card", "document"]
SERIES = {"letter": 901, "leaflet": 902, "casebook": 903, "card": 904, "document": 905}


def encapsulated(study: Study, pdf: bytes, document: Document, title: str = "") -> Any:
    """A PDF as a dataset. Raises ExchangeError for bytes that are no PDF."""
    if not pdf.startswith(b"%PDF-"):
        raise ExchangeError(f"{document}: these bytes are no PDF (it begins with %PDF-); give a PDF")
    code = codes.DOCUMENTS[document]
    found = base(
        study, document, SERIES[document], code.meaning, hashlib.sha256(pdf).hexdigest(), EncapsulatedPDFStorage, "DOC"
    )
    found.ConversionType = "WSD"
    found.AcquisitionDateTime = None
    found.BurnedInAnnotation = "YES"
    found.DocumentTitle = (title or code.meaning)[:1024]
    found.ConceptNameCodeSequence = [concept(code)]
    found.MIMETypeOfEncapsulatedDocument = "application/pdf"
    found.EncapsulatedDocument = pdf + b"\0" * (len(pdf) % 2)
    found.EncapsulatedDocumentLength = len(pdf)
    return found


def pdf_of(content: bytes, name: str = "file") -> bytes:
    """The PDF inside an encapsulated PDF. Raises ExchangeError when there is none."""
    try:
        found = pydicom.dcmread(BytesIO(content))
    except (InvalidDicomError, EOFError, ValueError) as error:
        raise ExchangeError(f"{name}: cannot be read as DICOM ({error})") from None
    held = found.get("EncapsulatedDocument")
    if found.get("SOPClassUID") != EncapsulatedPDFStorage or not held:
        raise ExchangeError(f"{name}: not an encapsulated PDF; give a file of that class")
    return bytes(held)[: found.get("EncapsulatedDocumentLength", len(held))]


def saved(dataset: Any) -> bytes:
    """A dataset as the bytes of a file."""
    out = BytesIO()
    dataset.save_as(out, enforce_file_format=True)
    return out.getvalue()


def write(dataset: Any, path: Path) -> Path:
    """Write a dataset to a new file. Raises FileExistsError: nothing is written over."""
    with path.open("xb") as file:
        file.write(saved(dataset))
    return path
