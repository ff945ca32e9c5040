"""Who a patient is, as it is kept: sealed with the person's own key, which the identity key of the records opens."""

from datetime import date
from typing import Any

from sqlalchemy import Connection, select

from canalwright.records.canonical import canonical, parsed
from canalwright.records.crypt import seal, unseal
from canalwright.records.errors import BadEntry, IdentityLocked
from canalwright.records.ledger import Ledger
from canalwright.records.moments import day
from canalwright.records.schema import identity
from canalwright.records.vault import Vault


def seal_identity(vault: Vault, pseudonym: str, key: bytes, fields: dict[str, str]) -> bytes:
    """The fields sealed. Raises IdentityLocked."""
    return seal(vault.keys.of_identity(key), canonical(fields), _context(vault, pseudonym))


def open_identity(vault: Vault, pseudonym: str, key: bytes, sealed: bytes | None) -> dict[str, Any]:
    """The fields in the clear, empty when nobody wrote them down. Raises IdentityLocked."""
    whose = vault.keys.of_identity(key)
    return {} if sealed is None else dict(parsed(unseal(whose, bytes(sealed), _context(vault, pseudonym))))


def born_of(vault: Vault, ledger: Ledger, connection: Connection, pseudonym: str) -> date | None:
    """Date of birth; None when it is not known, or locked. Raises NotFound, Erased."""
    sealed = connection.scalar(select(identity.c.sealed).where(identity.c.patient == pseudonym))
    try:
        told = open_identity(vault, pseudonym, ledger.patient_key(connection, pseudonym), sealed).get("born")
        return day(told) if told else None
    except (IdentityLocked, BadEntry):
        return None


def _context(vault: Vault, pseudonym: str) -> str:
    return f"{vault.key_file.store} identity {pseudonym}"
