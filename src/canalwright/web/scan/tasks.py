"""What the processes do: read a scan and lay its voxels down flat, find canals, correct them."""

import contextlib
import threading
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging import FoundCanal, Scan, ScanError, find_canals, read_scan
from canalwright.imaging.corrections import Correction, correct
from canalwright.imaging.viewing.outer import Outer, tooth_surfaces
from canalwright.imaging.viewing.planes import Tones, tones_of
from canalwright.web.scan.hands import Told

Array = NDArray[np.float64]
MOST_BYTES = 8 << 30
MOST_FILES = 20_000
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

    def scan(self) -> Scan:
        """The scan, its voxels mapped from the file."""
        stored = np.load(self.voxels, mmap_mode="r")
        return Scan(stored, self.affine, self.modality, self.warnings, {}, self.slope, self.intercept, self.name)


def read(
    told: Told, path: Path, folder: Path, name: str, voxel: float | None = None, series: str | None = None
) -> Kept:
    """Read the scan at `path` (a ZIP is unpacked into `folder` first) and keep its voxels in `folder`; identity is left out."""
    path = _unpacked(told, path, folder / "unpacked")
    with _counted(told, path):
        scan = read_scan(path, voxel=voxel, series=series)
    told("keeping the voxels", None)
    kept = folder / "voxels.npy"
    out = np.lib.format.open_memmap(kept, mode="w+", dtype=scan.voxels.dtype, shape=scan.voxels.shape)
    for k in range(len(out)):
        out[k] = scan.voxels[k]
    out.flush()
    warnings = tuple(w.replace(str(path), name) for w in scan.warnings)
    return Kept(kept, scan.affine, scan.modality, warnings, scan.slope, scan.intercept, name, tones_of(scan))


def find(told: Told, kept: Kept, click: Point) -> tuple[tuple[FoundCanal, ...], tuple[Outer, ...]]:
    """The canals of the tooth at a click (LPS mm) and its surface."""
    scan = kept.scan()
    told("looking for the tooth and tracing its canals", None)
    found = find_canals(scan, click)
    told("drawing the tooth's surface", 0.95)
    return found, tooth_surfaces(scan, np.array(click))


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
        raise ScanError(f"{path.name}: not a ZIP that can be unpacked ({str(error)[:80]}); pack it again") from None
    files = list(into.iterdir())
    return files[0] if len(files) == 1 else into


def _wanted(member: zipfile.ZipInfo) -> bool:
    """Files but for hidden ones, and for a list of files whose folders are not kept."""
    name = Path(member.filename).name
    return not member.is_dir() and not name.startswith(".") and name.upper() != "DICOMDIR"


@contextmanager
def _counted(told: Told, path: Path) -> Iterator[None]:
    """Tell while the block runs what share of the bytes on disk has been read, where the system counts it."""
    files = [path] if path.is_file() else [p for p in path.rglob("*") if p.is_file()][: MOST_FILES + 1]
    whole = max(sum(p.stat().st_size for p in files), 1) if path.exists() else 1
    before, ended = _bytes_read(), threading.Event()

    def watch() -> None:
        while True:
            now = _bytes_read()
            share = None if before is None or now is None else min((now - before) / whole, 1.0)
            told("reading the voxels", share)
            if ended.wait(0.2):
                return

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    try:
        yield
    finally:
        ended.set()
        watcher.join()


def _bytes_read() -> int | None:
    with contextlib.suppress(OSError, ValueError, IndexError):
        return int(Path("/proc/self/io").read_text(encoding="ascii").split("rchar:")[1].split()[0])
    return None
