"""The key file beside the records: random root keys, each wrapped under a key that Argon2id derives from the secret.

Two roots. `records` gives the keys of the database file, of the patients' data, of the chain and of the backups.
`identity` gives the key of the identity table; it may have a passphrase of its own, so that records can be worked on
with nobody's name in reach. Changing a passphrase rewrites the wraps, never the data.

Argon2id: RFC 9106; the default cost is its second recommended option (t = 3, 64 MiB, 4 lanes).
"""

import json
import secrets
from base64 import b64decode, b64encode
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Literal

from argon2.low_level import Type, hash_secret_raw

from canalwright.records.crypt import KEY_BYTES, derive, new_key, seal, unseal
from canalwright.records.errors import IdentityLocked, StoreDamaged, WrongPassphrase
from canalwright.records.files import write_whole
from canalwright.records.secret import Secret

FORMAT, VERSION = "canalwright keys", 1
Root = Literal["records", "identity"]


@dataclass(frozen=True)
class Cost:
    """What one guess of a passphrase costs: passes, memory [KiB], lanes."""

    time: int = 3
    memory: int = 64 * 1024
    lanes: int = 4

    def __post_init__(self) -> None:
        if not (1 <= self.time <= 100 and 8 * self.lanes <= self.memory <= 4 * 1024**2 and 1 <= self.lanes <= 64):
            raise StoreDamaged(f"key file asks for an unreasonable cost {self}: it is damaged, restore a backup")


@dataclass(frozen=True)
class Wrap:
    """One root key, wrapped: `sealed` opens with the key that Argon2id derives from the secret and `salt`."""

    cost: Cost
    salt: bytes
    sealed: bytes

    @classmethod
    def around(cls, key: bytes, secret: Secret, cost: Cost, context: str) -> "Wrap":
        """Wrap `key` under `secret`, with a fresh salt."""
        salt = secrets.token_bytes(16)
        return cls(cost, salt, seal(_stretched(secret, salt, cost), key, context))

    def open(self, secret: Secret, context: str) -> bytes:
        """The root key. Raises WrongPassphrase."""
        try:
            return unseal(_stretched(secret, self.salt, self.cost), self.sealed, context)
        except StoreDamaged:
            raise WrongPassphrase(
                "this passphrase does not open the records: check it, capitals and keyboard"
            ) from None


@dataclass(frozen=True)
class KeyFile:
    """What lies in `keys.json`: nothing in it is secret, all of it is needed. Backups carry a copy."""

    store: str
    backend: str
    wraps: Mapping[Root, Wrap] = field(repr=False)

    @classmethod
    def create(
        cls, backend: str, secret: Secret, *, identity: Secret | None = None, cost: Cost | None = None
    ) -> "KeyFile":
        """Fresh random roots under `secret`; the identity root under `identity` where one is given."""
        cost, store = cost or Cost(), secrets.token_hex(16)
        owners: dict[Root, Secret] = {"records": secret, "identity": identity or secret}
        wraps = {root: Wrap.around(new_key(), owner, cost, f"{store} {root}") for root, owner in owners.items()}
        return cls(store, backend, wraps)

    def unlock(self, secret: Secret, identity: Secret | None = None) -> "Keys":
        """The keys in the clear. Identity stays locked when its passphrase is another and was not given."""
        records = self.wraps["records"].open(secret, f"{self.store} records")
        try:
            name = self.wraps["identity"].open(identity or secret, f"{self.store} identity")
        except WrongPassphrase:
            if identity is not None:
                raise
            name = None
        return Keys(self.store, records, name)

    def opens(self, root: Root, secret: Secret) -> bool:
        """Whether a secret opens a root."""
        try:
            self.wraps[root].open(secret, f"{self.store} {root}")
        except WrongPassphrase:
            return False
        return True

    def rewrapped(self, root: Root, old: Secret, new: Secret, cost: Cost | None = None) -> "KeyFile":
        """The same key under a new secret. Raises WrongPassphrase when `old` is not the present one."""
        context = f"{self.store} {root}"
        wrap = Wrap.around(self.wraps[root].open(old, context), new, cost or self.wraps[root].cost, context)
        return replace(self, wraps={**self.wraps, root: wrap})

    def write(self, path: Path) -> None:
        """Write the file whole or not at all, readable by its owner only."""
        write_whole(path, json.dumps(self.as_json(), indent=1).encode())

    def as_json(self) -> dict[str, object]:
        """The file as JSON types."""
        wraps = {
            root: {
                "argon2id": asdict(w.cost),
                "salt": b64encode(w.salt).decode(),
                "sealed": b64encode(w.sealed).decode(),
            }
            for root, w in self.wraps.items()
        }
        return {"format": FORMAT, "version": VERSION, "store": self.store, "backend": self.backend, "wraps": wraps}

    @classmethod
    def read(cls, path: Path) -> "KeyFile":
        """Read `keys.json`. Raises StoreDamaged when it is not as it was written."""
        try:
            return cls.from_json(json.loads(path.read_bytes()))
        except (OSError, ValueError) as error:
            raise StoreDamaged(f"key file {path} cannot be read ({error}): restore a backup") from None

    @classmethod
    def from_json(cls, data: object) -> "KeyFile":
        """From JSON types. Raises StoreDamaged when something is missing, or is not ours."""
        try:
            if not isinstance(data, dict) or (data["format"], data["version"]) != (FORMAT, VERSION):
                raise ValueError("another format or version")
            roots: tuple[Root, Root] = ("records", "identity")
            wraps = {root: _wrap(data["wraps"][root]) for root in roots}
            return cls(str(data["store"]), str(data["backend"]), wraps)
        except (KeyError, TypeError, ValueError) as error:
            raise StoreDamaged(f"this is no key file of version {VERSION} ({error!r}): restore a backup") from None


@dataclass(frozen=True)
class Keys:
    """Keys in the clear, in memory only. Each purpose has its own, derived from a root."""

    store: str
    records: bytes = field(repr=False)
    identity: bytes | None = field(repr=False)
    _derived: dict[str, bytes] = field(default_factory=dict, repr=False, compare=False)

    def purpose(self, name: str) -> bytes:
        """Key for `database`, `patients`, `events`, `chain`, `accounts` or `backup`."""
        if name not in self._derived:
            self._derived[name] = derive(self.records, name)
        return self._derived[name]

    def of_identity(self, patient_key: bytes) -> bytes:
        """Key of one person's identity: needs the identity root and the patient's own key. Raises IdentityLocked."""
        if self.identity is None:
            raise IdentityLocked("names are locked: give the identity passphrase to see or change them")
        return derive(self.identity, "identity", patient_key)


def _stretched(secret: Secret, salt: bytes, cost: Cost) -> bytes:
    return hash_secret_raw(secret.reveal(), salt, cost.time, cost.memory, cost.lanes, KEY_BYTES, Type.ID)


def _wrap(data: Mapping[str, object]) -> Wrap:
    cost = data["argon2id"]
    if not isinstance(cost, dict):
        raise TypeError("argon2id")
    sizes = Cost(int(cost["time"]), int(cost["memory"]), int(cost["lanes"]))
    return Wrap(sizes, b64decode(str(data["salt"]), validate=True), b64decode(str(data["sealed"]), validate=True))
