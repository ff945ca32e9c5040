"""What is read from outside, and what counts as a plain refusal. Anything else that is raised is a finding."""

import re
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from canalwright import casefile, imaging
from canalwright.casefile import archive
from canalwright.casefile.corrections import load_corrections
from canalwright.exchange import ExchangeError, fhir
from canalwright.imaging.radiograph.read import read_film
from canalwright.records import archive as records_archive
from canalwright.records.errors import RecordsError
from fuzz import seeds

Refusals = tuple[type[Exception], ...]


@dataclass(frozen=True)
class Target:
    """One reader: `read` takes a file's bytes, `seeds` gives good ones, `refusals` are the errors a user may be shown."""

    read: Callable[[bytes], object]
    seeds: Callable[[], list[bytes]]
    refusals: Refusals

    def run(self, data: bytes) -> None:
        """Read `data`; returns quietly when it is taken or refused, raises whatever else happens."""
        self.answer(data)

    def answer(self, data: bytes) -> str:
        """What comes of reading `data`: nothing to say, or the refusal without its names and numbers; raises whatever else happens."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                self.read(data)
            except self.refusals as refusal:
                return re.sub(r"/\S+|'[^']*'|[0-9.,()x -]+", " ", str(refusal))[:200]
        return ""


def _file(read: Callable[[Path], object], name: str) -> Callable[[bytes], object]:
    def from_disk(data: bytes) -> object:
        with tempfile.TemporaryDirectory(prefix="fuzz") as folder:
            path = Path(folder) / name
            path.write_bytes(data)
            return read(path)

    return from_disk


def _folder(data: bytes) -> object:
    with tempfile.TemporaryDirectory(prefix="fuzz") as folder:
        for i, part in enumerate(data.split(seeds.GAP)):
            (Path(folder) / f"{i:04d}").write_bytes(part)
        return imaging.read_scan(folder)


def _scan(path: Path) -> object:
    voxel = 0.2 if path.suffix in (".tif", ".png") else None
    return imaging.read_scan(path, voxel=voxel)


TARGETS: dict[str, Target] = {
    "dicom": Target(_file(_scan, "a.dcm"), seeds.frames, (imaging.ImagingError,)),
    "dicom-folder": Target(_folder, seeds.series, (imaging.ImagingError,)),
    "nifti": Target(_file(_scan, "a.nii"), lambda: seeds.volume(".nii"), (imaging.ImagingError,)),
    "nifti-gz": Target(_file(_scan, "a.nii.gz"), lambda: seeds.volume(".nii.gz"), (imaging.ImagingError,)),
    "nrrd": Target(_file(_scan, "a.nrrd"), lambda: seeds.volume(".nrrd"), (imaging.ImagingError,)),
    "mha": Target(_file(_scan, "a.mha"), lambda: seeds.volume(".mha"), (imaging.ImagingError,)),
    "tiff": Target(_file(_scan, "a.tif"), seeds.tiff, (imaging.ImagingError,)),
    "film": Target(_file(read_film, "a.png"), seeds.film, (imaging.ImagingError,)),
    "stl": Target(_file(imaging.read_surface, "a.stl"), lambda: seeds.surface(".stl"), (imaging.ImagingError,)),
    "ply": Target(_file(imaging.read_surface, "a.ply"), lambda: seeds.surface(".ply"), (imaging.ImagingError,)),
    "obj": Target(_file(imaging.read_surface, "a.obj"), lambda: seeds.surface(".obj"), (imaging.ImagingError,)),
    "case": Target(_file(casefile.load, "a.toml"), seeds.case, (casefile.CaseError,)),
    "tray": Target(_file(casefile.load_tray, "a.toml"), seeds.tray, (casefile.CaseError,)),
    "corrections": Target(_file(load_corrections, "a.toml"), seeds.corrections, (casefile.CaseError,)),
    "work": Target(archive.unpack, seeds.work, (casefile.CaseError,)),
    "records": Target(_file(records_archive.read_archive, "a.zip"), seeds.records, (RecordsError,)),
    "fhir": Target(fhir.read, seeds.fhir, (ExchangeError,)),
}
