"""Does a picture look as if it had text in it? A suspicion to be looked at by eye, not a proof either way.

Written text is found as rows of small marks of one brightness, thin-lined, of like height on one base line. Its error, measured on
invented radiographs with and without text, stands in docs/exchange.md. Handwriting, slanted or faint text, text of less than 8 or
more than 64 pixels height and fewer than four letters are not looked for.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset
from scipy import ndimage

LEAST, MOST, LETTERS = 6, 64, 4
STROKE = 11
CONTRAST, EVEN, CORE = 0.22, 0.09, 0.65
ALWAYS = {
    "US": "ultrasound", "SC": "secondary capture", "OT": "other", "XC": "photograph", "ES": "endoscopy", "GM": "microscopy",
    "SM": "slide", "DOC": "document", "RG": "film", "DG": "digitised", "XA": "angiography", "RF": "fluoroscopy",
}  # fmt: skip
CONVERTED = {
    "DF": "digitised film",
    "SD": "scanned document",
    "SI": "scanned image",
    "WSD": "made at a workstation",
    "DV": "digitised video",
}
SECONDARY = "1.2.840.10008.5.1.4.1.1.7"


@dataclass(frozen=True, slots=True)
class Box:
    """A row of marks that looks like text: top, left, bottom, right in pixels, and how many marks."""

    top: int
    left: int
    bottom: int
    right: int
    marks: int


def by_kind(dataset: Dataset) -> list[str]:
    """Reasons to suspect text that lie in what kind of picture it is."""
    reasons = []
    modality, conversion = str(dataset.get("Modality", "")), str(dataset.get("ConversionType", ""))
    if str(dataset.get("BurnedInAnnotation", "")).strip() == "YES":
        reasons.append("the file itself says that it has burned-in annotation")
    if modality in ALWAYS:
        reasons.append(f"pictures of modality {modality} ({ALWAYS[modality]}) often carry text")
    if conversion in CONVERTED:
        reasons.append(f"conversion type {conversion} ({CONVERTED[conversion]}) often carries text")
    if str(dataset.get("SOPClassUID", "")).startswith(SECONDARY):
        reasons.append("a secondary capture often carries text")
    return reasons


def text_like(picture: NDArray[Any]) -> list[Box]:
    """Rows of marks that look like text in a picture of shape (rows, columns)."""
    grey = np.asarray(picture, float)
    low, high = np.percentile(grey, (0.1, 99.9))
    low, high = min(low, float(grey.min())), max(high, float(grey.max()))
    if grey.ndim != 2 or min(grey.shape) < 2 * LEAST or high <= low:
        return []
    grey = (grey - low) / (high - low)
    return [box for bright in (grey, 1.0 - grey) for box in _rows(bright)]


def _rows(grey: NDArray[np.float64]) -> list[Box]:
    """Rows of bright marks."""
    raised = grey - ndimage.grey_opening(grey, size=(STROKE, STROKE))
    labels, count = ndimage.label(raised > CONTRAST, np.ones((3, 3)))
    if not 0 < count < 20_000:
        return []
    marks = []
    numbers = np.arange(1, count + 1)
    tops = np.concatenate([[np.inf], ndimage.maximum(raised, labels, numbers)])
    core = np.where(raised >= CORE * tops[labels], labels, 0)
    spreads = ndimage.standard_deviation(grey, core, numbers)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)[1:]
    for i, (rows, columns) in enumerate(ndimage.find_objects(labels)):
        height, width = rows.stop - rows.start, columns.stop - columns.start
        full = sizes[i] / (height * width)
        if (
            LEAST <= height <= MOST
            and 1 <= width <= 2.5 * height
            and 0.12 <= full <= 1.0
            and spreads[i] <= EVEN
            and sizes[i] >= 5
        ):
            marks.append((columns.start, rows.start, columns.stop, rows.stop))
    return _lines(sorted(marks))


def _lines(marks: list[tuple[int, int, int, int]]) -> list[Box]:
    """Marks beside each other on one base line, of like height."""
    lines: list[list[tuple[int, int, int, int]]] = []
    for mark in marks:
        height = mark[3] - mark[1]
        for line in lines:
            last = line[-1]
            before = last[3] - last[1]
            gap, tall = mark[0] - last[2], max(height, before)
            level = abs(mark[3] - last[3]) <= 0.3 * tall or abs(mark[1] - last[1]) <= 0.2 * tall
            if -0.3 * tall <= gap <= 1.3 * tall and level and max(height, before) <= 1.9 * min(height, before):
                line.append(mark)
                break
        else:
            lines.append([mark])
    return [
        Box(min(m[1] for m in line), line[0][0], max(m[3] for m in line), max(m[2] for m in line), len(line))
        for line in lines
        if len(line) >= LETTERS
    ]
