"""Extracted teeth in a micro-CT: one click in a folder of slices, then lateral canals, isthmus and delta beside the truth.

    python -m benchmarks.accuracy_microct [--teeth 6] [--voxels 0.02 0.03 0.04]

writes docs/models/scan-microct.md. Every tooth is invented: a root of 13 mm with two canals and a chamber, dry, in air. It holds four
lateral canals of 0.05 to 0.2 mm, a blind one, a sheet of 0.08 to 0.15 mm between the canals and a delta of three exits. Rendered layer by
layer into 16-bit TIFF slices, opened without being read, found with one click. Each tooth in a process of its own, which reports the most
memory it held, rendering included.
"""

import argparse
import os

for key in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(key, "1")

import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np

from canalwright.imaging import FoundCanal, FoundPortal, ScanError, measure_tooth, open_scan, portals_of
from canalwright.imaging.phantom.extracted import AIR, extracted, write_stack
from canalwright.imaging.phantom.portals import BranchShape, IsthmusShape, TruePortal, delta
from canalwright.imaging.phantom.scan import CanalShape, Greys, Phantom, RootShape, Scanner, make

OUT = Path(__file__).parents[1] / "docs" / "models" / "scan-microct.md"
NINETY = 1.6449
NEAR = 0.6
"""Distance between the true and the found exit within which they are one, mm."""
CHAMBER = 11.5
BANDS = ((0.0, 2.0), (2.0, 3.0), (3.0, 5.0), (5.0, 20.0))


@dataclass(frozen=True)
class Seen:
    """One true branch beside what was found: errors in mm; `found` False where nothing was."""

    kind: str
    diameter: float
    voxel: float
    found: bool
    level: float = float("nan")
    width: float = float("nan")
    stated: float = float("nan")
    exit: float = float("nan")
    called: str = ""


@dataclass(frozen=True)
class Tooth:
    """One tooth: its branches, how many more were told, what it cost; `refused` says why none was found."""

    seed: int
    voxel: float
    size: tuple[int, int, int]
    canals: int = 0
    lengths: tuple[float, ...] = ()
    seen: tuple[Seen, ...] = ()
    more: int = 0
    seconds: float = 0.0
    memory: float = 0.0
    refused: str = ""


def phantom_of(seed: int) -> Phantom:
    rng = np.random.default_rng(seed)
    bend, away = float(rng.uniform(5, 25)), float(rng.uniform(0.7, 0.9))
    pair = [
        CanalShape(
            apical=float(rng.uniform(0.2, 0.3)), taper=0.04, ratio=(1.2, 1.6), aside=(0.0, side * away), bend=bend
        )
        for side in (1, -1)
    ]
    wide = rng.uniform(0.05, 0.2, 4)
    sides = [
        BranchShape(
            float(h + rng.uniform(-0.3, 0.3)),
            float(d),
            float(t + rng.uniform(-25, 25)),
            float(rng.uniform(5, 40)),
            canal,
        )
        for h, d, t, canal in zip((3.6, 4.4, 7.8, 9.0), wide, (0.0, 180.0, 10.0, 170.0), (0, 1, 1, 0), strict=True)
    ]
    blind = BranchShape(5.2, 0.12, 190.0, 15.0, 0, blind=True)
    fan = delta(1.7, 3, float(rng.uniform(0.07, 0.12)), canal=1)
    low = float(rng.uniform(5.5, 6.0))
    sheets = (IsthmusShape(low, low + 1.0, float(rng.uniform(0.08, 0.15))), IsthmusShape(CHAMBER, 16.0, 0.9))
    root = RootShape(height=13.0, half=(1.4, 2.1), growth=0.06)
    return make(pair, root, Greys(lumen=AIR), branches=(*sides, blind, *fan), isthmuses=sheets)


def tooth(seed: int, voxel: float) -> Tooth:
    phantom = phantom_of(seed)
    with tempfile.TemporaryDirectory() as folder:
        made = extracted(phantom, Scanner(voxel, 0.7 * voxel, 60.0, oversample=2), seed)
        place = made.affine[:3, 3]
        stack = write_stack(made, Path(folder) / "slices")
        began = time.perf_counter()
        click = phantom.truth[0].centre[60] + np.array([0.7, 0.0, 0.0]) - place
        try:
            found = measure_tooth(open_scan(stack, voxel=voxel), click)
        except ScanError as error:
            return Tooth(seed, voxel, made.shape, refused=str(error))
        canals = portals_of(found.scan, found.canals)
        seconds = time.perf_counter() - began
    seen, more = compared(phantom, canals, place, voxel)
    return Tooth(seed, voxel, made.shape, len(canals), tuple(c.length for c in canals), seen, more, seconds, _peak())


def compared(
    phantom: Phantom, canals: tuple[FoundCanal, ...], place: np.ndarray, voxel: float
) -> tuple[tuple[Seen, ...], int]:
    """Each true branch with the found one nearest to its exit, each found one used once; how many are left over."""
    left: list[tuple[FoundCanal, FoundPortal]] = [(c, p) for c in canals for p in c.portals if p.z < CHAMBER - 1.0]
    out = []
    for real in (p for p in phantom.portals if p.start[2] < CHAMBER - 1.0):
        away = [_apart(real, portal, place) for _, portal in left]
        if not away or min(away) > NEAR:
            out.append(Seen(real.kind, real.diameter, voxel, False))
            continue
        canal, portal = left.pop(int(np.argmin(away)))
        near = int(np.argmin(np.linalg.norm(canal.lumen.centre + place - real.start, axis=1)))
        out.append(
            Seen(
                real.kind, real.diameter, voxel, True, portal.z - float(canal.lumen.z[near]), portal.diameter - real.diameter,
                portal.diameter_error, min(away), portal.kind,
            )
        )  # fmt: skip
    return tuple(out), len(left)


def _apart(real: TruePortal, portal: FoundPortal, place: np.ndarray) -> float:
    if (real.kind == "isthmus") != (portal.kind == "isthmus"):
        return float("inf")
    if real.kind == "isthmus":
        middles = (portal.path[0] + portal.path[-1]) / 2 + place, (real.start + real.exit) / 2
        return float(np.linalg.norm(middles[0] - middles[1]))
    return float(np.linalg.norm(portal.path[-1] + place - real.exit))


def _peak() -> float:
    """The most memory this process held, GiB."""
    text = Path("/proc/self/status").read_text()
    return int(next(line for line in text.splitlines() if line.startswith("VmHWM")).split()[1]) / (1 << 20)


def page(teeth: list[Tooth]) -> str:
    good = [t for t in teeth if not t.refused]
    seen = [s for t in good for s in t.seen if s.kind != "blind"]
    blind = [s for t in good for s in t.seen if s.kind == "blind"]
    lines = [
        "# Micro-CT of extracted teeth: side branches",
        "",
        f"Made by `benchmarks/accuracy_microct.py`: {len(teeth)} scan{'s' if len(teeth) > 1 else ''} of invented extracted teeth, dry, in "
        "air: a root of 13 mm with two canals that meet in a chamber, blur 0.7 voxel, noise 60 on a contrast of 2,700. One click; "
        "everything else is found. Four lateral canals of 0.05 to 0.2 mm, one sheet between the canals, a delta of three exits and one "
        "blind branch in every tooth.",
        "",
        "| kind | true width, voxels | found of | level, rms mm | exit, rms mm | width error, mean (rms) mm | 90 % interval holds |",
        "|---|---|---|---|---|---|---|",
    ]
    for kind, (low, high) in product(("lateral canal", "delta", "isthmus"), BANDS):
        own = [s for s in seen if s.kind == kind and low <= s.diameter / s.voxel < high]
        if not own:
            continue
        told = [s for s in own if s.found]
        if not told:
            lines.append(f"| {kind} | {low:g} to {high:g} | 0 of {len(own)} | | | | |")
            continue
        width = np.array([s.width for s in told])
        held = np.mean(np.abs(width) < NINETY * np.array([s.stated for s in told]))
        lines.append(
            f"| {kind} | {low:g} to {high:g} | {len(told)} of {len(own)} | {_rms([s.level for s in told]):.2f} | "
            f"{_rms([s.exit for s in told]):.2f} | {width.mean():+.3f} ({_rms(width):.3f}) | {100 * held:.0f} % |"
        )
    lines += [
        "",
        f"Told and not there: {sum(t.more for t in good)}; blind branches told as portals: {sum(s.found for s in blind)} of {len(blind)}. "
        f"Exits of a delta called a delta: {sum(s.called == 'delta' for s in seen if s.kind == 'delta')} of "
        f"{sum(s.found for s in seen if s.kind == 'delta')} found.",
        "",
        "| tooth | voxel, mm | voxels | canals found of 2 | lengths, mm | seconds | most memory, GiB |",
        "|---|---|---|---|---|---|---|",
    ]
    for t in teeth:
        size = " x ".join(str(n) for n in t.size[::-1])
        if t.refused:
            lines.append(f"| {t.seed} | {t.voxel:g} | {size} | refused: {t.refused} | | | |")
        else:
            lengths = ", ".join(f"{v:.1f}" for v in t.lengths)
            lines.append(
                f"| {t.seed} | {t.voxel:g} | {size} | {t.canals} | {lengths} | {t.seconds:.0f} | {t.memory:.2f} |"
            )
    return "\n".join(lines) + "\n"


def _rms(values: object) -> float:
    return float(np.sqrt(np.mean(np.square(np.asarray(values, dtype=float)))))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--teeth", type=int, default=6)
    parser.add_argument("--voxels", type=float, nargs="+", default=[0.02, 0.03, 0.04])
    given = parser.parse_args()
    made: list[Tooth] = []
    for seed, voxel in product(range(given.teeth), given.voxels):
        with ProcessPoolExecutor(1) as pool:
            made.append(pool.submit(tooth, seed, voxel).result())
        print(made[-1], flush=True)
        OUT.write_text(page(made))


if __name__ == "__main__":
    main()
