"""An archive brings back exactly the case and its sessions, and anything changed, doubled, foreign or too large is refused in one line."""

import io
import json
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import casefile
from canalwright.casefile import CaseError, archive
from canalwright.casefile.zipped import write_zip

WORK = archive.Work(casefile.demo_case(), {"0123456789abcdef": '{"case": "x"}\n'})
GOOD = archive.pack(WORK, {"card-distal.pdf": b"%PDF-"}, by="1")


def remade(**changes: bytes | None) -> bytes:
    """The good archive with files exchanged, added or left out, its manifest in order again."""
    with zipfile.ZipFile(io.BytesIO(GOOD)) as file:
        contents = {name: file.read(name) for name in file.namelist()}
    manifest = json.loads(contents.pop("manifest.json"))
    manifest.pop("files")
    for name, data in changes.items():
        contents.pop(name, None)
        if data is not None:
            contents[name] = data
    made = io.BytesIO()
    write_zip(made, manifest, contents)
    return made.getvalue()


def test_what_went_in_comes_back() -> None:
    back = archive.unpack(GOOD)
    assert back.case.digest == WORK.case.digest
    assert back.sessions == WORK.sessions


def test_the_same_case_gives_the_same_bytes() -> None:
    assert archive.pack(WORK, {"card-distal.pdf": b"%PDF-"}, by="1") == GOOD


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "cannot be read as an archive"),
        (GOOD[: len(GOOD) // 2], "cannot be read as an archive"),
        (remade(**{"case.toml": None}), "no case.toml"),
        (remade(**{"../case.toml": b"x"}), "has no place"),
        (remade(**{"made/../../x": b"x"}), "has no place"),
        (remade(**{"chair/0123456789abcdeg.jsonl": b"x"}), "has no place"),
        (remade(**{"case.toml": b"\xff\xfe"}), "utf-8"),
        (remade(**{"made/large.bin": b"\0" * (65 << 20)}), "over"),
    ],
    ids=["empty", "cut", "no case", "path up", "path up inside", "no session", "no text", "bomb"],
)
def test_a_wrong_archive_is_refused_in_one_line(data: bytes, said: str) -> None:
    with pytest.raises(CaseError, match=said) as raised:
        archive.unpack(data, "wrong.zip")
    assert len(str(raised.value).splitlines()) == 1
    assert str(raised.value).startswith("wrong.zip: ")


def test_a_case_that_cannot_be_used_is_told_as_in_its_own_file() -> None:
    text = casefile.dumps(WORK.case).replace("working_length_mm", "working_lenght_mm")
    with pytest.raises(CaseError, match="working_length_mm"):
        archive.unpack(remade(**{"case.toml": text.encode()}))


@settings(max_examples=60, deadline=None)
@given(place=st.integers(0, len(GOOD) - 1), flip=st.integers(1, 255))
def test_one_changed_byte_is_noticed_or_changes_nothing(place: int, flip: int) -> None:
    data = bytearray(GOOD)
    data[place] ^= flip
    try:
        back = archive.unpack(bytes(data))
    except CaseError:
        return
    assert back.case.digest == WORK.case.digest
    assert back.sessions == WORK.sessions


@pytest.mark.parametrize("name", ["../x", "a/b", "", ".hidden", "ä"])
def test_a_name_that_leads_elsewhere_is_not_packed(name: str) -> None:
    with pytest.raises(ValueError, match="cannot stand"):
        archive.pack(WORK, {name: b""})


def test_a_radiograph_without_its_description_is_refused() -> None:
    film = f"film/{'0' * 16}"
    for alone in ("png", "json"):
        with pytest.raises(CaseError, match="lacks its picture or its description"):
            archive.unpack(remade(**{f"{film}.{alone}": b"x"}))
    assert archive.unpack(remade(**{f"{film}.png": b"x", f"{film}.json": b"y"})).films == {"0" * 16: (b"x", b"y")}
