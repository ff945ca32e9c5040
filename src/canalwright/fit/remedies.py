"""What would bring a plugger within 5 mm of the end where none of the tray gets there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from canalwright.anatomy.canal import Canal
from canalwright.fit.passage import Passage
from canalwright.fit.pluggers import LEAST_MARGIN, WITHIN
from canalwright.fit.reach import reach, reach_of
from canalwright.instruments import File, Plugger, Profile
from canalwright.instruments.iso3630 import SIZES, file_tolerance
from canalwright.shaping import remaining_dentine, shaped

TAPERS = (0.02, 0.04, 0.05, 0.06, 0.07, 0.08, 0.10)
ELASTIC_STRAIN = 0.08
"""Strain limit supposed for an elastic plugger: superelastic nickel-titanium (common practice)."""
THINNEST_TIP = 0.30
FROM_END = 2.0
"""The wall is judged from here up [mm above the end]: nearer the foramen it runs out by nature."""


@dataclass(frozen=True)
class Remedy:
    """One change that brings a plugger near enough.

    `kind`: 'thinner plugger', 'elastic plugger' or 'more shape'. `plugger` as it would have to be; `file` the
    finishing file that would make the room (None unless more shape). `short_of_end` [mm] is where it would then get to;
    `wall` the least dentine [mm] left from 2 mm above the end, `removed` the dentine [mm3] that goes in addition.
    """

    kind: str
    plugger: Plugger
    short_of_end: float
    file: File | None = None
    wall: float | None = None
    removed: float = 0.0

    @property
    def message(self) -> str:
        """The remedy in words."""
        if self.file is not None:
            return (
                f"finish with {self.file.name}: the plugger {self.plugger.name} then gets within "
                f"{self.short_of_end:.1f} mm of the end; least wall left {self.wall:.2f} mm"
            )
        kind = "an elastic" if self.plugger.elastic else "a stiff"
        tip = self.plugger.profile.tip
        return f"{kind} plugger with a {tip:.2f} mm tip gets within {self.short_of_end:.1f} mm of the end"


def remedies(
    canal: Canal, pluggers: Sequence[Plugger], *, within: float = WITHIN, clearance: float = 0.0,
    tapers: Sequence[float] = TAPERS, more_sizes: int = 4,
) -> tuple[Remedy, ...]:  # fmt: skip
    """The least change of each kind that brings a plugger within `within` mm of the end, `LEAST_MARGIN` to spare.

    Nominal canal only. Tips are tried in steps of 0.05 mm down to 0.30 mm; shapes over ISO sizes up to `more_sizes`
    above the present one and over `tapers`, least dentine removed first. A kind that does not help is left out, so
    the result may be empty.
    """
    if not pluggers:
        return ()
    thin = min(pluggers, key=lambda p: (p.profile.tip, p.profile.greatest))
    passage = Passage.of(canal)
    aim = canal.end + within - LEAST_MARGIN
    found = [
        _thinner(thin, passage, aim, clearance, elastic=False),
        _thinner(replace(thin, elastic=True, strain_limit=ELASTIC_STRAIN), passage, aim, clearance, elastic=True),
        _shape(canal, thin, aim, clearance, tapers, more_sizes),
    ]
    return tuple(remedy for remedy in found if remedy is not None)


def _thinner(plugger: Plugger, passage: Passage, aim: float, clearance: float, *, elastic: bool) -> Remedy | None:
    """The widest tip that gets to `aim`; an elastic plugger may keep its tip, a stiff one must lose some."""
    tip = plugger.profile.tip
    for step in range(0 if elastic else 1, 30):
        cut = 0.05 * step
        if tip - cut < THINNEST_TIP - 1e-9 and step > 0:
            return None
        profile = Profile(plugger.profile.at, tuple(d - cut for d in plugger.profile.diameter))
        got = reach(
            profile, passage, clearance=clearance, elastic=plugger.elastic, strain_limit=plugger.strain_limit,
            longest=plugger.working_length,
        )  # fmt: skip
        if got.z[0] <= aim:
            kind = "elastic plugger" if elastic else "thinner plugger"
            changed = replace(plugger, name=f"{profile.tip:.2f} mm", profile=profile)
            return Remedy(kind, changed, float(got.z[0]) - passage.end)
    return None


def _shape(
    canal: Canal, plugger: Plugger, aim: float, clearance: float, tapers: Sequence[float], more_sizes: int
) -> Remedy | None:
    now = shaped(canal).volume
    tip = canal.file.profile.tip
    taper = float(canal.file.profile(1.0)) - tip
    sizes = [s for s in SIZES if s / 100 >= tip - 1e-9][: more_sizes + 1]
    trials = []
    for size in sizes:
        for wider in (t for t in tapers if t >= taper - 1e-9):
            file = File(
                f"size {size} taper {wider:.2f}", Profile.uniform(size / 100, wider), size, file_tolerance(size)
            )
            changed = replace(canal, file=file)
            trials.append((shaped(changed).volume - now, changed))
    for removed, changed in sorted(trials, key=lambda trial: trial[0]):
        got = reach_of(plugger, Passage.of(changed), clearance=clearance)
        if removed > 1e-6 and got.z[0] <= aim:
            above = canal.native.z >= canal.end + FROM_END
            wall = float(np.min(remaining_dentine(changed)[above]))
            return Remedy("more shape", plugger, float(got.z[0]) - canal.end, changed.file, wall, removed)
    return None
