"""Heat in the root in its own shape, three dimensions: the thin side of a real root, its bone, a root beside it.

Nouns
-----
`Solid`        the root as a solid, by `from_lumen` (measurements, walls by direction), `from_surfaces` (meshes), `from_labels`,
               `from_scan_labels` (labelled scan) or `from_tooth` (tooth found in a scan).
`Voxels`       cells and tolerance: `Voxels.standard()`, `.quick()`, `.fine()`.
`SolidStory`   what happened: on the axis, on the root surface (where, when, which act), in the bone.
`Choice`       one line of the what-if table.

Functions
---------
`simulate(solid, protocol, *, ...) -> SolidStory`: the same `Protocol`, `Materials` and `Surroundings` as the (r, z) model.
`longest_safe_activation`, `shortest_safe_pause`: found by search on this root.
`doubt(solid, lumen, protocol, story, draws, ...) -> SolidDoubt`: each number with its 5-95 % interval.
`what_if(solid, protocol, ...)`, `as_text`, `as_csv`: a table of the usual choices.
`animate(story, path)`: the film as APNG or GIF; `warm_up()` compiles the kernels in the background.

See `docs/models/heat-3d.md` for equations, limits and the range in which they were checked.
"""

from canalwright.heat.solid.choices import Choice, as_csv, as_text, what_if
from canalwright.heat.solid.doubt import SolidDoubt, doubt
from canalwright.heat.solid.from_lumen import Neighbour, eccentric, from_lumen
from canalwright.heat.solid.from_scan import from_labels, from_scan_labels, from_surfaces, from_tooth
from canalwright.heat.solid.search import longest_safe_activation, shortest_safe_pause
from canalwright.heat.solid.simulation import simulate, warm_up
from canalwright.heat.solid.story import BoneHeat, SolidStory, SurfaceHeat
from canalwright.heat.solid.tissue import TISSUES, Solid
from canalwright.heat.solid.voxels import Voxels

__all__ = [
    "TISSUES", "BoneHeat", "Choice", "Neighbour", "Solid", "SolidDoubt", "SolidStory", "SurfaceHeat", "Voxels", "as_csv", "as_text",
    "doubt", "eccentric", "from_labels", "from_lumen", "from_scan_labels", "from_surfaces", "from_tooth", "longest_safe_activation",
    "shortest_safe_pause", "simulate", "warm_up", "what_if",
]  # fmt: skip
