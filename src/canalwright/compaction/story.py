"""The whole protocol played through: `simulate` and `simulate_many`."""

from collections.abc import Mapping, Sequence
from typing import Protocol as Shape

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen, Portal
from canalwright.compaction.geometry import mouths, sections
from canalwright.compaction.materials import portal_diameters, table
from canalwright.compaction.player import Player
from canalwright.compaction.result import CompactionStory
from canalwright.compaction.state import empty
from canalwright.protocol import Place, Protocol
from canalwright.quantities import Reading, Sample

Array = NDArray[np.float64]


class Temperatures(Shape):
    """What is needed of a heat story: `time` (t,), `z` (n,), `axis` and `surface` (t, n) deg C."""

    @property
    def time(self) -> Array: ...  # noqa: D102
    @property
    def z(self) -> Array: ...  # noqa: D102
    @property
    def axis(self) -> Array: ...  # noqa: D102
    @property
    def surface(self) -> Array: ...  # noqa: D102


def simulate(
    lumen: Lumen,
    canal_portals: Sequence[Portal],
    protocol: Protocol,
    heat_story: Temperatures,
    *,
    materials: Mapping[str, Reading] | None = None,
    foramen: float | None = None,
    film: float = 0.03,
    sealed: bool = True,
) -> CompactionStory:
    """Play `protocol` in the shaped `lumen` with the temperatures of `heat_story`; nominal values only.

    `materials` are readings as from `compaction.readings` (defaults otherwise); `foramen` the width of the terminus
    [mm] (the lumen's least width there otherwise); `film` the least sealer film [mm]; `sealed` False leaves
    sealer out. Raises ValueError for a protocol that does not begin with `Place` or for portals outside the lumen.
    """
    return _play([lumen], canal_portals, protocol, [heat_story], materials or {}, foramen, film, sealed)


def simulate_many(
    lumen: Lumen | Sequence[Lumen],
    canal_portals: Sequence[Portal],
    protocol: Protocol,
    heat_story: Temperatures | Sequence[Temperatures],
    sample: Sample,
    *,
    foramen: float | None = None,
    film: float = 0.03,
    sealed: bool = True,
) -> CompactionStory:
    """The same for every draw of `sample` at once; one lumen and one heat story for all, or one a draw.

    Readings that the sample lacks keep their nominal value. Raises ValueError when the counts differ.
    """
    lumens = [lumen] if isinstance(lumen, Lumen) else list(lumen)
    stories = list(heat_story) if isinstance(heat_story, Sequence) else [heat_story]
    for name, many in (("lumens", lumens), ("heat stories", stories)):
        if len(many) not in (1, sample.size):
            raise ValueError(f"{len(many)} {name} for {sample.size} draws: give one, or one a draw")
    return _play(lumens, canal_portals, protocol, stories, sample, foramen, film, sealed)


def _play(
    lumens: Sequence[Lumen],
    portals: Sequence[Portal],
    protocol: Protocol,
    stories: Sequence[Temperatures],
    source: Sample | Mapping[str, Reading],
    foramen: float | None,
    film: float,
    sealed: bool,
) -> CompactionStory:
    if not protocol.acts or not isinstance(protocol.acts[0], Place):
        raise ValueError("compaction needs a protocol that begins with placing the cone")
    cut = sections(lumens)
    where = mouths(portals, portal_diameters(source, portals), cut, protocol.acts[0], foramen)
    axis, surface = _temperatures(stories, cut.z, "axis"), _temperatures(stories, cut.z, "surface")
    time = np.ascontiguousarray(stories[0].time)
    state = empty(cut, where, table(source), float(min(axis[0, 0].min(), 37.0)), film)
    return Player(state, time, axis, surface, protocol, tuple(portals), sealed).play()


def _temperatures(stories: Sequence[Temperatures], z: Array, name: str) -> Array:
    """Temperatures on the lumen's stations, shape (h, t, n)."""
    found = []
    for story in stories:
        values = getattr(story, name)
        same = len(story.z) == len(z) and np.allclose(story.z, z)
        laid = values if same else np.array([np.interp(z, story.z, row) for row in values])
        found.append(np.where(np.isfinite(laid), laid, 37.0))
    return np.ascontiguousarray(np.stack(found))
