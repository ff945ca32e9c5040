"""DICOM: a series of slices, a multi-frame file, a DICOMDIR.

Every slice (or frame) is placed by its own Image Position and Orientation (Patient) (DICOM PS3.3
C.7.6.2.1.1; for enhanced images the plane functional groups, C.7.6.16.2), never by file name or instance
number. Frames that do not make one regular stack are refused, not bridged.
"""

import warnings as python_warnings
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.errors import InvalidDicomError
from pydicom.pixels.utils import pixel_array

from canalwright.imaging.errors import ScanError
from canalwright.imaging.readers.itk import LIMIT_BYTES
from canalwright.imaging.refusal import refusal
from canalwright.imaging.volume import Scan, affine_from

Array = NDArray[np.float64]
MAX_FILES = 20_000
_TECHNICAL = ("KVP", "XRayTubeCurrent", "ExposureTime", "ConvolutionKernel", "BodyPartExamined", "Rows", "Columns")
_IDENTITY = ("PatientName", "PatientID", "PatientBirthDate", "PatientSex", "StudyDate")
_SPARE = "Ask for the series again, whole, from the scanner's archive"


@dataclass(frozen=True)
class Frame:
    """One slice: the file, the frame number in it, its place and its grey scale."""

    path: Path
    number: int
    position: Array
    rows: Array
    columns: Array
    spacing: tuple[float, float]
    slope: float
    intercept: float
    size: tuple[int, int]


def read_dicom(path: Path, *, series: str | None = None, identity: bool = False) -> Scan:
    """Read the one series in a file, folder or DICOMDIR. Raises ScanError.

    Elements are parsed when they are first asked for, so that damage may show anywhere: whatever the parser makes of it is
    a refusal, and what it merely warns of is for its own log.
    """
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("ignore")
        try:
            return _read(path, series, identity)
        except ScanError:
            raise
        except Exception as error:  # the parser raises of every kind on damaged input
            said = str(error).splitlines()[0][:80] if str(error) else type(error).__name__
            raise refusal(path, f"a value in its header cannot be read ({said}). {_SPARE}") from None


def _read(path: Path, series: str | None, identity: bool) -> Scan:
    headers = _headers(path)
    groups: dict[str, list[tuple[Path, Dataset]]] = defaultdict(list)
    for file, header in headers:
        groups[str(header.get("SeriesInstanceUID", ""))].append((file, header))
    uid, notes = _choose(path, groups, series)
    chosen = groups[uid]
    frames = [frame for file, header in chosen for frame in _frames(file, header)]
    frames, more = _one_stack(path, frames)
    step = _step(path, frames)
    first = frames[0]
    columns = np.column_stack([first.rows * first.spacing[1], first.columns * first.spacing[0], step])
    headers_by_file = dict(chosen)
    header = headers_by_file[first.path]
    voxels, slope, intercept = _greys(path, frames, headers_by_file)
    details = {key: str(header[key].value) for key in _TECHNICAL if key in header}
    if identity:
        details |= {key: str(header[key].value) for key in _IDENTITY if key in header}
    return Scan(
        voxels, affine_from(first.position, columns), str(header.get("Modality", "")), (*notes, *more), details,
        slope, intercept, str(path),
    )  # fmt: skip


def _headers(path: Path) -> list[tuple[Path, Dataset]]:
    files = _files(path)
    found: list[tuple[Path, Dataset]] = []
    damaged: list[str] = []
    for file in files:
        try:
            header = _quietly(file, pixels=False)
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
        raise refusal(path, f"{len(damaged)} damaged DICOM file(s), first {damaged[0]}. {_SPARE}")
    if not found:
        raise refusal(path, "no DICOM image in it; allowed: a CT series with Rows, Columns and pixel data")
    return found


def _files(path: Path) -> list[Path]:
    if path.is_file() and path.name.upper() != "DICOMDIR":
        return [path]
    listing = path if path.is_file() else path / "DICOMDIR"
    if listing.is_file():
        return _listed(listing)
    files = [p for p in sorted(path.rglob("*")) if p.is_file() and not p.name.startswith(".")]
    if len(files) > MAX_FILES:
        raise refusal(path, f"{len(files)} files, allowed {MAX_FILES}: give the folder of one series")
    return files


def _listed(listing: Path) -> list[Path]:
    """Files named by a DICOMDIR; one that is not there is a refusal, one that points outside is too."""
    try:
        records = _quietly(listing, pixels=False).DirectoryRecordSequence
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


def _quietly(file: Path, *, pixels: bool) -> Dataset:
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("ignore")
        return dcmread(file, stop_before_pixels=not pixels, force=False)


def _choose(path: Path, groups: dict[str, list[tuple[Path, Dataset]]], series: str | None) -> tuple[str, list[str]]:
    """UID of the series to read: the one asked for, or the only one with more than two slices."""

    def slices(uid: str) -> int:
        return sum(_count(header) for _, header in groups[uid])

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


def _count(header: Dataset) -> int:
    try:
        return max(1, int(header.get("NumberOfFrames", 1) or 1))
    except (TypeError, ValueError):
        return 1


def _frames(file: Path, header: Dataset) -> list[Frame]:
    try:
        count = _count(header)
        size = (int(header.Rows), int(header.Columns))
        bits = int(header.get("BitsAllocated", 16))
        if count * size[0] * size[1] * bits // 8 > LIMIT_BYTES or min(size) < 2:
            raise refusal(
                file,
                f"claims {count} frames of {size[0]} x {size[1]} at {bits} bits; "
                f"allowed {LIMIT_BYTES >> 30} GiB in all: damaged or not a scan",
            )
        if int(header.get("SamplesPerPixel", 1)) != 1:
            raise refusal(file, f"SamplesPerPixel {header.SamplesPerPixel}, allowed 1: not a CT slice")
        if header.get("PhotometricInterpretation", "MONOCHROME2") != "MONOCHROME2":
            raise refusal(file, f"PhotometricInterpretation {header.PhotometricInterpretation}, allowed MONOCHROME2")
        shared = _first(header.get("SharedFunctionalGroupsSequence"))
        own: Sequence[Any] = header.get("PerFrameFunctionalGroupsSequence") or [None] * count
        if len(own) != count:
            raise refusal(file, f"NumberOfFrames {count}, but {len(own)} frame groups. {_SPARE}")
        return [_frame(file, header, size, number, (own[number], shared)) for number in range(count)]
    except ScanError:
        raise
    except Exception as error:  # a damaged value raises of every kind
        raise refusal(file, f"a header value cannot be understood ({str(error)[:80]}). {_SPARE}") from None


def _frame(file: Path, header: Dataset, size: tuple[int, int], number: int, groups: tuple[Any, Any]) -> Frame:
    def value(sequence: str, key: str) -> Any:
        for group in groups:
            item = _first(group.get(sequence)) if group is not None else None
            if item is not None and item.get(key) is not None:
                return item[key].value
        return header.get(key)

    position = value("PlanePositionSequence", "ImagePositionPatient")
    turn = value("PlaneOrientationSequence", "ImageOrientationPatient")
    spacing = value("PixelMeasuresSequence", "PixelSpacing")
    if (position is None or turn is None) and _count(header) > 1 and number > 0:
        raise refusal(file, f"frame {number + 1} has no Image Position or Orientation: its place is unknown. {_SPARE}")
    for key, found in (
        ("PixelSpacing", spacing),
        ("ImagePositionPatient", position),
        ("ImageOrientationPatient", turn),
    ):
        if found is None:
            raise refusal(file, f"{key} is missing, so no place or length in mm is known. {_SPARE}")
    slope = value("PixelValueTransformationSequence", "RescaleSlope")
    intercept = value("PixelValueTransformationSequence", "RescaleIntercept")
    rows, columns = np.array(turn[:3], float), np.array(turn[3:6], float)
    numbers = np.concatenate([np.array(position, float), rows, columns, np.array(spacing, float)])
    if not np.isfinite(numbers).all() or numbers.size != 11 or min(spacing) <= 0:
        raise refusal(file, f"PixelSpacing {list(spacing)} or position or orientation is not usable. {_SPARE}")
    if abs(np.linalg.norm(rows) - 1) > 1e-3 or abs(np.linalg.norm(columns) - 1) > 1e-3 or abs(rows @ columns) > 1e-3:
        raise refusal(file, f"ImageOrientationPatient {list(turn)}, allowed two square unit vectors. {_SPARE}")
    return Frame(
        file, number, np.array(position, float), rows, columns, (float(spacing[0]), float(spacing[1])),
        1.0 if slope is None else float(slope), 0.0 if intercept is None else float(intercept), size,
    )  # fmt: skip


def _first(sequence: Any) -> Any:
    return sequence[0] if sequence else None


def _one_stack(path: Path, frames: list[Frame]) -> tuple[list[Frame], list[str]]:
    """Frames of the commonest geometry in order along their normal; single strangers (a scout view) left aside."""

    def key(frame: Frame) -> tuple[object, ...]:
        turn = tuple(np.round(np.concatenate([frame.rows, frame.columns]), 3) + 0.0)
        return frame.size, tuple(np.round(frame.spacing, 5)), turn

    kinds: dict[tuple[object, ...], list[Frame]] = defaultdict(list)
    for frame in frames:
        kinds[key(frame)].append(frame)
    ranked = sorted(kinds.values(), key=len, reverse=True)
    stack, strangers = ranked[0], len(frames) - len(ranked[0])
    if len(ranked) > 1 and (len(ranked[1]) > 2 or len(stack) < 3):
        counts = ", ".join(str(len(k)) for k in ranked)
        raise refusal(path, f"slices of {len(ranked)} sizes or directions in one series ({counts}): split it first")
    if len(stack) < 2:
        raise refusal(path, "1 slice, allowed 2 or more: one slice is not a volume; give the whole series")
    normal = np.cross(stack[0].rows, stack[0].columns)
    stack = sorted(stack, key=lambda f: float(f.position @ normal))
    return stack, [f"{strangers} slice(s) of another size or direction left aside"] if strangers else []


def _step(path: Path, frames: list[Frame]) -> Array:
    """Vector from one slice to the next, shape (3,), mm; raises ScanError for gaps and doubles."""
    positions = np.array([f.position for f in frames])
    normal = np.cross(frames[0].rows, frames[0].columns)
    gaps = np.diff(positions @ normal)
    usual = float(np.median(gaps))
    tolerance = max(0.02, 0.05 * usual)
    if gaps.min() < 1e-3:
        at = int(np.argmin(gaps))
        raise refusal(
            path,
            f"two slices at one place ({positions[at] @ normal:.3f} mm, {frames[at].path.name} and "
            f"{frames[at + 1].path.name}): two series or two times mixed; give one",
        )
    if np.abs(gaps - usual).max() > tolerance:
        at = int(np.argmax(np.abs(gaps - usual)))
        raise refusal(
            path,
            f"slices missing between {frames[at].path.name} and {frames[at + 1].path.name}: "
            f"{gaps[at]:.2f} mm apart, allowed {usual:.2f} mm as between the others. {_SPARE}",
        )
    return np.asarray((positions[-1] - positions[0]) / (len(frames) - 1))


def _greys(path: Path, frames: list[Frame], headers: dict[Path, Dataset]) -> tuple[NDArray[np.generic], float, float]:
    """Stored greys [z, y, x] with one slope and intercept; differing scales are brought to float32."""
    rows, columns = frames[0].size
    need = len(frames) * rows * columns * 2
    if need > LIMIT_BYTES:
        raise refusal(path, f"{need / 2**30:.1f} GiB of greys, allowed {LIMIT_BYTES >> 30}: crop it first")
    same = len({(f.slope, f.intercept) for f in frames}) == 1
    out: NDArray[np.generic] | None = None
    for file, items in _by_file(frames).items():
        dataset = _whole(file)
        for at, frame in items:
            grey = _decode(file, dataset, frame)
            if out is None:
                kind = grey.dtype if same else np.dtype(np.float32)
                out = np.empty((len(frames), rows, columns), kind)
            if same and grey.dtype != out.dtype:
                raise refusal(path, f"slices stored as {out.dtype} and {grey.dtype}: two series mixed? {_SPARE}")
            out[at] = grey if same else grey.astype(np.float32) * frame.slope + frame.intercept
    assert out is not None
    return (out, frames[0].slope, frames[0].intercept) if same else (out, 1.0, 0.0)


def _by_file(frames: Iterable[Frame]) -> dict[Path, list[tuple[int, Frame]]]:
    by_file: dict[Path, list[tuple[int, Frame]]] = defaultdict(list)
    for at, frame in enumerate(frames):
        by_file[frame.path].append((at, frame))
    return by_file


def _whole(file: Path) -> Dataset:
    try:
        return _quietly(file, pixels=True)
    except Exception as error:  # the parser raises of every kind on damaged input
        raise refusal(file, f"cannot be read to its end ({str(error)[:80]}). {_SPARE}") from None


def _decode(file: Path, dataset: Dataset, frame: Frame) -> NDArray[np.generic]:
    index = frame.number if _count(dataset) > 1 else None
    try:
        with python_warnings.catch_warnings():
            python_warnings.simplefilter("ignore")
            grey = pixel_array(dataset, index=index, raw=True)
    except Exception as error:  # the decoders raise of every kind on damaged input
        raise refusal(
            file,
            f"the pixels cannot be decoded ({str(error).splitlines()[0][:90] if str(error) else 'damaged'}). {_SPARE}",
        ) from None
    if grey.shape != frame.size:
        raise refusal(file, f"{grey.shape} pixels decoded, Rows x Columns say {frame.size}. {_SPARE}")
    return np.asarray(grey)
