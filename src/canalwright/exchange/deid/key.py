"""The secret behind new UIDs, pseudonyms and shifted dates.

With it the same input gives the same output; without it none leads back.
"""

import hmac
import os
import re
import secrets
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from pydicom.uid import UID

from canalwright.exchange.errors import ExchangeError

LEAST, MOST = 30, 1500
"""Days by which dates are shifted into the past, at least and at most."""


@dataclass(frozen=True)
class Key:
    """32 random bytes. UIDs become `2.25.<128 bits>` by HMAC-SHA-256, so that references within and between files stay right."""

    secret: bytes

    @classmethod
    def fresh(cls) -> "Key":
        """A key that nobody will know again: later runs cannot be linked with this one."""
        return cls(secrets.token_bytes(32))

    @classmethod
    def of_file(cls, path: Path) -> "Key":
        """The key in a file; a file that does not exist is made, readable by its owner only. Raises ExchangeError, OSError."""
        if path.exists():
            found = path.read_bytes()
            if len(found) != 32:
                raise ExchangeError(
                    f"{path.name}: {len(found)} bytes; a key has 32: name the right file, or one that does not exist yet"
                )
            return cls(found)
        made = cls.fresh()
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(made.secret)
        return made

    def uid(self, old: str) -> UID:
        """The UID that takes the place of another; the same for the same."""
        value = bytearray(self._mac("uid", old.strip("\0 "))[:16])
        value[6] = (value[6] & 0x0F) | 0x80  # a UUID of version 8, variant 1: made by an own rule
        value[8] = (value[8] & 0x3F) | 0x80
        return UID(f"2.25.{int.from_bytes(value, 'big')}")

    def pseudonym(self, patient: str) -> str:
        """A pseudonym for a patient's number."""
        return f"D-{self._mac('patient', patient.strip())[:5].hex().upper()}"

    def shift(self, patient: str) -> timedelta:
        """How far back the dates of a patient go, whole days."""
        days = int.from_bytes(self._mac("days", patient.strip())[:4], "big")
        return timedelta(days=LEAST + days % (MOST - LEAST))

    def _mac(self, what: str, text: str) -> bytes:
        return hmac.digest(self.secret, f"{what} {text}".encode("utf-8", "surrogateescape"), "sha256")


@dataclass(frozen=True)
class Options:
    """`pseudonym` for all files (one patient); empty: one is made for each. `shift_dates` keeps the time between visits."""

    pseudonym: str = ""
    shift_dates: bool = False

    def __post_init__(self) -> None:
        if self.pseudonym and not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,31}", self.pseudonym):
            raise ExchangeError(
                f"pseudonym {self.pseudonym[:40]!r}: 1 to 32 letters, digits, dots, dashes; choose another"
            )


def shifted_date(text: str, by: timedelta) -> str:
    """A DA or DT value moved back; empty where it is no date. Hours and smaller stay, a zone offset goes."""
    match = re.fullmatch(r"(\d{4})(\d{2})(\d{2})(\d{0,6}(?:\.\d{1,6})?)(?:[+-]\d{4})?", text.strip())
    if not match:
        return ""
    try:
        day = date(*(int(part) for part in match.groups()[:3])) - by
    except (ValueError, OverflowError):
        return ""
    return f"{day:%Y%m%d}{match[4]}"
