"""Canals from surface meshes beside a general-purpose mesh library, in one run: `python -m benchmarks.bench_surfaces`.

Prints medians and their ratio for one exact cross-section and one nearest-wall question, and the time of a
whole tooth (two canals with a chamber, invented). The first call loads the compiled voxel kernel and is reported apart.
"""

import statistics
import time
from collections.abc import Callable

import numpy as np
import trimesh
from tests.imaging.tooth_meshes import Tube, block_of_dentine, two_canals

from canalwright.imaging import canals_from_surfaces
from canalwright.imaging.centreline import smooth
from canalwright.imaging.mesh.cut import about, cut
from canalwright.imaging.mesh.outer import outer_surface
from canalwright.imaging.mesh.surfaces import make_surface
from canalwright.imaging.sections import measure


def median(work: Callable[[], object], repeats: int = 7) -> float:
    spans = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        spans.append(time.perf_counter() - begin)
    return statistics.median(spans)


def main() -> None:
    tube = Tube()
    lumen, dentine = make_surface(*tube.lumen()), make_surface(*tube.dentine())
    begin = time.perf_counter()
    (canal,) = canals_from_surfaces(lumen, dentine)
    print(f"first call, one canal {time.perf_counter() - begin:.2f} s")
    tooth = make_surface(*two_canals()), make_surface(*block_of_dentine())
    print(f"whole tooth, two canals and chamber {median(lambda: canals_from_surfaces(*tooth), 3):.2f} s")

    line = smooth(canal.lumen.centre)
    mesh = trimesh.Trimesh(lumen.vertices, lumen.faces, process=False)

    def ours() -> float:
        loop = about(cut(lumen, line, 60), np.zeros(2))
        return measure(loop.flat, round_room=False).area if loop is not None else 0.0

    def theirs() -> float:
        section = mesh.section(plane_normal=line.tangent[60], plane_origin=line.points[60])
        return max(measure(line.to_plane(60, p[:-1]), round_room=False).area for p in section.discrete)

    a, b = median(ours), median(theirs)
    print(
        f"one section: ours {1e3 * a:.2f} ms, library {1e3 * b:.2f} ms, ratio {b / a:.1f}; areas {ours():.5f} {theirs():.5f}"
    )

    outer = outer_surface(dentine, lumen)
    coat = trimesh.Trimesh(*(outer.corners.reshape(-1, 3), np.arange(3 * len(outer.corners)).reshape(-1, 3)))
    points = lumen.vertices[::20]
    a, b = median(lambda: outer.nearest(points), 3), median(lambda: trimesh.proximity.closest_point(coat, points), 3)
    off = np.abs(outer.nearest(points)[0] - trimesh.proximity.closest_point(coat, points)[1]).max()
    print(
        f"{len(points)} walls: ours {1e3 * a:.1f} ms, library {1e3 * b:.1f} ms, ratio {b / a:.1f}; greatest difference {off:.1e} mm"
    )


if __name__ == "__main__":
    main()
