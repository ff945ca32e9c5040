"""Shape: what each finishing size and taper lets in, and what it costs in dentine.

For every file that could finish the canal: how near the end the deepest plugger and the irrigation needle come
(`fit.reaches`), the least dentine left above the apical 3 mm (`shaping`, transportation taken off), the wall left
untouched, the strain and life of the file. Intervals from the draws of `Canal.errors`. A file that no other beats in all of
plugger reach, needle reach and dentine lies on the trade-off curve; there is no best one. Left out: forces, what the
sealer and the filling need (see planning), and that a file of another taper cuts where the one used before did not.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from canalwright import fit, shaping
from canalwright.anatomy import Canal, furcation_side, native_widths, walls
from canalwright.anatomy.measurements import iso_file
from canalwright.fit import Passage
from canalwright.instruments import File, Needle, Plugger, Tray
from canalwright.quantities import Quantity, Reading, Sample, Shape, draw
from canalwright.shaping.envelope import envelope
from canalwright.shaping.transport import FACTOR, MOST
from canalwright.shaping.wall import thinned

PLUGGER_WITHIN, PLUGGER_NEAREST, APICAL = 5.0, 4.0, 3.0
"""A plugger should come within 5 mm of the end, nearer than 4 mm is no gain; the last 3 mm of a root are thin in any
tooth (common practice)."""
SIZES, TAPERS = (25, 30, 35, 40, 45, 50), (0.02, 0.04, 0.06)
DRAWS, SEED = 128, 20


@dataclass(frozen=True)
class ShapeOption:
    """One finishing file and what it brings and costs.

    `plugger_short`, `needle_short`: distance [mm] from the end to the deepest plugger and irrigation needle (None where the
    tray has none). `dentine`: least left [mm] at level `thin_at`. `untouched`: share of the native wall. `on_curve`: no other
    option is as good in all of the three. `cuts_all_round`: the file reaches the whole native outline at the end. `furcation`:
    least dentine [mm] towards `furcation_side`, at level `furcation_at`, the canal moved towards it by the file's own stiffness; None where
    the wall is not known by side.
    """

    file: File
    plugger_short: Quantity | None
    plugger: str
    needle_short: Quantity | None
    needle: str
    dentine: Quantity
    thin_at: float
    untouched: Quantity
    life: shaping.Life
    cuts_all_round: bool
    furcation: Quantity | None = None
    furcation_side: str = ""
    furcation_at: float = 0.0
    on_curve: bool = False

    @property
    def admits(self) -> bool:
        """True where a plugger comes within 5 mm of the end."""
        return self.plugger_short is not None and self.plugger_short.value <= PLUGGER_WITHIN


@dataclass(frozen=True)
class TradeOff:
    """All options, by size and taper; `present` is the finishing file of the canal as it stands."""

    options: tuple[ShapeOption, ...]
    present: ShapeOption

    @property
    def curve(self) -> tuple[ShapeOption, ...]:
        """The options that no other beats, most dentine first."""
        return tuple(sorted((o for o in self.options if o.on_curve), key=lambda o: -o.dentine.value))

    @property
    def smallest(self) -> ShapeOption | None:
        """Of those that let a plugger within 5 mm of the end, the one that leaves most dentine; None where none does."""
        good = [o for o in self.options if o.admits]
        return max(good, key=lambda o: o.dentine.value, default=None)


def trade_off(
    canal: Canal, tray: Tray, files: Sequence[File] | None = None, *, draws: int = DRAWS, seed: int = SEED
) -> TradeOff:
    """The trade-off over `files`: the tray's without them, and ISO sizes 25 to 50 of taper 0.02 to 0.06 where it has none.

    Files narrower at their tip than the native canal at the end of the preparation are left out: they would not touch it.
    """
    offered = files if files is not None else tray.files or tuple(iso_files())
    native = float(np.interp(canal.end, canal.native.z, canal.native.minor))
    wider = [f for f in offered if f.profile.tip >= native - 1e-9]
    sample = draw(_readings(canal), draws, seed)
    options = [shape_option(canal, tray, f, sample) for f in wider]
    present = shape_option(canal, tray, canal.file, sample)
    everything = [*options, present]
    marked = tuple(replace(o, on_curve=not any(_beats(p, o) for p in everything)) for o in options)
    return TradeOff(marked, replace(present, on_curve=not any(_beats(o, present) for o in options)))


def shape_option(canal: Canal, tray: Tray, file: File, sample: Sample | None = None) -> ShapeOption:
    """One file's option; `sample` holds draws of `Canal.errors` (made here without it)."""
    sample = sample or draw(_readings(canal), DRAWS, SEED)
    shaped = replace(canal, file=file)
    passage = Passage.draws(shaped, sample)
    plugger = _deepest(tray.pluggers, passage, sample)
    needle = _deepest([n for n in tray.needles if n.purpose == "irrigation"], passage, sample)
    dentine, at = _dentine(shaped, sample)
    end = int(np.searchsorted(canal.native.z, canal.end - 1e-9))
    furcation, side, level = _furcation(shaped, sample)
    return ShapeOption(
        file=file,
        plugger_short=plugger[1],
        plugger=plugger[0],
        needle_short=needle[1],
        needle=needle[0],
        dentine=dentine,
        thin_at=at,
        untouched=_untouched(shaped, sample),
        life=shaping.life(shaped, file),
        cuts_all_round=bool(file.profile.tip >= canal.native.major[end]),
        furcation=furcation,
        furcation_side=side,
        furcation_at=level,
    )


def iso_files() -> list[File]:
    """Finishing files of ISO sizes 25 to 50 and tapers 0.02 to 0.06."""
    return [iso_file(size, taper) for size in SIZES for taper in TAPERS]


def _deepest(
    tools: Sequence[Plugger] | Sequence[Needle], passage: Passage, sample: Sample
) -> tuple[str, Quantity | None]:
    """Name of the tool that comes nearest to the end, and how near [mm]."""
    if not tools:
        return "", None
    found = fit.reaches(tools, passage, sample["tool"])
    best = min(range(len(tools)), key=lambda i: (round(float(found[i].z[0]), 2), -_tip(tools[i])))
    return tools[best].name, sample.summarise(np.maximum(found[best].z - passage.end, 0.0), "mm")


def _tip(tool: Plugger | Needle) -> float:
    return tool.outside if isinstance(tool, Needle) else tool.profile.tip


def _dentine(canal: Canal, sample: Sample) -> tuple[Quantity, float]:
    """Least dentine above the apical 3 mm, transportation towards the thin side taken off, and where."""
    native = canal.native
    body = (native.z >= canal.end + APICAL) & (native.z <= canal.orifice + 1e-9)
    if not body.any():
        body = native.z >= canal.end
    minor, _ = native_widths(canal, sample)
    cut = envelope(canal.file, native.z, canal.end, sample["file"])
    left = thinned(walls(canal, sample), minor, cut)[:, body]
    moved = np.minimum(shaping.transportation(canal).value * sample["transport"], MOST)
    least = left.min(axis=1) - moved
    return sample.summarise(least, "mm"), float(native.z[body][int(np.argmin(left[0]))])


def _furcation(canal: Canal, sample: Sample) -> tuple[Quantity | None, str, float]:
    """Least dentine towards the furcation where the wall was measured on that side, the side, and where."""
    side = furcation_side(canal.tooth, canal.name)
    known = next((w for w in canal.sides if w.side == side), None)
    native = canal.native
    if known is None:
        return None, side, 0.0
    body = known.covers(native.z) & (native.z >= canal.end)
    if not body.any():
        return None, side, 0.0
    minor, major = native_widths(canal, sample)
    cut = envelope(canal.file, native.z, canal.end, sample["file"])
    moved = np.minimum(shaping.transportation(canal).value * sample["transport"], MOST)
    doubt = walls(canal, sample) - native.wall
    left = (shaping.side_left(canal, known, minor, major, cut, moved[:, None]) + doubt)[:, body]
    return sample.summarise(left.min(axis=1), "mm"), side, float(native.z[body][int(np.argmin(left[0]))])


def _untouched(canal: Canal, sample: Sample) -> Quantity:
    """Share of the native wall's area that the file does not reach, as `shaping.untouched_total`, in every draw."""
    native = canal.native
    inside = (native.z >= canal.end - 1e-9) & (native.z <= canal.orifice + 1e-9)
    minor, major = (w[:, inside] for w in native_widths(canal, sample))
    cut = envelope(canal.file, native.z[inside], canal.end, sample["file"])
    around = minor + major
    return sample.summarise(
        np.sum(shaping.untouched_share(minor, major, cut) * around, axis=1) / around.sum(axis=1), ""
    )


def _readings(canal: Canal) -> dict[str, Reading]:
    found = {k: v for k, v in canal.errors.items() if k in ("width", "wall", "curve", "file", "length")}
    found.setdefault("file", Reading(0.0, canal.file.tolerance, "mm", shape=Shape.UNIFORM))
    found["tool"] = Reading(0.0, 1.0, "of the tolerance", shape=Shape.UNIFORM)
    found["transport"] = Reading(1.0, float(np.log(FACTOR) / 1.645), "", shape=Shape.LOGNORMAL)
    return found


def _beats(one: ShapeOption, other: ShapeOption) -> bool:
    """True where `one` is as good in reach and dentine, and better in one of them."""

    def values(o: ShapeOption) -> list[float]:
        plugger, needle = (q.value if q is not None else 99.0 for q in (o.plugger_short, o.needle_short))
        short = [max(plugger, PLUGGER_NEAREST), needle]
        # Differences under 0.05 mm are no differences.
        return [round(v / 0.05) for v in (*short, -o.dentine.value)]

    a, b = values(one), values(other)
    return all(x <= y for x, y in zip(a, b, strict=True)) and a != b
