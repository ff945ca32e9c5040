"""Protects: only the right secret opens the records, and changing it never loses them."""

import json
import stat
import sys
from pathlib import Path

import keyring
import pytest
from keyring.backend import KeyringBackend

from canalwright.records import Cost, Identity, Passphrase, Store, SystemKeyring
from canalwright.records.errors import BadEntry, StoreDamaged, StoreExists, StoreMissing, WrongPassphrase
from canalwright.records.keys import KeyFile
from tests.records.conftest import CHEAP, OTHER, SECRET


def test_wrong_passphrase_is_told_in_one_line(lone: Store, home: Path) -> None:
    with pytest.raises(WrongPassphrase, match="does not open"):
        Store.open(home, OTHER)
    with pytest.raises(WrongPassphrase, match="empty"):
        Store.open(home, Passphrase(""))


def test_letters_composed_in_two_ways_are_one_passphrase(tmp_path: Path) -> None:
    Store.create(tmp_path / "r", Passphrase("grüne Teekanne wandert"), cost=CHEAP).close()
    Store.open(tmp_path / "r", Passphrase("gru\u0308ne Teekanne wandert")).close()


@pytest.mark.parametrize("weak", ["short", "password1234", "aaaaaaaaaaaaaaaa", "canalwright canalwright"])
def test_weak_passphrase_is_refused(tmp_path: Path, weak: str) -> None:
    with pytest.raises(BadEntry, match="passphrase refused"):
        Store.create(tmp_path / "r", Passphrase(weak), cost=CHEAP)
    assert not (tmp_path / "r").exists()


def test_changed_passphrase(store: Store, home: Path, url: str | None) -> None:
    patient = store.patients.add("ann", Identity("Ada"))
    with pytest.raises(WrongPassphrase):
        store.change_passphrase(OTHER, OTHER)
    store.change_passphrase(SECRET, OTHER)
    store.close()
    with pytest.raises(WrongPassphrase):
        Store.open(home, SECRET, url=url)
    with Store.open(home, OTHER, url=url) as again:
        assert again.patients.identity(patient).name == "Ada"


def test_names_get_a_passphrase_of_their_own(lone: Store, home: Path) -> None:
    lone.change_passphrase(SECRET, OTHER, "identity")
    file = KeyFile.read(home / "keys.json")
    assert (file.opens("records", SECRET), file.opens("identity", SECRET), file.opens("identity", OTHER)) == (
        True,
        False,
        True,
    )


def test_default_cost_is_that_of_the_standard() -> None:
    """RFC 9106, section 4, second recommended option: t = 3, 4 lanes, 64 MiB."""
    assert Cost() == Cost(time=3, memory=65536, lanes=4)


def test_damaged_key_file_is_told(lone: Store, home: Path) -> None:
    file = home / "keys.json"
    good = json.loads(file.read_text())
    for bad in ("", "{}", "[1]", json.dumps({**good, "version": 99}), json.dumps({**good, "wraps": {}})):
        file.write_text(bad)
        with pytest.raises(StoreDamaged, match="restore a backup"):
            Store.open(home, SECRET)
    good["wraps"]["records"]["argon2id"]["memory"] = 2**40
    file.write_text(json.dumps(good))
    with pytest.raises(StoreDamaged, match="unreasonable cost"):
        Store.open(home, SECRET)


def test_key_file_of_other_records_is_told(lone: Store, home: Path, tmp_path: Path) -> None:
    lone.close()
    Store.create(tmp_path / "other", SECRET, cost=CHEAP).close()
    (home / "keys.json").write_bytes((tmp_path / "other" / "keys.json").read_bytes())
    with pytest.raises(StoreDamaged, match="belongs to another"):
        Store.open(home, SECRET)


def test_nothing_is_written_over(store: Store, home: Path, tmp_path: Path, url: str | None) -> None:
    with pytest.raises(StoreExists, match="not empty"):
        Store.create(home, SECRET, cost=CHEAP)
    if url:
        with pytest.raises(StoreExists, match="holds records already"):
            Store.create(tmp_path / "second", SECRET, url=url, cost=CHEAP)
    store.verify()


def test_missing_records_are_told(tmp_path: Path, lone: Store, home: Path) -> None:
    with pytest.raises(StoreMissing, match="no records"):
        Store.open(tmp_path / "none", SECRET)
    lone.close()
    (home / "records.db").unlink()
    with pytest.raises(StoreMissing, match="missing beside its key file"):
        Store.open(home, SECRET)
    with pytest.raises(StoreMissing, match="live in sqlite"):
        Store.open(home, SECRET, url="postgresql:///x")


@pytest.mark.skipif(sys.platform == "win32", reason="modes of POSIX")
def test_files_are_for_their_owner_only(lone: Store, home: Path) -> None:
    lone.backups.make()
    for path in [home, *home.rglob("*")]:
        mode = stat.S_IMODE(path.stat().st_mode)
        assert mode == 0o700 if path.is_dir() else mode & 0o077 == 0 or path.parent == home, path
    assert stat.S_IMODE(home.stat().st_mode) == 0o700


class Memory(KeyringBackend):
    """A keyring for the test."""

    priority = 1  # type: ignore[assignment]

    def __init__(self) -> None:
        super().__init__()
        self.kept: dict[tuple[str, str], str] = {}

    def get_password(self, service: str, username: str) -> str | None:
        return self.kept.get((service, username))

    def set_password(self, service: str, username: str, password: str) -> None:
        self.kept[service, username] = password


def test_system_keyring_opens_the_records(tmp_path: Path) -> None:
    before = keyring.get_keyring()
    keyring.set_keyring(Memory())
    try:
        secret = SystemKeyring("practice").make()
        Store.create(tmp_path / "r", secret, cost=CHEAP).close()
        Store.open(tmp_path / "r", SystemKeyring("practice").make()).close()
        with pytest.raises(WrongPassphrase, match="holds no secret"):
            SystemKeyring("another").reveal()
    finally:
        keyring.set_keyring(before)
