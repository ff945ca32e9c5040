"""The section over time as a moving picture for teaching: GIF or animated PNG, with clock, act, scales and the caution in every frame.

Every frame is the drawing of `section_svg` at one moment of the one run with the values as read; frames follow each other evenly in
the time of the filling, so that a pause looks like a pause.
"""

import io
import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import typst

from canalwright.planning.product import CAUTION, Plan
from canalwright.report.moment import Moment, heat_of
from canalwright.report.options import Options
from canalwright.report.section import section_svg, width_mm
from canalwright.report.svg import clean

if TYPE_CHECKING:
    from PIL.Image import Image

    from canalwright.heat import HeatStory
    from canalwright.planning.story import Story

KINDS = {".gif": "GIF", ".png": "PNG", ".apng": "PNG"}
TOGETHER, PIXELS_PER_INCH, COLOURS, MOST = 24, 110.0, 96, 2000
PAGE = """
#let told = json(bytes(sys.inputs.data))
#set page(width: told.width * 1mm, height: told.height * 1mm, margin: 0mm)
#set text(size: 7pt, fill: luma(80))
#for (i, drawn) in told.frames.enumerate() {
  if i > 0 { pagebreak() }
  place(top + left, image(bytes(drawn), format: "svg"))
  place(bottom + left, dx: 1mm, dy: -1mm, block(width: told.width * 1mm - 2mm, told.foot))
}
"""
"""One page for each frame, all of one size; the drawing above, the caution below."""


def animation(
    plan: Plan,
    story: "Story | HeatStory",
    path: str | Path,
    *,
    every: float = 0.5,
    speed: float = 4.0,
    label: str = "",
    told: Callable[[float], None] | None = None,
) -> Path:
    """Write the moving picture of a simulated filling to `path` (.gif, or .png/.apng as animated PNG) and return the path.

    One frame for each `every` seconds of the filling, played `speed` times faster than it happens. `told` hears how far the
    work is, 0 to 1, and may raise to stop it. Raises ValueError for another ending, and for settings that make no picture.
    """
    target = Path(path)
    target.write_bytes(
        animation_bytes(plan, story, target.suffix.lower(), every=every, speed=speed, label=label, told=told)
    )
    return target


def animation_bytes(
    plan: Plan,
    story: "Story | HeatStory",
    ending: str = ".gif",
    *,
    every: float = 0.5,
    speed: float = 4.0,
    label: str = "",
    told: Callable[[float], None] | None = None,
) -> bytes:
    """The moving picture as bytes; arguments and errors as for `animation`."""
    if ending not in KINDS:
        raise ValueError(f"a moving picture cannot be written as {ending!r}: choose {', '.join(KINDS)}")
    if not (every > 0 and speed > 0):
        raise ValueError("frames and speed of a moving picture are greater than 0")
    times = np.arange(0.0, float(heat_of(story).time[-1]) + every, every)
    if len(times) > MOST:
        raise ValueError(f"{len(times)} frames are more than {MOST}: choose a longer step than {every:g} s")
    drawn = [section_svg(plan, moment=Moment.of(plan, story, t), options=Options()) for t in times]
    pictures: list[Image] = []
    for picture in _pictures(drawn, _foot(plan, label)):
        pictures.append(picture)
        if told is not None:
            told(len(pictures) / len(drawn))
    return _moving(pictures, KINDS[ending], round(1000 * every / speed))


def _foot(plan: Plan, label: str) -> str:
    canal = plan.canal
    return clean(" · ".join(filter(None, (f"Tooth {canal.tooth.code}, {canal.name} canal", label, CAUTION))))


def _pictures(drawn: Sequence[str], foot: str) -> "Iterator[Image]":
    """The frames as pictures of one size, a few at a time so that memory stays flat."""
    from PIL import Image

    wide = max(width_mm(svg) for svg in drawn) + 2.0
    tall = max(_height_mm(svg) for svg in drawn) + 4.0 + 3.2 * (1 + len(foot) * 1.25 // wide)
    for first in range(0, len(drawn), TOGETHER):
        data = {"frames": drawn[first : first + TOGETHER], "foot": foot, "width": wide, "height": tall}
        pages: Any = typst.compile(
            PAGE.encode(),
            format="png",
            ppi=PIXELS_PER_INCH,
            sys_inputs={"data": json.dumps(data)},
            ignore_system_fonts=True,
        )
        for page in pages if isinstance(pages, list) else [pages]:
            with Image.open(io.BytesIO(page), formats=["PNG"]) as picture:
                yield picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)


def _height_mm(svg: str) -> float:
    return float(svg.split('height="', 1)[1].split("mm", 1)[0])


def _moving(pictures: "list[Image]", kind: str, milliseconds: int) -> bytes:
    file = io.BytesIO()
    first, *rest = pictures
    first.save(file, format=kind, save_all=True, append_images=rest, duration=milliseconds, loop=0)
    return file.getvalue()
