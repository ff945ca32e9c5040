"""The tooth in the section: bone, root, native and shaped lumen, side branches."""

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Array, Lumen, Portal
from canalwright.report.frame import band, root_half_width
from canalwright.report.options import Pen
from canalwright.report.svg import el, path

LIGAMENT, BONE = 0.25, 0.9


def within(pen: Pen, lumen: Lumen, low: float | None = None, high: float | None = None) -> Array:
    """Stations of `lumen` between `low` and `high` (z) that the drawing shows, ends included, shape (m,)."""
    first = max(float(lumen.z[0]), -np.inf if low is None else low)
    last = min(float(lumen.z[-1]), pen.upper_z, np.inf if high is None else high)
    if last <= first:
        return np.zeros(0)
    inner = lumen.z[(lumen.z > first) & (lumen.z < last)]
    return np.concatenate([[first], inner, [last]])


def half(pen: Pen, lumen: Lumen, z: Array) -> Array:
    """Half width of the lumen at `z` as drawn."""
    return np.interp(z, lumen.z, pen.frame.half_width(lumen))


def root(pen: Pen, lumen: Lumen) -> tuple[Array, Array]:
    """Stations and half widths of the root outline."""
    z = within(pen, lumen)
    return z, np.interp(z, lumen.z, root_half_width(lumen, pen.frame.half_width(lumen)))


def draw_bone(pen: Pen, canal: Canal, lumen: Lumen) -> str:
    """Bone from its crest to beyond the apex, a ligament's width from the root (both widths for the eye only)."""
    z, wide = root(pen, lumen)
    keep = z <= (canal.crest if canal.crest is not None else -np.inf)
    if keep.sum() < 2:
        return ""
    z, wide = z[keep], wide[keep]
    line = path(np.vstack([pen.frame(z[::-1], -wide[::-1]), pen.frame(z, wide)]))
    paint, scale = pen.palette.bone, pen.frame.scale

    def around(width: float, stroke: str) -> str:
        return el("path", d=line, fill="none", stroke=stroke, stroke_width=2 * width, stroke_linejoin="round")

    return el(
        "g",
        around((LIGAMENT + BONE) * scale, pen.url("hatch-trabeculae")),
        around(LIGAMENT * scale + 0.15, paint.edge),
        around(LIGAMENT * scale, pen.palette.paper),
        class_="cw-bone",
    )


def draw_root(pen: Pen, lumen: Lumen) -> str:
    """The root outline; dotted straight on above the last station, where nothing was measured."""
    z, wide = root(pen, lumen)
    paint, frame = pen.palette.dentine, pen.frame
    outline = np.vstack([frame(z[::-1], -wide[::-1]), frame(z, wide)])
    drawn = [
        el("path", d=path(outline, closed=True), fill=paint.fill),
        el("path", d=path(outline), fill="none", stroke=paint.edge, stroke_width=0.25, stroke_linejoin="round"),
    ]
    if pen.upper_z > z[-1] + 0.3:
        ends = np.array([z[-1], pen.upper_z])
        crown = "".join(path(frame(ends, side * wide[-1])) for side in (-1, 1))
        drawn.append(el("path", d=crown, stroke=paint.edge, stroke_width=0.2, stroke_dasharray="0.3 0.9"))
    return el("g", *drawn, class_="cw-dentine")


def draw_lumen(pen: Pen, lumen: Lumen) -> str:
    """The hollow, without its edge."""
    z = within(pen, lumen)
    wide = half(pen, lumen, z)
    return el(
        "path", d=path(band(pen.frame, z, -wide, wide), closed=True), fill=pen.palette.lumen.fill, class_="cw-lumen"
    )


def draw_edges(pen: Pen, native: Lumen, shaped: Lumen) -> str:
    """Edges: the shaped lumen a full line, the native one dashed where it differs, the greatest width dotted."""
    edge = pen.palette.lumen.edge
    z = within(pen, shaped)
    wide = half(pen, shaped, z)
    drawn = [el("path", d=_both_sides(pen, [z], z, wide), stroke=edge, stroke_width=0.3, class_="cw-shaped")]
    if shaped is not native:
        at = within(pen, native)
        narrow = half(pen, native, at)
        dashed = _both_sides(pen, _runs(at, half(pen, shaped, at) - narrow > 0.01), at, narrow)
        dash = "0.9 0.7"
        drawn.append(el("path", d=dashed, stroke=edge, stroke_width=0.15, stroke_dasharray=dash, class_="cw-native"))
    greatest = np.interp(z, shaped.z, shaped.major) / 2
    oval = [] if pen.options.projected else _runs(z, greatest > 1.15 * wide)
    if oval:
        dotted = _both_sides(pen, oval, z, greatest)
        drawn.append(
            el(
                "path", d=dotted, stroke=edge, stroke_width=0.22, stroke_dasharray="0.01 0.7", stroke_linecap="round",
                class_="cw-greatest",
            )
        )  # fmt: skip
    return el("g", *drawn, fill="none")


def _both_sides(pen: Pen, runs: list[Array], z: Array, wide: Array) -> str:
    """Both edges of a width over stretches of stations, as path data."""
    return "".join(path(pen.frame(run, side * np.interp(run, z, wide))) for run in runs for side in (-1, 1))


def draw_portal(pen: Pen, portal: Portal, index: int, lumen: Lumen) -> str:
    """A side branch on the left, sloping apically from lumen to root surface; dashed when it is no lateral canal."""
    z, wide = root(pen, lumen)
    if not z[0] < portal.z < z[-1]:
        return ""
    start, end = -float(half(pen, lumen, np.array([portal.z]))[0]), -float(np.interp(portal.z, z, wide))
    low = portal.z - min(0.35 * (start - end), portal.z - z[0])
    line = pen.frame(np.array([portal.z, low]), np.array([start, -float(np.interp(low, z, wide))]))
    width = max(portal.diameter.value * pen.frame.scale, 0.3)
    dash = None if "lateral" in portal.kind or "branch" in portal.kind else "1 0.6"
    return el(
        "g",
        el("path", d=path(line), stroke=pen.palette.portal.edge, stroke_width=width + 0.3, stroke_dasharray=dash),
        el("path", d=path(line), stroke=pen.palette.portal.fill, stroke_width=width, stroke_dasharray=dash),
        fill="none", class_="cw-portal", id=pen.id(f"portal-{index}"),
    )  # fmt: skip


def _runs(z: Array, keep: NDArray[np.bool_]) -> list[Array]:
    """Stretches of `z` where `keep` holds, each with at least two stations."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], keep.astype(int), [0]])))
    return [z[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1]
