"""Shaping: what the finishing file leaves behind.

Nouns. The *envelope* is the round space that a file has cut when taken to its length: at station z
its diameter is `file.profile(z - end)`, nothing below `end`. The *shaped lumen* is the union of the
native lumen (an ellipse at each station) and the envelope (a circle about the same centreline).

    lumen = shaping.shaped(canal)                       # Lumen after the finishing file
    minor, major = shaping.shaped_widths(z, minor, major, file, end, offset)   # (d, n) from (d, n), (d,)
    shaping.untouched(canal)                            # (n,) share of the native wall not reached
    shaping.remaining_dentine(canal)                    # (n,) mm; below 0: cut through
    shaping.file_strain(canal)                          # (n,) d / (2 R)
    shaping.sequence(canal, [(file, end), ...])         # where each file cuts, what it takes
    shaping.life(canal, file)                           # turns to failure, discard count
    shaping.transportation(canal, file)                 # shift of the canal by the file's own stiffness

What it leaves out, in every function: the file runs along the centreline (no transportation, no
ledge, no zip); it cuts exactly its own diameter (no wobble, no wear).
"""

from canalwright.shaping.envelope import envelope
from canalwright.shaping.fatigue import Life, life, turns_to_failure
from canalwright.shaping.lumen import shaped, shaped_widths
from canalwright.shaping.section import union_area, untouched_share
from canalwright.shaping.sequence import Pass, sequence
from canalwright.shaping.strain import curvature, file_strain
from canalwright.shaping.transport import side_force, transport, transportation
from canalwright.shaping.wall import remaining_dentine, side_left, untouched, untouched_total

__all__ = [
    "Life",
    "Pass",
    "curvature",
    "envelope",
    "file_strain",
    "life",
    "remaining_dentine",
    "sequence",
    "shaped",
    "shaped_widths",
    "side_force",
    "side_left",
    "transport",
    "transportation",
    "turns_to_failure",
    "union_area",
    "untouched",
    "untouched_share",
    "untouched_total",
]
