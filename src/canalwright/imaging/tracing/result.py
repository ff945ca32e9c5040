"""From fitted tube and surface to the record of a found canal."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen
from canalwright.imaging.centreline import smooth
from canalwright.imaging.found import FoundCanal, Quality, RootSurface
from canalwright.imaging.sections import gap
from canalwright.imaging.tracing.apart import Apart
from canalwright.imaging.tracing.ending import carried
from canalwright.imaging.tracing.frame import Frame, on_map
from canalwright.imaging.tracing.profile_fit import Fit
from canalwright.imaging.tracing.terminus import Exit
from canalwright.imaging.tracing.wall import DIRECTIONS, Surface
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
CORNERS = 72
CLICK_ERROR = 0.5
"""Standard deviation of a terminus that was pointed at and not found by its surface, mm."""
GUESS_ERROR = 0.9
"""The same where nobody pointed at it: the ways through the pulps of five lower teeth end 0.1 to 1.5 mm from it (voxels of 0.15 to 0.3 mm,
0.85 mm root mean square)."""
SURER = 0.78
"""Error of widths, areas and centres over what the fit says of itself, which counts the noise's correlation a little too much; chosen
on phantoms of seeds 1000 to 1059."""
LOCAL_VOXEL, AREA_VOXEL = 0.027, 0.015
"""What the model leaves out, as shares of the voxel: in the least width, in the mean width that makes the area; chosen on the same
phantoms."""
END_VOXEL = 0.25
"""What it leaves out in the length, per mm: times the square of the voxel, as blur moves an edge; chosen on phantoms of seeds 1300 to
1329."""
ROUGH_END = 0.08
"""What real roots' ends, which are no smooth caps, add to the error of the length, mm: on meshes of six lower and upper teeth the
exits that were found without a doubt lay 0.13 mm from the mesh's own foramen (root mean square), itself good to 0.1 mm."""
FUNNEL = 2.4
"""What a foramen that opens within the blur adds to it, per mm: blur of standard deviation S moves a curved edge by S^2 times its
curvature, and a foramen is about 0.4 mm in radius. Seen on phantoms whose canals open (seeds 1000 to 1023, at spreads over 0.2 mm)."""
ROUGH_WIDTH = 0.012
"""What real sections that are no ovals add to the error of the least width, mm: on the meshes of five lower teeth at voxels of 0.1 and
0.15 mm; the incisor's had no part in it."""
ROUGH_WALL = 0.04
"""What grooves and facets of real roots, and real sections that are no ovals, add to the error of the wall, mm: on the same meshes
walls were off by 0.05 to 0.07 mm where smooth phantoms would be by 0.02."""
STEEPEST = 2.0
"""Greatest slope of the root's round end that is reckoned with, mm per mm."""


@dataclass(frozen=True)
class Parts:
    """All that was fitted: the line and tube, the surface at `stations`, the exit, stations of the given ends; below `straight`
    the line goes straight on.
    """

    frame: Frame
    fit: Fit
    surface: Surface
    stations: Array
    exit: Exit | None
    given: float
    last: float
    straight: float
    voxel: float
    noise: float
    pinned: bool = False
    guessed: bool = False
    apart: Apart | None = None

    @property
    def first(self) -> float:
        """Station of the terminus: the exit where it was found, else, or when it is pinned, the point that was given."""
        return self.given if self.exit is None or self.pinned else self.exit.s


def found(parts: Parts, name: str, scan: Scan) -> FoundCanal:
    """The `FoundCanal`: stations every 0.1 mm from the terminus, z = 0 there; not yet judged."""
    s = np.linspace(parts.first, parts.last, max(8, round((parts.last - parts.first) / 0.1) + 1))
    points, _, one, two = parts.frame.at(s)
    cu, cv = (carried(parts.fit, n, s, parts.straight) for n in ("cu", "cv"))
    centred = points + cu[:, None] * one + cv[:, None] * two
    pins = np.ones(len(s))
    pins[[0, -1]] = 1e3
    line = smooth(centred, wavelength=1.0, weights=pins)
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(centred, axis=0), axis=1))])
    at = np.interp(line.s * arc[-1] / line.length, arc, s)
    short, long, angle = parts.fit.half_widths(at)
    _, _, normal, binormal = parts.frame.at(at)
    axis = np.cos(angle)[:, None] * normal + np.sin(angle)[:, None] * binormal
    axis -= np.einsum("ij,ij->i", axis, line.tangent)[:, None] * line.tangent
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    wall, thinnest, wall_error = _walls(parts, at, (short, long, angle), (normal, binormal))
    centre_error, area_error, together = section_errors(parts, at)
    lumen = Lumen(line.s, 2 * short, 2 * long, line.points, axis, wall, np.pi * short * long)
    crown = line.points[-1] - line.points[0]
    notes = list(scan.warnings)
    if parts.exit is None:
        notes.append("the canal's exit from the root was not found: it ends at the point that was given")
    elif parts.pinned:
        beyond = parts.given - parts.exit.s
        way = "beyond" if beyond > 0 else "short of"
        notes.append(f"the terminus stays where it was set; the root's surface was found {abs(beyond):.2f} mm {way} it")
    else:
        moved = parts.given - parts.exit.s
        notes.append(
            f"terminus moved {abs(moved):.2f} mm {'apically' if moved > 0 else 'coronally'} to the root's surface"
        )
    source = f"scan, voxel {parts.voxel:.3g} mm, spread {parts.fit.spread:.3g} mm, blurred tube fitted to the voxels"
    return FoundCanal(
        name=name,
        lumen=lumen,
        length=line.length,
        foramen=float(2 * short[0]),
        orifice=line.points[-1],
        terminus=line.points[0],
        width_error=np.hypot(width_error(parts, at), ROUGH_WIDTH),
        wall_error=wall_error,
        wall_direction=thinnest,
        inscribed=2 * short,
        crown=crown / np.linalg.norm(crown),
        quality=Quality(0.0, ("not judged",)),
        length_error=length_error(parts),
        source=source,
        notes=tuple(notes),
        surface=_surface(parts, at, (normal, binormal)),
        centre_error=centre_error,
        area_error=area_error,
        together=together,
    )


def width_error(parts: Parts, s: Array) -> Array:
    """Standard deviation of an oval's least width (mm): the fit's own, and a share of the voxel for what it leaves out."""
    return np.asarray(np.hypot(SURER * parts.fit.minor_error(s), LOCAL_VOXEL * parts.voxel))


def section_errors(parts: Parts, s: Array) -> tuple[Array, Array, Array]:
    """Standard deviations of the centre (mm) and of the section's area (mm2), and the share of the latter that all sections
    have in common, each (k,).
    """
    short, long, _ = parts.fit.half_widths(s)
    mean, _, centre = parts.fit.errors(s)
    own = 2 * np.pi * short * long * SURER * mean
    whole = np.hypot(own, np.pi / 2 * (short + long) * AREA_VOXEL * parts.voxel)
    return np.hypot(SURER * centre, 0.03 * parts.voxel), whole, parts.fit.together(s) * own / np.maximum(whole, 1e-12)


def _surface(parts: Parts, at: Array, frames: tuple[Array, Array]) -> RootSurface:
    turn = np.linspace(0, 2 * np.pi, DIRECTIONS, endpoint=False)
    here, around = (a.ravel() for a in np.meshgrid(at, turn, indexing="ij"))
    surface = parts.surface
    distance, error = (
        on_map(m, parts.stations, here, around).reshape(len(at), DIRECTIONS)
        for m in (surface.radius, np.sqrt(surface.error**2 + _tilted(parts) ** 2 + ROUGH_WALL**2))
    )
    return RootSurface(distance, error, *frames)


def _tilted(parts: Parts) -> Array:
    """Doubt (S, K) of the surface's distance for the tilt of the cross plane, mm: near the root's round end a plane that leans
    a little cuts the surface at another height.
    """
    surface = parts.surface.radius
    slope = np.abs(np.gradient(surface, parts.stations[1] - parts.stations[0], axis=0))
    return np.asarray(parts.fit.tilt(parts.stations)[:, None] * surface * np.minimum(slope, STEEPEST))


def length_error(parts: Parts) -> float:
    """Standard deviation of the length (mm): that of the exit, or of a click where no exit was found."""
    funnel = FUNNEL * parts.fit.spread**2
    pointed = GUESS_ERROR if parts.guessed and not parts.pinned else CLICK_ERROR
    exit_error = pointed if parts.exit is None or parts.pinned else parts.exit.error
    return float(np.sqrt(exit_error**2 + (END_VOXEL * parts.voxel**2) ** 2 + ROUGH_END**2 + funnel**2))


def _walls(
    parts: Parts, at: Array, ellipse: tuple[Array, Array, Array], frames: tuple[Array, Array]
) -> tuple[Array, Array, Array]:
    """Least wall in the cross plane (n,), its direction (n, 3) and its error (n,)."""
    turn = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    wall, facing, way = np.zeros(len(at)), np.zeros(len(at)), np.zeros((len(at), 3))
    unit = np.column_stack([np.cos(turn), np.sin(turn)])
    for i, (short, long, angle) in enumerate(zip(*ellipse, strict=True)):
        c, s = np.cos(turn - angle), np.sin(turn - angle)
        inner = 1 / np.sqrt((c / long) ** 2 + (s / short) ** 2)
        outer = on_map(parts.surface.radius, parts.stations, np.full(CORNERS, at[i]), turn)
        facing[i] = turn[int(np.argmin(outer - inner))]
        if (outer <= inner).any():
            continue
        wall[i], flat = gap(inner[:, None] * unit, outer[:, None] * unit)
        way[i] = flat[0] * frames[0][i] + flat[1] * frames[1][i]
    return wall, way, _wall_error(parts, at, facing)


def _wall_error(parts: Parts, at: Array, facing: Array) -> Array:
    """Standard deviation (n,) of the wall towards the angles `facing` (n,).

    The lumen's edge and the root's surface each have a doubt of their own; those of the lumen's grey and of the spread move
    both, as a rule against each other: too small a spread makes the lumen wide and the root thin.
    """
    surface = parts.surface
    own = on_map(np.hypot(surface.own, _tilted(parts)), parts.stations, at, facing)
    lean = np.column_stack([on_map(surface.lean[..., n], parts.stations, at, facing) for n in range(2)])
    edge, shared = parts.fit.edge_error(at, facing)
    together = np.einsum("ni,ij,nj->n", lean, parts.fit.common, lean) - 2 * np.einsum("ni,ni->n", lean, shared)
    return np.asarray(np.sqrt(np.maximum(edge**2 + together, 0.0) + own**2 + ROUGH_WALL**2))
