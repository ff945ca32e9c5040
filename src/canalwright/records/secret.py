"""What opens the records: a passphrase that somebody knows, or a random secret kept by the system's keyring."""

import secrets
import unicodedata
from dataclasses import dataclass, field
from typing import Protocol

from canalwright.records.errors import RecordsError, WrongPassphrase

LEAST_LENGTH = 12


class Secret(Protocol):
    """Something that yields the bytes from which the key that wraps all others is derived."""

    def reveal(self) -> bytes:
        """The secret as bytes. Raises WrongPassphrase when there is none."""
        ...


@dataclass(frozen=True)
class Passphrase:
    """A passphrase, read the same whichever keyboard composed its letters (Unicode NFKC)."""

    text: str = field(repr=False)

    def reveal(self) -> bytes:
        """The passphrase in NFKC, UTF-8. Raises WrongPassphrase when it is empty."""
        if not self.text:
            raise WrongPassphrase("the passphrase is empty: give the one with which the records were made")
        return unicodedata.normalize("NFKC", self.text).encode()


@dataclass(frozen=True)
class SystemKeyring:
    """A random 256-bit secret in the keyring of the operating system, under `service` and `name`.

    It is made when records are created (`make`); whoever may use the keyring may open the records, and whoever loses
    the keyring loses them: keep a backup whose passphrase is known.
    """

    name: str = "records"
    service: str = "canalwright"

    def make(self) -> "SystemKeyring":
        """Put a fresh secret into the keyring; an existing one stays as it is."""
        import keyring

        if keyring.get_password(self.service, self.name) is None:
            keyring.set_password(self.service, self.name, secrets.token_urlsafe(32))
        return self

    def reveal(self) -> bytes:
        """The secret. Raises WrongPassphrase when the keyring has none, RecordsError when there is no keyring."""
        import keyring
        from keyring.errors import KeyringError

        try:
            found = keyring.get_password(self.service, self.name)
        except KeyringError as error:
            raise RecordsError(f"the system keyring does not answer ({error}): use a passphrase instead") from None
        if found is None:
            raise WrongPassphrase(f"the system keyring holds no secret {self.service}/{self.name} for these records")
        return found.encode()


def strong_enough(text: str, *words: str) -> str:
    """Why a passphrase or password should not be used; an empty text when it may.

    At least 12 characters, no rule of composition, not guessable (zxcvbn score 3 of 4 or more, which also knows the
    common passwords), and none of the `words` (user name, practice) as its main part.
    """
    if len(text) < LEAST_LENGTH:
        return f"use at least {LEAST_LENGTH} characters: several words in a row are easy to keep in mind"
    rest = text.casefold()
    for word in ("canalwright", *words):
        rest = rest.replace(word.casefold(), "") if word else rest
    if len(rest.strip()) < LEAST_LENGTH // 2:
        return "this is mostly a name that anybody would try first: choose other words"
    from zxcvbn import zxcvbn

    verdict = zxcvbn(text[:72], user_inputs=["canalwright", *words])
    if verdict["score"] < 3:
        hints = " ".join([verdict["feedback"]["warning"], *verdict["feedback"]["suggestions"]]).strip()
        return f"this is too easy to guess. {hints}".strip()
    return ""
