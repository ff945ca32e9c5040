"""A scan from disk: one door for every format.

DICOM (a file, a folder, a DICOMDIR), NIfTI, NRRD, MetaImage, and stacks of TIFF or PNG pictures. What a
file is, is told by its first bytes, not by its name. Every refusal is an `ScanError` of one line.
"""

from dataclasses import replace
from pathlib import Path

from canalwright.imaging.grid import doubts
from canalwright.imaging.readers.dicom import open_dicom
from canalwright.imaging.readers.itk import open_volume_file
from canalwright.imaging.readers.opened import Opened
from canalwright.imaging.readers.stack import PICTURES, open_stack
from canalwright.imaging.refusal import refusal
from canalwright.imaging.volume import Scan

FORMATS = "DICOM, NIfTI, NRRD, MHA/MHD, TIFF or PNG stack"


def read_scan(
    path: str | Path,
    *,
    voxel: float | tuple[float, float, float] | None = None,
    series: str | None = None,
    identity: bool = False,
) -> Scan:
    """Read one scan whole into memory; arguments and refusals as in `open_scan`."""
    opened = open_scan(path, voxel=voxel, series=series, identity=identity)
    try:
        return opened.whole()
    except OSError as error:
        raise _unreadable(Path(path), error) from None


def open_scan(
    path: str | Path,
    *,
    voxel: float | tuple[float, float, float] | None = None,
    series: str | None = None,
    identity: bool = False,
) -> Opened:
    """Open one scan without reading its greys: `around` and `crop` read a part, `whole` all of it.

    `path`: a file, or a folder holding one DICOM series or a stack of pictures. `voxel`: voxel size along
    x, y, z in mm, for pictures, which carry none (one number for cubes); refused for formats that state
    their own. `series`: which one, by number or end of its UID, when a folder holds several. `identity`: keep
    the patient's name, number and birth date in `details` (left out otherwise).

    Raises ScanError for anything that is not a whole, regular volume of known voxel size.
    """
    path = Path(path)
    if not path.exists():
        raise refusal(path, "no such file or folder: check the path")
    try:
        kind = _kind(path)
        if kind == "picture":
            return _doubted(open_stack(path, voxel))
        if voxel is not None:
            raise refusal(path, f"a voxel size was given ({voxel} mm), but this format states its own: leave it out")
        if kind == "dicom":
            return _doubted(open_dicom(path, series=series, identity=identity))
        return _doubted(open_volume_file(path, kind))
    except OSError as error:
        raise _unreadable(path, error) from None


def _doubted(opened: Opened) -> Opened:
    return replace(opened, warnings=(*opened.warnings, *doubts(opened)))


def _unreadable(path: Path, error: OSError) -> Exception:
    return refusal(path, f"cannot be read ({error.strerror or error}): check the disk and rights")


def _kind(path: Path) -> str:
    """'dicom', 'picture', 'nifti', 'nrrd' or 'meta'; raises ScanError for anything else."""
    if path.is_dir():
        files = [p for p in sorted(path.iterdir()) if p.is_file() and not p.name.startswith(".")]
        if not files and not any(path.rglob("*")):
            raise refusal(path, "the folder is empty: give a folder with a series in it")
        pictures = [p for p in files if p.suffix.lower() in PICTURES]
        return "picture" if pictures and len(pictures) >= len(files) / 2 else "dicom"
    if not path.is_file():
        raise refusal(path, "a device or a pipe", allowed="a file or a folder")
    with path.open("rb") as stream:
        head = stream.read(352)
    if not head:
        raise refusal(path, "the file is empty: export it again")
    if head[128:132] == b"DICM":
        return "dicom"
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+") or head[:8] == b"\x89PNG\r\n\x1a\n":
        return "picture"
    if head[:7] == b"NRRD000":
        return "nrrd"
    if head[344:347] in (b"n+1", b"ni1") or (head[:2] == b"\x1f\x8b" and path.name.lower().endswith(".gz")):
        return "nifti"
    if b"ObjectType" in head or b"NDims" in head or b"DimSize" in head:
        return "meta"
    if head[:2] == b"\x08\x00" or path.suffix.lower() in (".dcm", ".dicom"):
        return "dicom"
    raise refusal(path, f"not a scan that can be read here; allowed: {FORMATS}")
