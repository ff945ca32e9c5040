"""The cases that are open: each under the digest of its content.

A case never changes; an edit is another case under another key. So two windows on one case cannot overwrite each other, and a
link always shows what it showed. Nothing is written to disk here; a case whose radiographs are kept lies with them (see `films`).
"""

from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass, field

from canalwright.casefile import Case

KEY = 16
MOST = 64
MOST_STEPS = 4096
"""Changes that are remembered: which case was made from which."""


@dataclass
class Shelf:
    """Open cases by key, the one looked at last at the end; the one not looked at longest goes first when it is full."""

    most: int = MOST
    _cases: "OrderedDict[str, Case]" = field(default_factory=OrderedDict)
    _newer: dict[str, str] = field(default_factory=dict)
    _older: dict[str, str] = field(default_factory=dict)

    def put(self, case: Case, instead_of: str = "") -> str:
        """Lay a case on the shelf and give its key; the one it was made from stays open but is not listed any more."""
        key = case.digest[:KEY]
        if instead_of and instead_of != key:
            self._newer[instead_of] = key
            self._older[key] = instead_of
            if len(self._older) > MOST_STEPS:
                del self._older[next(iter(self._older))]
        self._newer = {old: new for old, new in self._newer.items() if old in self._cases and old != key}
        self._cases[key] = case
        self._cases.move_to_end(key)
        while len(self._cases) > self.most:
            self._cases.popitem(last=False)
        return key

    def get(self, key: str) -> Case | None:
        """The case of a key, or None when it is not open (any more)."""
        case = self._cases.get(key)
        if case is not None:
            self._cases.move_to_end(key)
        return case

    def drop(self, keys: Collection[str]) -> None:
        """Take cases off the shelf."""
        for key in keys:
            self._cases.pop(key, None)

    def note(self, key: str, case: str) -> None:
        """Remember which case of the records an open one is; only where records are open."""

    def came_from(self, key: str) -> str:
        """The case of the records that an open one belongs to; empty when none."""
        return ""

    def line(self, key: str) -> tuple[str, ...]:
        """A key and those of the cases that it was made from, one change after the other."""
        found = [key]
        while (before := self._older.get(found[-1], "")) and before not in found:
            found.append(before)
        return tuple(found)

    def newer(self, key: str) -> str:
        """The key of what a case was last changed into; '' where it is the latest."""
        found, seen = key, {key}
        while (after := self._newer.get(found, "")) in self._cases and after not in seen:
            found = after
            seen.add(found)
        return found if found != key else ""

    def listed(self) -> tuple[tuple[str, Case], ...]:
        """Key and case of each, the one looked at last first."""
        return tuple((k, case) for k, case in reversed(self._cases.items()) if k not in self._newer)
