"""DICOM: a series of slices, a multi-frame file, a DICOMDIR.

This is the way from a path to one series: which files are images, which of them belong together, which series is meant
when there are several. `dicom_frames` places the frames, `dicom_greys` decodes them.
"""

import warnings as python_warnings
from collections import defaultdict
from pathlib import Path

import numpy as np
from pydicom.dataset import Dataset
from pydicom.errors import InvalidDicomError

from canalwright.imaging.errors import ScanError
from canalwright.imaging.grid import affine_from
from canalwright.imaging.readers.bounded import dicom_header
from canalwright.imaging.readers.dicom_frames import SPARE, count_of, frames_of, one_stack, step_between
from canalwright.imaging.readers.dicom_greys import greys
from canalwright.imaging.readers.opened import Opened
from canalwright.imaging.refusal import refusal

MAX_FILES = 20_000
_TECHNICAL = ("KVP", "XRayTubeCurrent", "ExposureTime", "ConvolutionKernel", "BodyPartExamined", "Rows", "Columns")
_IDENTITY = ("PatientName", "PatientID", "PatientBirthDate", "PatientSex", "StudyDate")


def open_dicom(path: Path, *, series: str | None = None, identity: bool = False) -> Opened:
    """Open the one series in a file, folder or DICOMDIR. Raises ScanError.

    Elements are parsed when they are first asked for, so that damage may show anywhere: whatever the parser makes of it is
    a refusal, and what it merely warns of is for its own log.
    """
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("ignore")
        try:
            return _open(path, series, identity)
        except (ScanError, MemoryError):
            raise
        except Exception as error:  # the parser raises of every kind on damaged input
            said = str(error).splitlines()[0][:80] if str(error) else type(error).__name__
            raise refusal(path, f"a value in its header cannot be read ({said}). {SPARE}") from None


def _open(path: Path, series: str | None, identity: bool) -> Opened:
    chosen, notes = _series(path, series)
    frames, more = one_stack(path, [frame for file, header in chosen for frame in frames_of(file, header)])
    step = step_between(path, frames)
    first = frames[0]
    columns = np.column_stack([first.rows * first.spacing[1], first.columns * first.spacing[0], step])
    header = dict(chosen)[first.path]
    source, slope, intercept = greys(path, frames)
    details = {key: str(header[key].value) for key in _TECHNICAL if key in header}
    if identity:
        details |= {key: str(header[key].value) for key in _IDENTITY if key in header}
    return Opened(
        source, affine_from(first.position, columns), str(header.get("Modality", "")), (*notes, *more), details,
        slope, intercept, str(path),
    )  # fmt: skip


def series_headers(path: Path, series: str | None = None) -> tuple[list[Dataset], list[int]] | None:
    """Headers of a series' images in the order of its slices, and the frame that each slice is; None when it is no DICOM.

    One header for every slice, or a single one for a file of many frames. Raises ScanError as `open_dicom` does.
    """
    try:
        chosen, _ = _series(path, series)
    except ScanError:
        return None
    frames, _ = one_stack(path, [frame for file, header in chosen for frame in frames_of(file, header)])
    by_file = dict(chosen)
    files = list(dict.fromkeys(frame.path for frame in frames))
    return [by_file[file] for file in files], [frame.number for frame in frames]


def _series(path: Path, series: str | None) -> tuple[list[tuple[Path, Dataset]], list[str]]:
    """Files with their headers of the one series meant, and notes on what was left aside."""
    groups: dict[str, list[tuple[Path, Dataset]]] = defaultdict(list)
    for file, header in _headers(path):
        groups[str(header.get("SeriesInstanceUID", ""))].append((file, header))
    uid, notes = _choose(path, groups, series)
    return groups[uid], notes


def _headers(path: Path) -> list[tuple[Path, Dataset]]:
    files = _files(path)
    found: list[tuple[Path, Dataset]] = []
    damaged: list[str] = []
    for file in files:
        try:
            header = _header(file)
        except InvalidDicomError:
            continue
        except ScanError:
            raise
        except Exception as error:  # the parser raises of every kind on damaged input
            damaged.append(f"{file.name}: {str(error)[:60] or type(error).__name__}")
            continue
        if "Rows" in header and "Columns" in header and "SeriesInstanceUID" in header:
            found.append((file, header))
    if damaged:
        raise refusal(path, f"{len(damaged)} damaged DICOM file(s), first {damaged[0]}. {SPARE}")
    if not found:
        raise refusal(path, "no DICOM image in it; allowed: a CT series with Rows, Columns and pixel data")
    return found


def _files(path: Path) -> list[Path]:
    if path.is_file() and path.name.upper() != "DICOMDIR":
        return [path]
    listing = path if path.is_file() else path / "DICOMDIR"
    if listing.is_file():
        return _listed(listing)
    files = []
    for found in path.rglob("*"):
        if found.is_file() and not found.name.startswith("."):
            files.append(found)
        if len(files) > MAX_FILES:  # perhaps a whole disk: no need to see it all
            raise refusal(path, f"over {MAX_FILES} files in it: give the folder of one series")
    return sorted(files)


def _listed(listing: Path) -> list[Path]:
    """Files named by a DICOMDIR; one that is not there is a refusal, one that points outside is too."""
    try:
        records = _header(listing).DirectoryRecordSequence
        names = [
            r.ReferencedFileID for r in records if r.get("DirectoryRecordType") == "IMAGE" and "ReferencedFileID" in r
        ]
    except Exception as error:  # the parser raises of every kind on damaged input
        raise refusal(listing, f"not a DICOMDIR that can be read ({str(error)[:60]}): give the folder") from None
    root = listing.parent.resolve()
    files = []
    for name in names:
        parts = [name] if isinstance(name, str) else [str(part) for part in name]
        file = root.joinpath(*parts)
        if not file.resolve().is_relative_to(root):
            raise refusal(listing, f"ReferencedFileID {'/'.join(parts)!r} points outside its folder: refused")
        if not file.is_file():
            raise refusal(listing, f"ReferencedFileID {'/'.join(parts)!r} is not there: copy the whole disc")
        files.append(file)
    return files


def _header(file: Path) -> Dataset:
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("ignore")
        return dicom_header(file)


def _choose(path: Path, groups: dict[str, list[tuple[Path, Dataset]]], series: str | None) -> tuple[str, list[str]]:
    """UID of the series to read: the one asked for, or the only one with more than two slices."""

    def slices(uid: str) -> int:
        return sum(count_of(header) for _, header in groups[uid])

    def name(uid: str) -> str:
        return f"number {groups[uid][0][1].get('SeriesNumber', '?')} (...{uid[-12:]}, {slices(uid)} slices)"

    if series is not None:
        match = [u for u in groups if u.endswith(series) or str(groups[u][0][1].get("SeriesNumber", "")) == series]
        if len(match) != 1:
            listed = "; ".join(name(u) for u in groups)
            raise refusal(path, f"series {series!r} fits {len(match)} series, allowed 1 of: {listed}")
        return match[0], []
    volumes = [u for u in groups if slices(u) > 2] or list(groups)
    if len(volumes) > 1:
        listed = "; ".join(name(u) for u in volumes)
        raise refusal(path, f"{len(volumes)} series in one folder: choose one with series=: {listed}")
    left = len(groups) - 1
    return volumes[0], [f"{left} other series in the folder left aside"] if left else []
