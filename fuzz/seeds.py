"""Small good files, all invented, from which the fuzzer starts."""

import io
import json
import tempfile
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

import numpy as np
import SimpleITK as sitk
import tifffile
import trimesh
from PIL import Image
from pydicom.uid import DeflatedExplicitVRLittleEndian, JPEG2000Lossless, RLELossless
from tests.imaging.dicom_files import write_multi_frame, write_series

from canalwright import casefile
from canalwright.casefile import archive
from canalwright.casefile.zipped import write_zip
from canalwright.records import archive as records_archive
from canalwright.records.canonical import canonical
from canalwright.records.moments import stamp

NOON = datetime(2026, 1, 1, 12, tzinfo=UTC)
GAP = b"--next file--"
"""Between the files of a folder."""
WIDE = (np.arange(3 * 32 * 32) % 97).reshape(3, 32, 32).astype(np.int16)
VOLUME = (np.arange(4 * 5 * 6) % 97).reshape(4, 5, 6).astype(np.int16)


def frames() -> list[bytes]:
    """A volume as one DICOM file: plain, run-length coded, deflated, lossless JPEG 2000."""
    with tempfile.TemporaryDirectory() as folder:
        path, made = Path(folder) / "a.dcm", []
        for syntax in (None, RLELossless, DeflatedExplicitVRLittleEndian, JPEG2000Lossless):
            data = write_multi_frame(path, WIDE)
            if syntax == DeflatedExplicitVRLittleEndian:
                data.file_meta.TransferSyntaxUID = syntax
            elif syntax is not None:
                data.compress(syntax, generate_instance_uid=False)
            data.save_as(path, enforce_file_format=True)
            made.append(path.read_bytes())
        return made


def series() -> list[bytes]:
    """A series of three slices, one file each, laid end to end as `targets` takes them apart."""
    with tempfile.TemporaryDirectory() as folder:
        write_series(Path(folder), VOLUME[:3])
        return [GAP.join(p.read_bytes() for p in sorted(Path(folder).iterdir()))]


def volume(ending: str) -> list[bytes]:
    """The volume in one of the formats of the ITK family."""
    image = sitk.GetImageFromArray(VOLUME)
    image.SetSpacing((0.2, 0.2, 0.2))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"scan{ending}"
        sitk.WriteImage(image, str(path))
        return [path.read_bytes()]


def tiff() -> list[bytes]:
    """A stack of pages, plain and packed."""
    made = []
    for packing in (None, "zlib"):
        file = io.BytesIO()
        tifffile.imwrite(file, VOLUME.astype(np.uint16), compression=packing, photometric="minisblack")
        made.append(file.getvalue())
    return made


def film() -> list[bytes]:
    """A small radiograph as PNG, JPEG, TIFF and DICOM."""
    made = []
    greys = (np.arange(64 * 64) % 251).reshape(64, 64)
    picture = Image.fromarray(greys.astype(np.uint8))
    for kind in ("PNG", "JPEG", "TIFF"):
        file = io.BytesIO()
        picture.save(file, kind)
        made.append(file.getvalue())
    with tempfile.TemporaryDirectory() as folder:
        (data,) = write_series(Path(folder), greys[None].astype(np.int16), spacing=(0.1, 0.1))
        file = io.BytesIO()
        data.save_as(file, enforce_file_format=True)
        made.append(file.getvalue())
    return made


def surface(ending: str) -> list[bytes]:
    """A box of the size of a tooth as a mesh; STL and PLY binary and as text."""
    box = trimesh.creation.box((6.0, 7.0, 20.0))
    kinds = {".stl": ({"file_type": "stl"}, {"file_type": "stl_ascii"}), ".obj": ({"file_type": "obj"},)}
    kinds[".ply"] = ({"file_type": "ply"}, {"file_type": "ply", "encoding": "ascii"})
    made = [box.export(**how) for how in kinds[ending]]
    return [one if isinstance(one, bytes) else one.encode() for one in made]


def case() -> list[bytes]:
    """The invented demo case."""
    return [casefile.dumps(casefile.demo_case()).encode()]


def tray() -> list[bytes]:
    """The generic tray, which holds every kind of thing."""
    return [files("canalwright.casefile").joinpath("generic_tray.toml").read_bytes()]


def corrections() -> list[bytes]:
    """One correction of a scan."""
    return [
        b'[[correction]]\nkind = "move point"\ncanal = "distal"\npoints_mm = [[0, 0, 0], [1, 0, 0]]\nauthor = "A"\n'
        b'reason = "seen"\ntime = "2026-01-01T12:00:00+00:00"\n'
    ]


def work() -> list[bytes]:
    """A case as an archive."""
    return [archive.pack(archive.Work(casefile.demo_case(), {"0123456789abcdef": "{}\n"}), {"a.txt": b"a"})]


def records() -> list[bytes]:
    """A case of the records, opened and nothing else, as an archive for other records."""
    origin = {"seq": 1, "time": stamp(NOON), "author": "ann", "store": "R", "case": "C", "hash": "0" * 64}
    line = canonical({"kind": "case", "payload": {"tooth": 46}, **origin}) + b"\n"
    file = io.BytesIO()
    told = {"format": records_archive.FORMAT, "version": records_archive.VERSION, "store": "R", "case": "C"}
    write_zip(file, told, {"events.jsonl": line})
    return [file.getvalue()]


def fhir() -> list[bytes]:
    """A bundle with one number."""
    code = {"coding": [{"system": "http://unitsofmeasure.org", "code": "x"}], "text": "length"}
    value = {"value": 20.5, "unit": "mm", "system": "http://unitsofmeasure.org", "code": "mm"}
    observation = {"resourceType": "Observation", "status": "final", "code": code, "valueQuantity": value}
    return [json.dumps({"resourceType": "Bundle", "type": "collection", "entry": [{"resource": observation}]}).encode()]
