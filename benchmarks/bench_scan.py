"""From a file on disk to measured canals with one click, beside a general-purpose pipeline: `python -m benchmarks.bench_scan`.

A tooth (an invented phantom of two canals) lies in a volume of bone and noise. Each way runs in a process of its own that
reports its seconds, from opening the file to the result, and the most memory it held (VmHWM, which includes the interpreter
and its libraries). The general-purpose pipeline is what one would write with scikit-image, SciPy and SimpleITK: read the
whole, cut out 30 mm about the click, smooth, threshold (Otsu), skeletonize, distance transform. It tells no canal from
marrow; ours does more in its time. `large` adds 800 cubes (1 GB of int16) in several formats, read about the tooth under a
limit of 3 GiB of address space. The first run of a machine compiles kernels and is not counted.
"""

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import SimpleITK as sitk
import tifffile
from numpy.typing import NDArray

VOXEL = 0.15
GIB = 1 << 30


def tooth() -> tuple[NDArray[np.int16], NDArray[np.float64], tuple[float, float, float]]:
    """Greys of the tooth, its place in millimetres (first voxel), and a click in its dentine."""
    from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make, render

    two = CanalShape(aside=(0.1, 1.1), apical=0.35), CanalShape(aside=(0.0, -1.1), apical=0.35, bend=15.0)
    phantom = make(two, RootShape(height=14.0, half=(1.6, 2.6)))
    scan = render(phantom, Scanner(voxel=VOXEL, blur=0.12, noise=60.0, oversample=2), 1)
    true = phantom.truth[0]
    k = len(true.z) * 2 // 3
    click = true.centre[k] + true.axis[k] * (true.major[k] / 2 + 0.5)
    x, y, z = (float(v) for v in click)
    return np.round(scan.voxels).astype(np.int16), scan.affine[:3, 3], (x, y, z)


def write(folder: Path, side: int, name: str) -> tuple[Path, tuple[float, float, float]]:
    """A volume of `side` cubes with the tooth in its middle, and the click in it."""
    part, place, click = tooth()
    rng = np.random.default_rng(0)
    whole = np.empty((side, side, side), np.int16)
    noise = rng.normal(900, 80, (side, side)).astype(np.int16)
    for k in range(side):
        whole[k] = np.roll(noise, (7 * k, 13 * k), (0, 1))
    low = [(side - n) // 2 for n in part.shape]
    whole[tuple(slice(a, a + n) for a, n in zip(low, part.shape, strict=True))] = part
    path = folder / name
    if name == "dicom":
        from tests.imaging.dicom_files import write_series

        write_series(path, whole, step=VOXEL, spacing=(VOXEL, VOXEL), origin=(0.0, 0.0, 0.0))
    elif name.endswith(".tif"):
        tifffile.imwrite(path, whole, photometric="minisblack")
    else:
        image = sitk.GetImageFromArray(whole)
        image.SetSpacing((VOXEL,) * 3)
        sitk.WriteImage(image, str(path), name.endswith(".gz"))
    x, y, z = np.array(low[::-1]) * VOXEL + np.array(click) - place
    # the series of the test's helper is scaled: grey = 2 x stored - 1000, which changes no tooth
    return path, (float(x), float(y), float(z))


def peak() -> float:
    """The most memory this process held, GiB."""
    text = Path("/proc/self/status").read_text()
    return int(next(line for line in text.splitlines() if line.startswith("VmHWM")).split()[1]) / (1 << 20)


def ours(path: str, click: tuple[float, float, float]) -> dict[str, object]:
    from canalwright.imaging import measure_tooth, open_scan

    begin = time.perf_counter()
    opened = open_scan(path, voxel=VOXEL if path.endswith(".tif") else None)
    found = measure_tooth(opened, click)
    return {"s": time.perf_counter() - begin, "canals": [round(c.length, 2) for c in found.canals]}


def general(path: str, click: tuple[float, float, float]) -> dict[str, object]:
    from scipy.ndimage import distance_transform_edt, gaussian_filter, label
    from skimage.filters import threshold_otsu
    from skimage.morphology import skeletonize

    begin = time.perf_counter()
    whole = sitk.GetArrayFromImage(sitk.ReadImage(path))
    middle = np.round(np.array(click)[::-1] / VOXEL).astype(int)
    part = whole[tuple(slice(max(m - 100, 0), m + 100) for m in middle)].astype(np.float32)
    smooth = gaussian_filter(part, 1.0)
    hollow = smooth < threshold_otsu(smooth)
    names, _ = label(hollow)
    line = skeletonize(hollow)
    width = 2 * VOXEL * distance_transform_edt(hollow)
    return {
        "s": time.perf_counter() - begin,
        "pieces": int(names.max()),
        "median_width": float(np.median(width[line])) if line.any() else None,
    }


def child(way: str, path: Path, click: tuple[float, float, float], limit: float | None = None) -> dict[str, object]:
    """What `way` reports from a process of its own, under `limit` GiB of address space."""
    task = json.dumps({"way": way, "path": str(path), "click": click, "limit": limit})
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.bench_scan", task], capture_output=True, text=True, check=False
    )
    if done.returncode:
        return {"failed": done.stderr.strip().splitlines()[-1][:200] if done.stderr.strip() else done.returncode}
    return dict(json.loads(done.stdout.strip().splitlines()[-1]))


def answer(task: dict[str, object]) -> None:
    if task["limit"]:
        most = int(float(str(task["limit"])) * GIB)
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    x, y, z = task["click"]  # type: ignore[misc]
    told = {"ours": ours, "general": general}[str(task["way"])](str(task["path"]), (x, y, z))
    print(json.dumps({**told, "GiB": round(peak(), 2)}))


def main(large: bool) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path, click = write(Path(folder), 400, "scan.nii")
        child("ours", path, click)
        mine, other = child("ours", path, click), child("general", path, click)
        print(f"400 cubes, NIfTI, one click: {mine}")
        print(f"general-purpose pipeline: {other}")
        if "s" in mine and "s" in other:
            print(
                f"time of the general-purpose pipeline over ours: {float(str(other['s'])) / float(str(mine['s'])):.2f}"
            )
        path.unlink()
        for name in ("scan.nii", "scan.nii.gz", "scan.nrrd", "scan.mha", "scan.tif", "dicom") if large else ():
            path, click = write(Path(folder), 800, name)
            print(f"800 cubes, {name}, address space 3 GiB: {child('ours', path, click, 3.0)}", flush=True)
            if path.is_file():
                path.unlink()


if __name__ == "__main__":
    if len(sys.argv) > 1 and sys.argv[1].startswith("{"):
        answer(json.loads(sys.argv[1]))
    else:
        main("large" in sys.argv[1:])
