"""Length: what every measurement says together of apex, foramen and constriction.

Unknowns: the length to the apex (the radiographic terminus), the distance from apex to foramen, that from
foramen to constriction, and one shared error for each device used. Readings as in `normal`. The length to the apex
starts from the tooth's average, wide; the two distances from published ones by tooth and age. Leaves out: that a
distance cannot be less than 0 (the normal prior lets 3 to 10 % through), and blunders: those show as disagreement.

Disagreement is a finding. Where the readings cannot all be right (chance under 5 %) they are not averaged: the result holds
the groups that agree within themselves, each with its own length, and the interval takes in all of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from canalwright.anatomy import Tooth, averages
from canalwright.quantities import Origin, Quantity, Reading, Source
from canalwright.readiness.methods import Landmark, Method, apex_to_foramen, foramen_to_constriction, method
from canalwright.readiness.normal import UNKNOWN, Array, Model

LIKELY = 0.05
"""Chance by measuring error alone below which readings count as disagreeing."""
Z90 = 1.6448536269514722
_SEEN = {Landmark.APEX: (1.0, 0.0, 0.0), Landmark.FORAMEN: (1.0, -1.0, 0.0), Landmark.CONSTRICTION: (1.0, -1.0, -1.0)}


@dataclass(frozen=True, slots=True)
class Sounding:
    """One measurement of the length from the reference point, mm, by a method of `methods.toml`.

    `error` (one standard deviation) and `bias` (reading less truth) replace the method's own where a better figure is
    known: a locator's own study, a radiograph's own geometry. `sees` replaces the landmark.
    """

    method: str
    value: float
    error: float | None = None
    bias: float | None = None
    sees: Landmark | None = None

    @property
    def known(self) -> Method:
        """The method with what this sounding replaces; raises ValueError for a method that there is not."""
        found = method(self.method)
        if self.error is not None:
            if not 0 < self.error < 5:
                raise ValueError(f"{self.method}: error {self.error} mm, allowed more than 0 and less than 5 mm")
            part = self.error / found.error
            found = replace(found, shared=found.shared * part, own=found.own * part, source=Source(Origin.MEASURED))
        if self.bias is not None:
            found = replace(found, bias=self.bias)
        return replace(found, sees=self.sees or found.sees)


def film_sounding(length: Quantity) -> Sounding:
    """A length measured on a radiograph (`imaging.radiograph.Scale.length`) as a sounding.

    Its error is that of the marks and the scale, but never less than the published one of corrected films: that the apex is
    hard to see is in no scale.
    """
    spread = (length.high - length.low) / 2 / Z90
    return Sounding("radiograph", length.value, error=max(spread, method("radiograph").error))


@dataclass(frozen=True, slots=True)
class Odd:
    """A sounding that the others do not bear out: by how many standard deviations, and how much in mm."""

    sounding: Sounding
    deviation: float
    apart: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """Soundings that agree among themselves, and the three lengths that they give."""

    soundings: tuple[Sounding, ...]
    constriction: Quantity
    foramen: Quantity
    apex: Quantity


@dataclass(frozen=True)
class Length:
    """Lengths [mm] from the reference point to constriction, foramen and apex, each with its 5-95 % interval.

    `chance`: that measuring error alone makes the soundings differ as much. Where they disagree (`agrees` false) the
    values are those of the first of `candidates`, the intervals take in all of them, and `odd` names what stands out.
    """

    tooth: Tooth
    age: float | None
    soundings: tuple[Sounding, ...]
    constriction: Quantity
    foramen: Quantity
    apex: Quantity
    chi_square: float
    freedom: int
    chance: float
    candidates: tuple[Candidate, ...]
    odd: tuple[Odd, ...] = ()

    @property
    def agrees(self) -> bool:
        """True where measuring error alone explains the differences."""
        return self.chance >= LIKELY

    def at(self, landmark: Landmark) -> Quantity:
        """The length to a landmark."""
        return {
            Landmark.CONSTRICTION: self.constriction,
            Landmark.FORAMEN: self.foramen,
            Landmark.APEX: self.apex,
        }[landmark]

    def reading(self, landmark: Landmark = Landmark.APEX) -> Reading:
        """The length to a landmark as an input for a canal; its error covers the interval."""
        found = self.at(landmark)
        error = max(found.high - found.value, found.value - found.low) / Z90
        names = ", ".join(dict.fromkeys(s.method for s in self.soundings))
        return Reading(found.value, error, "mm", Source(Origin.MEASURED, f"combined: {names}"))


def combine(soundings: Sequence[Sounding], tooth: Tooth, age: float | None = None) -> Length:
    """One length from all soundings; raises ValueError for none, for an impossible length or age, an unknown method."""
    soundings = tuple(soundings)
    _check(soundings, age)
    model = model_of(soundings, tooth, age)
    found, freedom, chance = _flat(model).disagreement()
    groups = (soundings,) if chance >= LIKELY else tuple(_groups(soundings, tooth, age))
    candidates = tuple(_candidate(group, tooth, age) for group in groups)
    odd = () if chance >= LIKELY else _odd(model, soundings)
    constriction, foramen, apex = (
        _hull([getattr(c, name) for c in candidates]) for name in ("constriction", "foramen", "apex")
    )
    return Length(tooth, age, soundings, constriction, foramen, apex, found, freedom, chance, candidates, odd)


def model_of(soundings: Sequence[Sounding], tooth: Tooth, age: float | None) -> Model:
    """The linear model: unknowns are the apex, the two distances, then the shared error of each device, in its own spreads."""
    usual, foramen, tight = averages.tooth_averages(tooth), apex_to_foramen(tooth), foramen_to_constriction(age)
    spread = float(np.hypot(usual.crown.spread, usual.root.spread))
    names = shared_names(soundings)
    known = [s.known for s in soundings]
    rows = np.array([row_of(k, names) for k in known])
    return Model(
        mean=np.array([usual.length, foramen.value, tight.value, *np.zeros(len(names))]),
        variance=np.array([spread, foramen.spread, tight.spread, *np.ones(len(names))]) ** 2,
        rows=rows,
        values=np.array([s.value - k.bias for s, k in zip(soundings, known, strict=True)]),
        noise=np.array([k.own for k in known]) ** 2,
    )


def shared_names(soundings: Sequence[Sounding]) -> tuple[str, ...]:
    """Devices whose shared error is an unknown, in the order in which they come."""
    return tuple(dict.fromkeys(s.known.device for s in soundings))


def row_of(known: Method, names: Sequence[str]) -> list[float]:
    """What one reading sees of the unknowns."""
    return [*_SEEN[known.sees], *(known.shared if n == known.device else 0.0 for n in names)]


def combination(landmark: Landmark, size: int) -> Array:
    """The unknowns that make up the length to a landmark, shape (size,)."""
    return np.array([*_SEEN[landmark], *np.zeros(size - 3)])


def _candidate(soundings: tuple[Sounding, ...], tooth: Tooth, age: float | None) -> Candidate:
    model = model_of(soundings, tooth, age)
    lengths = {landmark: _quantity(model, landmark, soundings) for landmark in Landmark}
    return Candidate(
        soundings, lengths[Landmark.CONSTRICTION], lengths[Landmark.FORAMEN], lengths[Landmark.APEX]
    )  # fmt: skip


def _quantity(model: Model, landmark: Landmark, soundings: tuple[Sounding, ...]) -> Quantity:
    of = combination(landmark, len(model.mean))
    mean, covariance = model.posterior()
    value, half = float(of @ mean), Z90 * float(np.sqrt(of @ covariance @ of))
    prior, noise = model.shares(of)
    parts = dict(zip(("average tooth", "apex to foramen", "foramen to constriction"), prior[:3], strict=True))
    for name, share in zip(shared_names(soundings), prior[3:], strict=True):
        parts[name] = float(share)
    for sounding, share in zip(soundings, noise, strict=True):
        parts[sounding.known.device] = parts.get(sounding.known.device, 0.0) + float(share)
    leading = max(parts, key=lambda name: parts[name])
    source = Source(Origin.COMPUTED, "all soundings combined")
    return Quantity(value, value - half, value + half, "mm", source, float(prior[:3].sum()), leading)


def _flat(model: Model) -> Model:
    """The same with nothing known of the length beforehand: readings are to agree with each other."""
    variance = model.variance.copy()
    variance[0] = UNKNOWN
    # Near the answer, or the subtraction of large squares costs digits.
    mean = model.mean.copy()
    mean[0] = float(np.mean(model.values))
    return replace(model, variance=variance, mean=mean)


def _odd(model: Model, soundings: tuple[Sounding, ...]) -> tuple[Odd, ...]:
    flat = _flat(model)
    found = []
    for i, sounding in enumerate(soundings):
        mean, _ = flat.without(i).posterior()
        apart = float(flat.values[i] - flat.rows[i] @ mean)
        found.append(Odd(sounding, flat.deviation(i), apart))
    return tuple(sorted((o for o in found if abs(o.deviation) > Z90), key=lambda o: -abs(o.deviation)))


def _groups(soundings: tuple[Sounding, ...], tooth: Tooth, age: float | None) -> list[tuple[Sounding, ...]]:
    """Groups that agree: take out what stands out most until the rest agrees; then the same with what was taken out."""
    left, groups = soundings, []
    while left:
        group, out = list(left), []
        while len(group) > 1:
            model = _flat(model_of(group, tooth, age))
            if model.disagreement()[2] >= LIKELY:
                break
            # Of two that stand out alike the less exact one goes.
            worst = max(range(len(group)), key=lambda i: (round(abs(model.deviation(i)), 6), group[i].known.error))
            out.append(group.pop(worst))
        groups.append(tuple(group))
        left = tuple(s for s in left if s in out)
    return sorted(groups, key=lambda g: (-len(g), sum(s.known.error for s in g)))


def _hull(found: list[Quantity]) -> Quantity:
    first = found[0]
    return replace(first, low=min(q.low for q in found), high=max(q.high for q in found))


def _check(soundings: tuple[Sounding, ...], age: float | None) -> None:
    if not soundings:
        raise ValueError("no measurement of the length: give at least one, such as an apex locator's")
    if len(soundings) > 60:
        raise ValueError(f"{len(soundings)} measurements of one length, allowed 60: leave the repeats out")
    for sounding in soundings:
        if not 8 <= sounding.value <= 42:
            raise ValueError(f"{sounding.method}: {sounding.value} mm, allowed 8 to 42 mm from the reference point")
        _ = sounding.known
    if age is not None and not 5 <= age <= 120:
        raise ValueError(f"age {age}, allowed 5 to 120 years, or leave it out")
