"""What can happen, as events that are never rewritten."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from enum import StrEnum

from canalwright.records.canonical import Json
from canalwright.records.moments import moment


class Kind(StrEnum):
    """Kinds of event. Those of a person are sealed under the key of the person and go with it."""

    CASE = "case"
    MEASUREMENT = "measurement"
    PLAN = "plan"
    CHAIR = "chair"
    CHECK = "check"
    SCHEDULE = "schedule"
    RECALL = "recall"
    IMAGE = "image"
    NOTE = "note"
    CORRECTION = "correction"
    CLOSE = "close"
    IDENTITY = "identity"
    EXPORT = "export"
    HOLD = "hold"
    ERASE = "erase"
    UPGRADE = "upgrade"
    RESTORE = "restore"

    @property
    def of_store(self) -> bool:
        """True for what must stay readable when the person is gone."""
        return self in (Kind.ERASE, Kind.UPGRADE, Kind.RESTORE)

    @property
    def of_user(self) -> bool:
        """True for what a user may record in a case directly; the rest comes from acts of their own."""
        return self in (
            Kind.MEASUREMENT, Kind.PLAN, Kind.CHAIR, Kind.CHECK, Kind.SCHEDULE,
            Kind.RECALL, Kind.NOTE, Kind.CLOSE,
        )  # fmt: skip


@dataclass(frozen=True)
class Origin:
    """Where an imported event came from: records, case and number there, when and by whom it was first recorded."""

    store: str
    case: str
    seq: int
    time: str
    author: str
    hash: str

    def as_json(self) -> dict[str, Json]:
        """As JSON types."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, Json]) -> "Origin":
        """From JSON types. Raises KeyError, TypeError, ValueError."""
        seq = data["seq"]
        if not isinstance(seq, int):
            raise TypeError("seq")
        store, case, time, author, known = (str(data[k]) for k in ("store", "case", "time", "author", "hash"))
        moment(time)
        return cls(store, case, seq, time, author, known)


@dataclass(frozen=True)
class Entry:
    """An event before it is recorded. `patient` and `case` are empty for events of the store itself."""

    kind: Kind
    payload: Mapping[str, object]
    author: str
    patient: str = ""
    case: str = ""
    origin: Origin | None = None


@dataclass(frozen=True)
class Event:
    """An event as recorded.

    `seq` counts up by one without a gap; `time` is what the clock said (UTC); `behind` how many seconds the clock
    stood behind the latest time recorded before (0 unless it was set back): order by `seq`, never by `time`.
    `payload` is None when the person's data was erased.
    """

    seq: int
    time: datetime
    author: str
    kind: Kind
    patient: str
    case: str
    behind: float
    payload: dict[str, Json] | None
    hash: str
    origin: Origin | None = None

    @property
    def happened(self) -> datetime:
        """When it was first recorded, here or, for an imported event, where it came from."""
        return moment(self.origin.time) if self.origin else self.time

    def field(self, *path: str) -> Json:
        """A value inside the payload by its path of keys; None where there is none."""
        value: Json = self.payload
        for key in path:
            value = value.get(key) if isinstance(value, dict) else None
        return value
