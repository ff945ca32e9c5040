"""Vertucci's eight types from one click each: the type made beside the type told.

    python -m benchmarks.accuracy_vertucci [--seeds 0 1 2] [--kinds I II III IV V VI VII VIII] [--voxels 0.15]

prints a table. Every root is invented and drawn anew for each seed: widths, distance of the canals, heights at which they join and
part, bend, tilt of the grid; every other one has a chamber above its orifices, the others are open canals to the top of the scan.
"""

import argparse
import os

for key in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(key, "1")

import time
from dataclasses import dataclass
from itertools import product

import numpy as np
from tests.imaging.scans import as_found

from canalwright.imaging import ScanError, find_canals
from canalwright.imaging.phantom.portals import IsthmusShape
from canalwright.imaging.phantom.scan import CanalShape, Phantom, RootShape, Scanner, make, render
from canalwright.imaging.vertucci import Configuration, configuration

KINDS = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII")
HEIGHT = 12.0
INF = float("inf")


@dataclass(frozen=True)
class Told:
    """One root: what it is and what was told of it; `canals` with their scores; `refused` says why nothing was."""

    kind: str
    seed: int
    voxel: float
    chamber: bool
    truth: Configuration
    told: Configuration | None = None
    scores: tuple[float, ...] = ()
    reasons: tuple[str, ...] = ()
    seconds: float = 0.0
    refused: str = ""

    @property
    def off(self) -> float:
        """Greatest error of a height at which the number of canals changes, mm; NaN where the types differ or none changes."""
        if self.told is None or self.told.sequence != self.truth.sequence or not self.truth.changes:
            return float("nan")
        return float(np.max(np.abs(np.subtract(self.told.changes, self.truth.changes))))


def phantom_of(kind: str, seed: int) -> tuple[Phantom, bool]:
    """The root, and whether it has a chamber."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    shift = float(rng.uniform(-0.5, 0.5))
    end, top = (-INF, 2.5 + shift), (10.3 + shift, INF)
    together = {
        "II": (end,), "III": (end, top), "V": ((8.3 + shift, INF),), "VI": ((5.2 + shift, 7.8 + shift),),
        "VII": ((5.0 + shift, 6.5 + shift), top),
    }.get(kind, ())  # fmt: skip
    apart, wide, bend = float(rng.uniform(0.7, 0.9)), float(rng.uniform(0.28, 0.4)), float(rng.uniform(5, 20))
    taper, oval = float(rng.uniform(0.02, 0.035)), float(rng.uniform(1.2, 1.6))
    oval = 1.2 if kind == "VIII" else oval  # three wide ovals beside each other would be one lumen
    more = {"taper": taper, "ratio": (1.2, oval), "bend": bend, "turn": 0.0}
    one = CanalShape(apical=wide, aside=(0.0, apart), **more)  # type: ignore[arg-type]
    two = CanalShape(apical=0.9 * wide, aside=(0.0, -apart), together=together, **more)  # type: ignore[arg-type]
    canals = {"I": (CanalShape(apical=wide, aside=(0.0, 0.1), **more),), "VIII": (  # type: ignore[arg-type]
        CanalShape(apical=wide, aside=(0.0, apart + 0.25), **more), CanalShape(apical=wide, aside=(0.0, -apart - 0.25), **more),  # type: ignore[arg-type]
        CanalShape(apical=0.9 * wide, aside=(0.0, 0.0), **more),  # type: ignore[arg-type]
    )}.get(kind, (one, two))  # fmt: skip
    chamber = seed % 2 == 0
    root = RootShape(HEIGHT, (1.5, 2.4 if kind == "VIII" else 2.2), crest=HEIGHT - 2.5, cej=HEIGHT - 1.0)
    sheet = (IsthmusShape(HEIGHT - 0.3, HEIGHT + 2.0, 0.9),) if chamber and len(canals) > 1 else ()
    return make(canals, root, isthmuses=sheet), chamber


def told_of(kind: str, seed: int, voxel: float) -> Told:
    phantom, chamber = phantom_of(kind, seed)
    rng = np.random.default_rng([99, seed])
    tilt = (float(rng.uniform(-8, 8)), float(rng.uniform(-8, 8)))
    scan = render(phantom, Scanner(voxel, 0.8 * voxel, 60.0, oversample=2, tilt=tilt), seed)
    truth = configuration([as_found(t, str(n)) for n, t in enumerate(phantom.truth)])
    true = phantom.truth[0]
    click = true.centre[60] + np.array([float(true.major[60]) / 2 + 0.5, 0.0, 0.0])
    began = time.perf_counter()
    try:
        canals = find_canals(scan, click)
    except ScanError as error:
        return Told(kind, seed, voxel, chamber, truth, refused=str(error))
    return Told(
        kind, seed, voxel, chamber, truth, configuration(canals), tuple(c.quality.score for c in canals),
        tuple("; ".join((*c.quality.reasons, *c.notes)) for c in canals), time.perf_counter() - began,
    )  # fmt: skip


def line(told: Told) -> str:
    said = (
        f"refused: {told.refused}"
        if told.told is None
        else f"{told.told.type} ({'-'.join(map(str, told.told.sequence))})"
    )
    off = "" if np.isnan(told.off) else f"{told.off:.1f}"
    scores = ", ".join(f"{s:.2f}" for s in told.scores)
    chamber = "chamber" if told.chamber else "open"
    return (
        f"| {told.kind} | {told.seed} | {told.voxel:g} | {chamber} | {said} | {off} | {scores} | {told.seconds:.0f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, nargs="+", default=[0, 1, 2, 3])
    parser.add_argument("--kinds", nargs="+", default=list(KINDS), choices=KINDS)
    parser.add_argument("--voxels", type=float, nargs="+", default=[0.15])
    parser.add_argument("--why", action="store_true", help="say of each canal what was doubted")
    given = parser.parse_args()
    print(
        "| made | seed | voxel, mm | top | told | changes off, mm | scores | seconds |\n|---|---|---|---|---|---|---|---|"
    )
    for kind, seed, voxel in product(given.kinds, given.seeds, given.voxels):
        told = told_of(kind, seed, voxel)
        if told.truth.type != kind:
            print(f"(made as {kind}, its truth counts as {told.truth})", flush=True)
        print(line(told), flush=True)
        if given.why:
            print("   truth", told.truth, "told", told.told)
            for reasons in told.reasons:
                print("   -", reasons)


if __name__ == "__main__":
    main()
