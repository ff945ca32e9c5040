"""Where every slice or frame of a DICOM image lies, and whether they make one stack.

Each is placed by its own Image Position and Orientation (Patient) (DICOM PS3.3 C.7.6.2.1.1; for enhanced images the plane
functional groups, C.7.6.16.2), never by file name or instance number. Frames that do not make one regular stack are
refused, not bridged.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset

from canalwright.imaging.errors import ScanError
from canalwright.imaging.readers.opened import LIMIT_BYTES
from canalwright.imaging.refusal import refusal

Array = NDArray[np.float64]
SPARE = "Ask for the series again, whole, from the scanner's archive"


@dataclass(frozen=True)
class Frame:
    """One slice: the file, the frame number in it (of `frames`), its place and its grey scale."""

    path: Path
    number: int
    position: Array
    rows: Array
    columns: Array
    spacing: tuple[float, float]
    slope: float
    intercept: float
    size: tuple[int, int]
    frames: int = 1


def count_of(header: Dataset) -> int:
    """Number of frames in a file, 1 where it does not say."""
    try:
        return max(1, int(header.get("NumberOfFrames", 1) or 1))
    except (TypeError, ValueError):
        return 1


def frames_of(file: Path, header: Dataset) -> list[Frame]:
    """The frames of one file, each with its place. Raises ScanError where a place, length or grey is not known."""
    try:
        count = count_of(header)
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
            raise refusal(file, f"NumberOfFrames {count}, but {len(own)} frame groups. {SPARE}")
        return [_frame(file, header, size, number, (own[number], shared)) for number in range(count)]
    except ScanError:
        raise
    except Exception as error:  # a damaged value raises of every kind
        raise refusal(file, f"a header value cannot be understood ({str(error)[:80]}). {SPARE}") from None


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
    if (position is None or turn is None) and count_of(header) > 1 and number > 0:
        raise refusal(file, f"frame {number + 1} has no Image Position or Orientation: its place is unknown. {SPARE}")
    for key, found in (
        ("PixelSpacing", spacing),
        ("ImagePositionPatient", position),
        ("ImageOrientationPatient", turn),
    ):
        if found is None:
            raise refusal(file, f"{key} is missing, so no place or length in mm is known. {SPARE}")
    slope = value("PixelValueTransformationSequence", "RescaleSlope")
    intercept = value("PixelValueTransformationSequence", "RescaleIntercept")
    rows, columns = np.array(turn[:3], float), np.array(turn[3:6], float)
    numbers = np.concatenate([np.array(position, float), rows, columns, np.array(spacing, float)])
    if not np.isfinite(numbers).all() or numbers.size != 11 or min(spacing) <= 0:
        raise refusal(file, f"PixelSpacing {list(spacing)} or position or orientation is not usable. {SPARE}")
    if abs(np.linalg.norm(rows) - 1) > 1e-3 or abs(np.linalg.norm(columns) - 1) > 1e-3 or abs(rows @ columns) > 1e-3:
        raise refusal(file, f"ImageOrientationPatient {list(turn)}, allowed two square unit vectors. {SPARE}")
    return Frame(
        file, number, np.array(position, float), rows, columns, (float(spacing[0]), float(spacing[1])),
        1.0 if slope is None else float(slope), 0.0 if intercept is None else float(intercept), size,
        count_of(header),
    )  # fmt: skip


def _first(sequence: Any) -> Any:
    return sequence[0] if sequence else None


def one_stack(path: Path, frames: list[Frame]) -> tuple[list[Frame], list[str]]:
    """Frames of the commonest geometry in order along their normal; single strangers (a scout view) left aside.

    Raises ScanError for several geometries and for a single slice.
    """

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


def step_between(path: Path, frames: list[Frame]) -> Array:
    """Vector from one slice to the next, shape (3,), mm. Raises ScanError for gaps and doubles."""
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
            f"{gaps[at]:.2f} mm apart, allowed {usual:.2f} mm as between the others. {SPARE}",
        )
    return np.asarray((positions[-1] - positions[0]) / (len(frames) - 1))
