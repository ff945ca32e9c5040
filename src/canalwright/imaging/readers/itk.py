"""NIfTI, NRRD and MetaImage: place and size as SimpleITK tells them, greys from where the header says they lie.

SimpleITK turns every one of them to LPS. It trusts the sizes in a header, pads a cut NIfTI file in silence and reads all
of a volume for a part of it; so size, length and place of the voxel data are checked here, and the greys read slice by slice.
"""

import gzip
import re
import struct
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import SimpleITK

from canalwright.imaging.errors import ScanError
from canalwright.imaging.grid import affine_from
from canalwright.imaging.readers.opened import LIMIT_BYTES, Opened
from canalwright.imaging.readers.raw import Raw
from canalwright.imaging.refusal import refusal

sitk: Any = SimpleITK
DEFLATE_LIMIT = 1040  # deflate cannot shrink data more than about 1032 times (zlib, technical details)
_NIFTI = {2: "u1", 4: "i2", 8: "i4", 16: "f4", 64: "f8", 256: "i1", 512: "u2", 768: "u4"}
_NRRD = {
    **dict.fromkeys(("signed char", "int8", "int8_t"), "i1"),
    **dict.fromkeys(("uchar", "unsigned char", "uint8", "uint8_t"), "u1"),
    **dict.fromkeys(("short", "short int", "signed short", "signed short int", "int16", "int16_t"), "i2"),
    **dict.fromkeys(("ushort", "unsigned short", "unsigned short int", "uint16", "uint16_t"), "u2"),
    **dict.fromkeys(("int", "signed int", "int32", "int32_t"), "i4"),
    **dict.fromkeys(("uint", "unsigned int", "uint32", "uint32_t"), "u4"),
    "float": "f4",
    "double": "f8",
}
_META = {
    "MET_CHAR": "i1", "MET_UCHAR": "u1", "MET_SHORT": "i2", "MET_USHORT": "u2", "MET_INT": "i4", "MET_UINT": "u4",
    "MET_FLOAT": "f4", "MET_DOUBLE": "f8",
}  # fmt: skip


@dataclass(frozen=True)
class Claim:
    """What a header claims: sizes along its axes, kind of the greys and their scale; `stored` bytes lie behind it.

    The greys begin at byte `offset` of `data`; `packed`: deflated from there, less `skip` bytes that come out first.
    """

    sizes: tuple[int, ...]
    kind: np.dtype[Any]
    stored: int
    packed: bool
    data: Path
    offset: int
    slope: float = 1.0
    intercept: float = 0.0
    skip: int = 0


def open_volume_file(path: Path, kind: str) -> Opened:
    """Open one volume of `kind` 'nifti', 'nrrd' or 'meta'. Raises ScanError."""
    try:
        claim = {"nifti": _nifti, "nrrd": _nrrd, "meta": _meta}[kind](path)
    except (ValueError, struct.error, EOFError, zlib.error, gzip.BadGzipFile, OverflowError) as error:
        if isinstance(error, ScanError):
            raise
        raise refusal(path, f"its {kind} header cannot be understood ({_short(error)}): export it again") from None
    sizes = _check(path, claim)
    image = sitk.ImageFileReader()
    image.SetImageIO({"nifti": "NiftiImageIO", "nrrd": "NrrdImageIO", "meta": "MetaImageIO"}[kind])
    image.SetFileName(str(path))
    try:
        image.ReadImageInformation()
    except RuntimeError as error:
        raise refusal(path, f"its header cannot be read ({_short(error)}): export it again") from None
    if image.GetNumberOfComponents() != 1:
        raise refusal(path, "colour or vector voxels; allowed: one grey per voxel: export it as grey")
    if image.GetSize()[:3] != sizes:
        raise refusal(path, f"header says {sizes} voxels, {image.GetSize()} are read from it: export it again")
    across = image.GetDimension()
    columns = (np.array(image.GetDirection()).reshape(across, across) * np.array(image.GetSpacing()))[:3, :3]
    warnings: tuple[str, ...] = ()
    if np.allclose(image.GetSpacing()[:3], 1.0):
        warnings = ("voxel size 1 mm along every side: the header may not state one; check it",)
    return Opened(
        Raw(claim.data, claim.offset, sizes[::-1], claim.kind, claim.packed, claim.skip),
        affine_from(np.array(image.GetOrigin())[:3], columns),
        warnings=warnings,
        slope=claim.slope,
        intercept=claim.intercept,
        path=str(path),
    )


def _check(path: Path, claim: Claim) -> tuple[int, int, int]:
    sizes = claim.sizes
    while len(sizes) > 3 and sizes[-1] == 1:
        sizes = sizes[:-1]
    if len(sizes) != 3:
        raise refusal(path, f"{len(sizes)} dimensions {sizes}, allowed 3: give one volume, not a series in time")
    if min(sizes) < 2 or max(sizes) > 8192:
        raise refusal(path, f"sizes {sizes}, allowed 2 to 8192 voxels along each side: not a volume")
    need = sizes[0] * sizes[1] * sizes[2] * claim.kind.itemsize
    if need > LIMIT_BYTES:
        raise refusal(path, f"the header claims {need / 2**30:.1f} GiB, allowed {LIMIT_BYTES >> 30}: crop it first")
    if need > claim.stored * (DEFLATE_LIMIT if claim.packed else 1):
        raise refusal(
            path,
            f"the header claims {need} bytes of voxels, the file holds {claim.stored}"
            f"{' packed' if claim.packed else ''}: it is cut short or its header is wrong; copy or export it again",
        )
    return sizes[0], sizes[1], sizes[2]


def _nifti(path: Path) -> Claim:
    with path.open("rb") as stream:
        packed = stream.read(2) == b"\x1f\x8b"
    with (gzip.open if packed else open)(path, "rb") as stream:
        head = stream.read(348)
    if len(head) < 348 or head[344:348] not in (b"n+1\0", b"ni1\0"):
        raise refusal(path, "not a NIfTI-1 file; allowed: DICOM, NIfTI-1, NRRD, MHA/MHD, TIFF or PNG stack")
    if head[344:348] == b"ni1\0":
        raise refusal(path, "header and image in two files; allowed: one .nii or .nii.gz: convert it")
    order = "<" if struct.unpack("<i", head[:4])[0] == 348 else ">"
    if struct.unpack(order + "i", head[:4])[0] != 348:
        raise refusal(path, "NIfTI header size is not 348: the file is damaged; export it again")
    dims = struct.unpack(order + "8h", head[40:56])
    code = struct.unpack(order + "h", head[70:72])[0]
    offset = struct.unpack(order + "f", head[108:112])[0]
    qform, sform = struct.unpack(order + "2h", head[252:256])
    if code not in _NIFTI:
        raise refusal(path, f"datatype {code}; allowed: whole or floating point greys: export it as int16")
    if not 1 <= dims[0] <= 7 or not 348 <= offset < 1 << 24:
        raise refusal(path, f"dim[0] {dims[0]} (allowed 1-7), vox_offset {offset} (allowed 348 on): damaged header")
    if qform <= 0 and sform <= 0:
        raise refusal(
            path, f"qform_code {qform} and sform_code {sform} state no place in the patient: export it with one"
        )
    sizes = tuple(int(d) for d in dims[1 : dims[0] + 1])
    kind = np.dtype(order + _NIFTI[code])
    need = int(np.prod([max(s, 0) for s in sizes], dtype=object)) * kind.itemsize
    stored = path.stat().st_size
    if packed:
        with path.open("rb") as stream:
            stream.seek(-4, 2)
            whole = struct.unpack("<I", stream.read(4))[0]
        spare = (whole - need - int(offset)) % 2**32
        if spare > 1 << 20 and need <= LIMIT_BYTES:
            raise refusal(path, "the packed file is cut short or damaged: copy or export it again")
    slope, intercept = struct.unpack(order + "2f", head[112:120])
    if not np.isfinite([slope, intercept]).all():
        raise refusal(path, f"scl_slope {slope}, scl_inter {intercept}, allowed two numbers: damaged header")
    if slope == 0.0:  # the standard's sign for greys that are not scaled
        slope, intercept = 1.0, 0.0
    if packed:
        return Claim(sizes, kind, stored, True, path, 0, slope, intercept, int(offset))
    return Claim(sizes, kind, stored - int(offset), False, path, int(offset), slope, intercept)


def _nrrd(path: Path) -> Claim:
    with path.open("rb") as stream:
        head = stream.read(1 << 16)
    ends = [(head.find(mark), len(mark)) for mark in (b"\n\n", b"\r\n\r\n") if mark in head]
    end, gap = min(ends, default=(-1, 0))
    text = (head if end < 0 else head[:end]).decode("latin-1")
    keys = {k.strip().lower(): v.strip() for k, _, v in (line.partition(":") for line in text.splitlines()[1:]) if v}
    if end < 0 or "data file" in keys or "datafile" in keys:
        raise refusal(path, "voxels not in the same file; allowed: header and voxels in one .nrrd: save it so")
    encoding = keys.get("encoding", "").lower()
    kind = keys.get("type", "").lower()
    if kind not in _NRRD or encoding not in ("raw", "gzip", "gz"):
        raise refusal(
            path, f"type {kind[:30]!r}, encoding {encoding[:30]!r}; allowed: grey numbers, raw or gzip: export it so"
        )
    if "space directions" not in keys and "spacings" not in keys:
        raise refusal(path, "neither 'space directions' nor 'spacings': no voxel size in mm; export it with one")
    for key in ("line skip", "lineskip", "byte skip", "byteskip"):
        if keys.get(key, "0") != "0":
            raise refusal(path, f"{key} {keys[key][:20]!r}, allowed 0: export it again")
    sizes = tuple(int(v) for v in keys.get("sizes", "").split())
    stored = np.dtype((">" if keys.get("endian", "little").lower() == "big" else "<") + _NRRD[kind])
    return Claim(sizes, stored, path.stat().st_size - end - gap, encoding != "raw", path, end + gap)


def _meta(path: Path) -> Claim:
    with path.open("rb") as stream:
        head = stream.read(1 << 16)
    match = re.search(rb"ElementDataFile\s*=\s*([^\r\n]+)\r?\n?", head)
    if match is None:
        raise refusal(path, "no ElementDataFile in its header: the file is damaged; export it again")
    keys = {
        k.strip(): v.strip()
        for k, _, v in (line.partition("=") for line in head[: match.start()].decode("latin-1").splitlines())
    }
    kind = keys.get("ElementType", "")
    if kind not in _META:
        raise refusal(path, f"ElementType {kind[:30]!r}; allowed: grey numbers: export it as MET_SHORT")
    if keys.get("ElementNumberOfChannels", "1") != "1" or keys.get("BinaryData", "True").lower() != "true":
        raise refusal(path, "colour or text voxels; allowed: one binary grey per voxel: export it so")
    if "ElementSpacing" not in keys and "ElementSize" not in keys:
        raise refusal(path, "no ElementSpacing: no voxel size in mm; export it with one")
    name = match.group(1).decode("latin-1").strip()
    if name == "LOCAL":
        data, offset = path, match.end()
    else:
        data = path.parent / name
        if Path(name).name != name or not data.is_file():
            raise refusal(path, f"ElementDataFile {name[:60]!r} is not a file beside it: keep both together")
        offset = 0
    if keys.get("HeaderSize", "0") not in ("0", "-1"):
        raise refusal(path, f"HeaderSize {keys['HeaderSize'][:20]!r}, allowed 0 or -1: export it again")
    sizes = tuple(int(v) for v in keys.get("DimSize", "").split())
    if len(sizes) != int(keys.get("NDims", len(sizes))):
        raise refusal(path, f"NDims {keys['NDims'][:20]} but DimSize {sizes}: damaged header; export it again")
    most_first = any(keys.get(k, "").lower() == "true" for k in ("BinaryDataByteOrderMSB", "ElementByteOrderMSB"))
    stored = np.dtype((">" if most_first else "<") + _META[kind])
    packed = keys.get("CompressedData", "False").lower() == "true"
    size = data.stat().st_size
    if keys.get("HeaderSize") == "-1" and not packed:  # the greys end with the file
        offset = max(offset, size - int(np.prod(sizes, dtype=object)) * stored.itemsize)
    return Claim(sizes, stored, size - offset, packed, data, offset)


def _short(error: Exception) -> str:
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    return (lines[-1] if lines else type(error).__name__)[:120]
