"""What the processes do: read a scan and lay its voxels down flat, find canals, correct them."""

import os
import shutil
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging import FoundCanal, Scan, ScanError, VoxelSize, measure_tooth
from canalwright.imaging.corrections import Correction, correct
from canalwright.imaging.errors import ImagingError
from canalwright.imaging.phantom.scan import Scanner, make, random_shape, render
from canalwright.imaging.readers.scan import open_scan
from canalwright.imaging.readers.series import series_of
from canalwright.imaging.viewing.outer import Outer, tooth_surfaces
from canalwright.imaging.viewing.planes import Tones, tones_of
from canalwright.web.disk import FULL, refused
from canalwright.web.worker import Told

Array = NDArray[np.float64]
MOST_BYTES = 8 << 30
MOST_FILES = 20_000
FOUND = 0.95
"""Share of the time when the canals are found and the tooth's surface is still to be drawn."""
PRACTICE = 1
"""Seed of the practice scan."""
Point = tuple[float, float, float]
Memory = dict[Any, Any]


@dataclass(frozen=True)
class Kept:
    """A scan whose voxels lie in a file of ours: every process maps it, none holds it. `name`: what to call it in errors."""

    voxels: Path
    affine: Array
    modality: str
    warnings: tuple[str, ...]
    slope: float
    intercept: float
    name: str
    tones: Tones
    series: Path | None = None
    """Where what a segmentation needs of its DICOM series lies, without identity; None where it was none."""

    def scan(self) -> Scan:
        """The scan, its voxels mapped from the file."""
        stored = np.load(self.voxels, mmap_mode="r")
        return Scan(stored, self.affine, self.modality, self.warnings, {}, self.slope, self.intercept, self.name)


def read(
    told: Told, path: Path, folder: Path, name: str, voxel: VoxelSize | None = None, series: str | None = None
) -> Kept:
    """Read the scan at `path` (a ZIP is unpacked into `folder` first), a slice at a time, and keep its voxels in `folder`.

    The patient's identity is left out. Raises ScanError for what is no whole scan.
    """
    told("reading the headers", None)
    path = _unpacked(told, path, folder / "unpacked")
    scan = open_scan(path, voxel=voxel, series=series)
    kept = folder / "voxels.npy"
    try:
        out = _laid_out(kept, scan.shape, scan.source.dtype)
        for k, one in enumerate(scan.source.slices(range(scan.shape[0]))):
            if one.dtype.kind == "f" and not np.isfinite(one).all():
                raise ScanError(f"{name}: greys that are not numbers (NaN or infinite): export it again")
            out[k] = one
            told("reading the voxels", (k + 1) / scan.shape[0])
    except OSError as error:
        if error.errno in FULL:
            raise ScanError(f"{name}: {refused(error, folder.parent)}") from None
        raise ScanError(f"{name}: cannot be read ({error.strerror or error}): check the disk and rights") from None
    out.flush()
    warnings = tuple(w.replace(str(path), name) for w in scan.warnings)
    held = Scan(out, scan.affine, scan.modality, warnings, {}, scan.slope, scan.intercept, name)
    return replace(_kept(held, kept), series=_series(path, series, folder))


def _series(path: Path, series: str | None, folder: Path) -> Path | None:
    """What is kept of the series at a path; None where it is none, or says too little of itself to be referred to."""
    try:
        found = series_of(path, series)
        if found is None:
            return None
        kept = folder / "series.json"
        kept.write_text(found.dumps())
        return kept
    except (ImagingError, OSError, AttributeError, ValueError):
        return None


def _laid_out(path: Path, shape: tuple[int, ...], dtype: np.dtype[Any]) -> "np.memmap[Any, np.dtype[Any]]":
    """A file of voxels to be filled, with all its room taken at once where the system can: a disk that fills up while a mapped file is
    written ends the process."""
    out = np.lib.format.open_memmap(path, mode="w+", dtype=dtype, shape=shape)
    if hasattr(os, "posix_fallocate"):
        with path.open("r+b") as file:
            os.posix_fallocate(file.fileno(), 0, path.stat().st_size)
    return out


def practice(told: Told, folder: Path, name: str) -> Kept:
    """An invented root in an invented scan, kept like any other."""
    told("making the practice scan", None)
    scan = render(
        make(*random_shape(PRACTICE)), Scanner(voxel=0.15, blur=0.12, noise=60.0, oversample=3), PRACTICE, margin=2.5
    )
    scan = replace(scan, voxels=np.rint(scan.voxels).astype(np.int16), path=name)
    kept = folder / "voxels.npy"
    np.save(kept, scan.voxels)
    return _kept(scan, kept)


def _kept(scan: Scan, voxels: Path) -> Kept:
    return Kept(
        voxels, scan.affine, scan.modality, scan.warnings, scan.slope, scan.intercept, scan.path, tones_of(scan)
    )


def find(told: Told, kept: Kept, click: Point) -> tuple[tuple[FoundCanal, ...], tuple[Outer, ...]]:
    """The canals of the tooth at a click (LPS mm) and its surface."""
    scan = kept.scan()
    doing = "looking for the tooth and tracing its canals"
    told(doing, 0.0)
    found = measure_tooth(scan, click, step=lambda share: told(doing, FOUND * share))
    told("drawing the tooth's surface", FOUND)
    return found.canals, tooth_surfaces(found.tooth)


def corrected(
    told: Told, kept: Kept, found: tuple[FoundCanal, ...], log: tuple[Correction, ...], memory: Memory
) -> tuple[tuple[FoundCanal, ...], Memory]:
    """The canals with a log of corrections applied, each touched one measured again; and what was measured, for the next time."""
    told("measuring the corrected canal", None)
    canals = correct(kept.scan(), found, log, memory=memory)
    return tuple(canals), memory


def _unpacked(told: Told, path: Path, into: Path) -> Path:
    """The folder that a ZIP holds; any other path as it is. Names in it are not trusted, nor are its claimed sizes."""
    if not path.is_file() or not zipfile.is_zipfile(path):
        return path
    try:
        with zipfile.ZipFile(path) as archive:
            inside = [m for m in archive.infolist() if _wanted(m)]
            if len(inside) > MOST_FILES or sum(m.file_size for m in inside) > MOST_BYTES:
                raise ScanError(
                    f"{path.name}: {len(inside)} files or more than {MOST_BYTES >> 30} GiB unpacked; allowed: "
                    f"{MOST_FILES} files; pack the series alone"
                )
            shutil.rmtree(into, ignore_errors=True)  # of a process that was ended over it
            into.mkdir()
            left = MOST_BYTES
            for n, member in enumerate(inside):
                told("unpacking", n / len(inside))
                name = Path(member.filename).name[-80:]
                target = into / (f"{n:05d}-{name}" if (into / name).exists() else name)
                with archive.open(member) as source, target.open("wb") as out:
                    while part := source.read(1 << 20):
                        left -= len(part)
                        if left < 0:
                            raise ScanError(f"{path.name}: more than {MOST_BYTES >> 30} GiB unpacked; pack less")
                        out.write(part)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, OSError) as error:
        if isinstance(error, OSError) and error.errno in FULL:
            raise ScanError(f"{path.name}: {refused(error, into.parent)}") from None
        raise ScanError(f"{path.name}: not a ZIP that can be unpacked ({str(error)[:80]}); pack it again") from None
    files = list(into.iterdir())
    return files[0] if len(files) == 1 else into


def _wanted(member: zipfile.ZipInfo) -> bool:
    """Files but for hidden ones, and for a list of files whose folders are not kept."""
    name = Path(member.filename).name
    return not member.is_dir() and not name.startswith(".") and name.upper() != "DICOMDIR"
