"""What is found at a recall.

Periapical index: Ørstavik, Kerekes & Eriksen 1986, Endod Dent Traumatol 2:20-34, 1 (healthy) to 5 (severe), for each
root and each reader. A tooth takes its worst root (Trope, Delano & Ørstavik 1999, J Endod 25(5); rule from memory).
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from datetime import date
from types import MappingProxyType

from canalwright.records.errors import BadEntry
from canalwright.records.moments import day

SIGNS = ("sinus tract", "swelling", "tender to palpation", "mobility", "deep pocket")
SYMPTOMS = ("spontaneous pain", "pain on biting", "pain to heat or cold", "discomfort")
LESIONS = ("", "none", "smaller", "same", "larger", "new")
LOSSES = ("", "endodontic", "fracture", "caries", "periodontal", "restorative plan", "unknown")
Index = Mapping[str, Mapping[str, int]]
NOTHING: Index = MappingProxyType({})


@dataclass(frozen=True)
class Visit:
    """One recall.

    `index`: root -> reader -> 1 to 5; `agreed`: root -> the grade that two readers agreed on afterwards. `percussion`:
    tender or not, None when not tested. `lesion`: change against the film before, in words. `restoration`: a permanent
    one is there, None when not looked at. `lost`: why the tooth is gone, empty while it stands. `images`: their ids.
    `blind`: a second reader shall grade without seeing the first's grades.
    """

    on: date
    signs: tuple[str, ...] = ()
    symptoms: tuple[str, ...] = ()
    percussion: bool | None = None
    index: Index = field(default_factory=dict)
    agreed: Mapping[str, int] = field(default_factory=dict)
    lesion: str = ""
    restoration: bool | None = None
    restoration_sound: bool | None = None
    lost: str = ""
    images: tuple[str, ...] = ()
    note: str = ""
    blind: bool = False

    def __post_init__(self) -> None:
        _among("sign", self.signs, SIGNS)
        _among("symptom", self.symptoms, SYMPTOMS)
        _among("lesion", (self.lesion,), LESIONS)
        _among("reason of loss", (self.lost,), LOSSES)
        grades = [g for readers in self.index.values() for g in readers.values()] + list(self.agreed.values())
        if any(type(g) is not int or not 1 <= g <= 5 for g in grades):
            raise BadEntry("the periapical index is a whole number from 1 (healthy) to 5 (severe)")
        if self.blind and not self.index:
            raise BadEntry("a blind second reading needs a first one: grade the film")
        if set(self.agreed) - set(self.index):
            raise BadEntry("an agreed index needs the readings it was agreed from")

    def grade(self, root: str) -> int:
        """Index of one root: the agreed one, else the worse of the readings."""
        return self.agreed.get(root) or max(self.index[root].values())

    @property
    def awaits(self) -> str:
        """Who read first, while a blind second reading is awaited; empty otherwise."""
        readers = {reader for each in self.index.values() for reader in each}
        return next(iter(readers)) if self.blind and len(readers) == 1 else ""

    @property
    def worst(self) -> int | None:
        """Index of the tooth, that of its worst root; None when no film was read."""
        return max((self.grade(root) for root, readers in self.index.items() if readers), default=None)

    @property
    def clean(self) -> bool:
        """No sign, no symptom, not tender to percussion."""
        return not (self.signs or self.symptoms or self.percussion)

    def as_json(self) -> dict[str, object]:
        """As the payload of a recall event."""
        data = asdict(self)
        if not self.blind:
            del data["blind"]
        return {**data, "on": self.on.isoformat(), **{k: list(data[k]) for k in ("signs", "symptoms", "images")}}

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> "Visit":
        """From the payload of a recall event. Raises BadEntry with what is wrong."""
        unknown = set(data) - {f.name for f in fields(cls)}
        if unknown:
            raise BadEntry(f"a recall knows no {', '.join(sorted(unknown))}")
        given = dict(data)
        try:
            given["on"] = day(given.get("on"), "date of the recall")
            for name in ("signs", "symptoms", "images"):
                given[name] = tuple(_texts(given.get(name, ())))
            for name in ("percussion", "restoration", "restoration_sound"):
                if given.get(name) not in (True, False, None):
                    raise BadEntry(f"{name} is true, false or null")
            if given.get("blind", False) not in (True, False):
                raise BadEntry("blind is true or false")
            given["index"] = {
                str(root): dict(_object(readers)) for root, readers in _object(given.get("index", {})).items()
            }
            given["agreed"] = dict(_object(given.get("agreed", {})))
            return cls(**given)  # type: ignore[arg-type]
        except (TypeError, AttributeError) as error:
            raise BadEntry(f"this recall cannot be read: {error}") from None


def _among(what: str, given: tuple[str, ...], known: tuple[str, ...]) -> None:
    for word in given:
        if word not in known:
            raise BadEntry(f"{what} {word!r} is not one of: {', '.join(k for k in known if k)}")


def _texts(value: object) -> list[str]:
    if not isinstance(value, list | tuple) or not all(isinstance(v, str) for v in value):
        raise BadEntry(f"expected a list of words, not {value!r}")
    return list(value)


def _object(value: object) -> Mapping[str, int]:
    if not isinstance(value, Mapping):
        raise BadEntry(f"expected an object, not {value!r}")
    return value
