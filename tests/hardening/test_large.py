"""A file of ten gigabytes with a good beginning costs no reader more than that beginning: it is refused, or read as far as it says."""

import json
import subprocess
import sys
from pathlib import Path

from fuzz.targets import TARGETS

LARGE = 10 << 30
MOST_READ, MOST_MEMORY = 96 << 20, 512 << 20
ENDINGS = {
    "dicom": "dcm", "nifti": "nii", "nifti-gz": "nii.gz", "nrrd": "nrrd", "mha": "mha", "tiff": "tif", "film": "png", "stl": "stl",
    "ply": "ply", "obj": "obj", "case": "toml", "tray": "toml", "corrections": "toml", "work": "zip", "records": "zip",
}  # fmt: skip
"""All but the readers of bytes and of folders."""
CHILD = """
import json, resource, sys, warnings
from pathlib import Path
from canalwright import casefile, imaging
from canalwright.casefile import archive
from canalwright.casefile.corrections import load_corrections
from canalwright.imaging.radiograph.read import read_film
from canalwright.records import archive as records_archive
from canalwright.records.errors import RecordsError
warnings.simplefilter("ignore")
large, most_read, most_memory, files = json.loads(sys.argv[1])
scan = lambda p: imaging.read_scan(p, voxel=0.2 if p.suffix == ".tif" else None)
readers = {"film": read_film, "stl": imaging.read_surface, "ply": imaging.read_surface, "obj": imaging.read_surface,
    "case": casefile.load, "tray": casefile.load_tray, "corrections": load_corrections, "work": archive.read,
    "records": records_archive.read_archive}
done = lambda: int(next(l for l in open("/proc/self/io") if l.startswith("rchar")).split()[1])
for small in (True, False):  # once as they are, so that every library is loaded
    for name, path in files:
        path = Path(path)
        if not small:
            with path.open("r+b") as file:
                file.truncate(large)
        before = done()
        try:
            readers.get(name, scan)(path)
        except (imaging.ImagingError, casefile.CaseError, RecordsError) as error:
            assert len(str(error).splitlines()) < 40, error
        assert small or done() - before < most_read, (name, done() - before)
    if small:
        size = next(l for l in open("/proc/self/status") if l.startswith("VmSize"))
        most = int(size.split()[1]) * 1024 + most_memory
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
"""


def test_ten_gigabytes_are_not_read(tmp_path: Path) -> None:
    assert set(ENDINGS) == set(TARGETS) - {"fhir", "dicom-folder"}
    files = []
    for name, ending in ENDINGS.items():
        for i, seed in enumerate(TARGETS[name].seeds()):
            path = tmp_path / f"{name}-{i}.{ending}"
            path.write_bytes(seed)
            files.append((name, str(path)))
    zeros = tmp_path / "zeros.dcm"
    zeros.write_bytes(bytes(128) + b"DICM")
    task = json.dumps([LARGE, MOST_READ, MOST_MEMORY, [*files, ("dicom", str(zeros)), ("film", str(zeros))]])
    done = subprocess.run([sys.executable, "-c", CHILD, task], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
