"""A state of an open case as it is written down, and which states are of one case: those it was made from, and those made from it."""

import json
import secrets
from collections.abc import Collection, Iterable
from dataclasses import asdict, dataclass, field

KEY = 16
"""Digits of the digest of a case that it is known by."""
MOST_PAST = 200
"""Keys of earlier states that a state remembers, the newest ones."""


@dataclass(frozen=True)
class Held:
    """A state of a case: its file text, the keys that the case had before (newest last), its case of the records, where on its pages one
    was last, when it came."""

    key: str
    case: str
    past: tuple[str, ...] = ()
    record: str = ""
    last: str = ""
    made: int = 0
    name: str = field(default_factory=lambda: secrets.token_hex(8))

    @property
    def older(self) -> str:
        """Key of the state that it was made from; empty where it was opened as it is."""
        return self.past[-1] if self.past else ""

    def told(self) -> bytes:
        """As it is written down."""
        return json.dumps({k: v for k, v in asdict(self).items() if k != "name"}).encode()

    @classmethod
    def of(cls, told: bytes, name: str) -> "Held":
        """As it was written down. Raises ValueError, TypeError, KeyError for what is none."""
        said = dict(json.loads(told))
        texts = {k: str(said[k]) for k in ("key", "case", "record", "last")}
        past = said["past"] if "past" in said else filter(None, [said["older"]])  # as it was told before
        return cls(**texts, past=tuple(str(key) for key in past)[-MOST_PAST:], made=int(said["made"]), name=name)


def one_case(held: Collection[Held], cases: Collection[str], records: Collection[str]) -> set[str]:
    """Keys of all states of the cases that have one of these keys, or belong to one of these cases of the records.

    A state that belongs to another case of the records was kept there, and stays.
    """
    found = {one.key for one in held if one.key in cases or one.record in records}
    more = found
    while more:
        near = {key for one in held if one.key in more for key in one.past} | _made_from(held, more)
        theirs = {one.key for one in held if one.record and one.record not in records}
        more = near - found - theirs
        found = found | more
    return found


def _made_from(held: Iterable[Held], keys: Collection[str]) -> set[str]:
    return {one.key for one in held if not set(one.past).isdisjoint(keys)}
