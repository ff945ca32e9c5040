"""Protects: names stay apart from records and under their own key; who is erased is gone for good."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from canalwright.records import Identity, Kind, Store
from canalwright.records.errors import BadEntry, Erased, IdentityLocked, NotFound, WrongPassphrase
from canalwright.records.pseudonym import LETTERS, new_name, well_formed
from tests.records.conftest import CHEAP, OTHER, SECRET, Clock

WHO = Identity("Ada Zwetschge", "1970-02-03", "N-4711", "12 Canal Street")


def test_identity_is_kept_apart_and_found(store: Store) -> None:
    patient = store.patients.add("ann", WHO)
    other = store.patients.add("ann", Identity("Bo Other"))
    assert store.patients.identity(patient) == WHO
    assert store.patients.find("zwetschge 1970") == [patient]
    assert store.patients.find("") == []
    store.patients.identify(other, Identity("Bo Changed"), "ann")
    assert store.patients.identity(other).name == "Bo Changed"
    assert store.patients.identity(store.patients.add("ann")) == Identity()


def test_no_name_and_no_clinical_word_lies_open(store: Store, home: Path) -> None:
    """Nothing readable in the tables themselves: not even somebody who holds the database server reads a name."""
    patient = store.patients.add("ann", WHO)
    case = store.cases.open(patient, {"tooth": 46, "text": "Zwetschge"}, "ann")
    store.images.attach(case, b"\x89PNG\r\n\x1a\nZwetschge", "Zwetschge.png", "ann")
    with store.vault.reading() as connection:
        for table in ("event", "patient", "identity", "image", "case_view", "meta", "head"):
            for row in connection.execute(text(f"SELECT * FROM {table}")):
                assert b"Zwetschge" not in b"".join(
                    v.encode() if isinstance(v, str) else bytes(v or b"") for v in row if not isinstance(v, int)
                )
    store.close()
    for file in home.rglob("*"):
        assert not file.is_file() or (
            b"Zwetschge" not in file.read_bytes() and b"SQLite format" not in file.read_bytes()
        )


def test_identity_can_have_a_passphrase_of_its_own(tmp_path: Path, clock: Clock) -> None:
    with Store.create(tmp_path / "r", SECRET, identity=OTHER, cost=CHEAP) as store:
        patient = store.patients.add("ann", WHO)
    with Store.open(tmp_path / "r", SECRET) as store:
        store.cases.open(patient, {"tooth": 11}, "bob")
        with pytest.raises(IdentityLocked, match="identity passphrase"):
            store.patients.identity(patient)
    with Store.open(tmp_path / "r", SECRET, identity=OTHER) as store:
        assert store.patients.identity(patient) == WHO
    with pytest.raises(WrongPassphrase):
        Store.open(tmp_path / "r", SECRET, identity=SECRET)


def test_erased_person_is_gone_and_the_chain_still_holds(store: Store, reopen: Callable[[], Store]) -> None:
    patient, other = store.patients.add("ann", WHO), store.patients.add("ann", Identity("Bo"))
    case = store.cases.open(patient, {"tooth": 46, "text": "secret"}, "ann")
    image = store.images.attach(case, b"\xff\xd8\xff film", "film", "ann")
    store.cases.open(other, {"tooth": 11}, "ann")
    store.patients.erase(patient, "asked by letter", "ann")
    for again in (store, reopen()):
        again.verify()
        with pytest.raises(Erased, match="2026-11-25"):
            again.patients.identity(patient)
        with pytest.raises(NotFound):
            again.images.get(image)
        with pytest.raises(NotFound):
            again.cases.view(case)
        with pytest.raises(Erased):
            again.cases.record(case, Kind.NOTE, {"text": "x"}, "ann")
        assert [e.payload for e in again.cases.events(case)] == [None, None]
        tombstone = again.patients.events(patient)[-1]
        assert (tombstone.kind, tombstone.payload) == (Kind.ERASE, {"reason": "asked by letter", "cases": [case]})
        assert again.cases.page().total == 1
        assert again.patients.find("zwetschge") == []
    again.close()
    with pytest.raises(Erased):
        store.patients.erase(patient, "again", "ann")
    with pytest.raises(BadEntry, match="reason"):
        store.patients.erase(other, " ", "ann")


@pytest.mark.parametrize(
    "content", [b"MZ\x90", b"", b"<svg/>", b"\x89PNG\r\n\x1a\n" + bytes(33 << 20)], ids=["exe", "empty", "svg", "huge"]
)
def test_only_images_of_known_kind_and_size_are_kept(lone: Store, content: bytes) -> None:
    """Judged by the content, not by a name."""
    case = lone.cases.open(lone.patients.add("ann"), {"tooth": 46}, "ann")
    with pytest.raises(BadEntry):
        lone.images.attach(case, content, "../../etc/passwd.png", "ann")


def test_image_comes_back_as_it_was(store: Store, case: str) -> None:
    content = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 500
    name = store.images.attach(case, content, "../../etc/passwd", "ann")
    found = store.images.get(name)
    assert (found.content, found.media, found.case) == (content, "image/png", case)
    assert store.cases.events(case)[-1].field("label") == "../../etc/passwd"


@settings(deadline=None)
@given(st.integers(0, 8), st.sampled_from(LETTERS))
def test_check_letter_catches_a_wrong_letter(place: int, letter: str) -> None:
    name = new_name("P")
    assert well_formed(name, "P")
    letters = list(name.replace("-", ""))
    if abs(LETTERS.index(letters[place + 1]) - LETTERS.index(letter)) not in (0, 31):
        letters[place + 1] = letter
        assert not well_formed("".join(letters), "P")
