"""Protects: a case goes from one set of records to another whole or not at all; a person gets all that is kept."""

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import func, select

from canalwright.records import Identity, Kind, Store
from canalwright.records.errors import ArchiveDamaged, BadEntry, Erased, StoreTooNew
from canalwright.records.schema import event, image, patient
from tests.records.conftest import CHEAP, NOW, OTHER, Clock

FILM = b"\xff\xd8\xff" + bytes(range(256)) * 50


@pytest.fixture
def archive(lone: Store, tmp_path: Path) -> Path:
    person = lone.patients.add("ann", Identity("Ada Secret"))
    case = lone.cases.open(person, {"tooth": 46, "index_before": 4}, "ann")
    slip = lone.cases.record(case, Kind.MEASUREMENT, {"length_mm": 12.0}, "ann")
    lone.images.attach(case, FILM, "film", "bob")
    lone.cases.correct(slip, {"length_mm": 21.0}, "digits swapped", "bob")
    lone.cases.record(case, Kind.CHECK, {"on": "2024-03-01"}, "ann")
    lone.transfer.write_case(case, tmp_path / "case.zip", "ann")
    return tmp_path / "case.zip"


@pytest.fixture
def other(tmp_path: Path, clock: Clock) -> Store:
    clock.forward(days=3)
    made = Store.create(tmp_path / "other", OTHER, cost=CHEAP, clock=clock)
    made.patients.add("eve", Identity("Somebody Else"))
    return made


def _counts(store: Store) -> tuple[int | None, ...]:
    with store.vault.reading() as connection:
        return tuple(connection.scalar(select(func.count()).select_from(t)) for t in (event, image, patient))


def test_case_arrives_whole(archive: Path, other: Store, lone: Store) -> None:
    """Content, corrections, images, and who recorded it when; the identity stays at home."""
    case = other.transfer.read_case(archive, "eve")
    assert "Secret" not in str(archive.read_bytes())
    assert other.cases.view(case).tooth == 46
    assert other.cases.view(case).next_due == "2025-03-01"
    now = other.cases.now(case)
    assert [e.field("length_mm") for e in now if e.kind is Kind.MEASUREMENT] == [21.0]
    assert (now[0].author, now[0].origin.author, now[0].happened) == ("eve", "ann", NOW)  # type: ignore[union-attr]
    name = next(e.field("image") for e in now if e.kind is Kind.IMAGE)
    assert other.images.get(str(name)).content == FILM
    assert lone.cases.events(case)[-1].kind is Kind.EXPORT
    other.verify()
    with pytest.raises(BadEntry, match="here already"):
        other.transfer.read_case(archive, "eve")
    with pytest.raises(BadEntry, match="here already"):
        lone.transfer.read_case(archive, "eve")


def test_case_goes_on_to_a_third_place(archive: Path, other: Store, tmp_path: Path) -> None:
    case = other.transfer.read_case(archive, "eve")
    other.transfer.write_case(case, tmp_path / "again.zip", "eve")
    with Store.create(tmp_path / "third", OTHER, cost=CHEAP) as third:
        third.transfer.read_case(tmp_path / "again.zip", "zoe")
        first = third.cases.now(case)[0]
        assert first.origin is not None
        assert (first.origin.author, first.origin.store) == ("ann", other.vault.key_file.store)
        assert [e.field("length_mm") for e in third.cases.now(case) if e.kind is Kind.MEASUREMENT] == [21.0]


def test_flipped_bits_and_cuts_change_nothing(archive: Path, other: Store, tmp_path: Path) -> None:
    data = archive.read_bytes()
    before = _counts(other)
    bad = tmp_path / "bad.zip"
    harmless = 0
    for place in range(0, len(data), 23):
        bad.write_bytes(data[:place] + bytes([data[place] ^ 0x40]) + data[place + 1 :])
        try:
            other.transfer.read_case(bad, "eve")
            harmless += 1  # a date or attribute in the zip's own directory, which means nothing to us
            break
        except (ArchiveDamaged, StoreTooNew):
            assert _counts(other) == before
    for cut in (0, 10, len(data) // 2, len(data) - 1):
        bad.write_bytes(data[:cut])
        with pytest.raises(ArchiveDamaged):
            other.transfer.read_case(bad, "eve")
    other.verify()


def _rewritten(archive: Path, change: Callable[[dict[str, bytes]], None], out: Path) -> Path:
    """The archive with its files changed and the manifest made to fit again, as a forger would."""
    with zipfile.ZipFile(archive) as old:
        files = {name: old.read(name) for name in old.namelist()}
    manifest = json.loads(files.pop("manifest.json"))
    change(files)
    from canalwright.casefile.zipped import write_zip

    with out.open("wb") as file:
        write_zip(file, {k: v for k, v in manifest.items() if k != "files"}, files)
    return out


def _lines(files: dict[str, bytes], change: Callable[[list[dict]], None]) -> None:  # type: ignore[type-arg]
    records = [json.loads(line) for line in files["events.jsonl"].splitlines()]
    change(records)
    files["events.jsonl"] = b"\n".join(json.dumps(r).encode() for r in records)


@pytest.mark.parametrize(
    "change",
    [
        lambda f: f.update({"../../evil": b"x"}),
        lambda f: f.update({"/etc/passwd": b"x"}),
        lambda f: f.update({"images/..\\evil": b"x"}),
        lambda f: f.update({"images/I-AAAAA-BBBBB": FILM}),
        lambda f: f.pop("events.jsonl"),
        lambda f: f.update({"events.jsonl": b""}),
        lambda f: f.update({"events.jsonl": b"[" * 100_000}),
        lambda f: f.update({next(n for n in f if n.startswith("images/")): b"MZ\x90"}),
        lambda f: _lines(f, lambda r: r[0].update(kind="erase")),
        lambda f: _lines(f, lambda r: r[0].update(kind="wish")),
        lambda f: _lines(f, lambda r: r[0]["payload"].update(tooth=99)),
        lambda f: _lines(f, lambda r: r[0].update(time="yesterday")),
        lambda f: _lines(f, lambda r: r[1].update(seq=r[2]["seq"])),
        lambda f: _lines(f, lambda r: r.append(dict(r[0], seq=999))),
        lambda f: _lines(f, lambda r: r[3]["payload"].update(of=12345)),
        lambda f: _lines(f, lambda r: r[4]["payload"].update(on="tomorrow")),
    ],
)
def test_forged_archive_changes_nothing(
    archive: Path, other: Store, tmp_path: Path, change: Callable[[dict[str, bytes]], None]
) -> None:
    before = _counts(other)
    with pytest.raises(ArchiveDamaged):
        other.transfer.read_case(_rewritten(archive, change, tmp_path / "forged.zip"), "eve")
    assert _counts(other) == before
    other.verify()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["case.zip", "forged.zip", "other", "records"]


def test_bomb_is_refused_before_it_is_unpacked(other: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("canalwright.records.archive.MOST_BYTES", 32 << 20)
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        for i in range(3):
            archive.writestr(f"images/I-AAAAA-{i:05}", bytes(16 << 20))
    assert bomb.stat().st_size < 1 << 20
    with pytest.raises(ArchiveDamaged, match="refused"):
        other.transfer.read_case(bomb, "eve")
    many = io.BytesIO()
    with zipfile.ZipFile(many, "w") as archive:
        for i in range(1001):
            archive.writestr(f"images/I-AAAAA-{i:05}", b"")
    bomb.write_bytes(many.getvalue())
    with pytest.raises(ArchiveDamaged, match="refused"):
        other.transfer.read_case(bomb, "eve")


def test_person_gets_all_that_is_kept(store: Store, tmp_path: Path) -> None:
    person = store.patients.add("ann", Identity("Ada Zwetschge", "1970-02-03"))
    case = store.cases.open(person, {"tooth": 46}, "ann")
    name = store.images.attach(case, FILM, "film", "ann")
    store.transfer.write_person(person, tmp_path / "person.zip", "ann")
    with zipfile.ZipFile(tmp_path / "person.zip") as archive:
        found = json.loads(archive.read("person.json"))
        assert archive.read(f"images/{name}") == FILM
    assert found["identity"]["name"] == "Ada Zwetschge"
    assert [e["kind"] for e in found["events"]] == ["identity", "case", "image"]
    assert store.patients.events(person)[-1].kind is Kind.EXPORT
    store.patients.erase(person, "asked", "ann")
    with pytest.raises(Erased):
        store.transfer.write_person(person, tmp_path / "later.zip", "ann")
    with pytest.raises(Erased):
        store.transfer.write_case(case, tmp_path / "later.zip", "ann")
    assert not (tmp_path / "later.zip").exists()
