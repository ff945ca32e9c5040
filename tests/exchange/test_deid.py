"""No trace of a person survives, wherever a file can hide it; and the picture, its geometry and its references do.

A file is stuffed with marks in every attribute of the standard (all kinds of value, name components, UIDs), in private and nested ones,
in file head, preamble, overlays, curves, padding, unused bits and behind the picture. Then its bytes are searched.
"""

import json
from pathlib import Path

import numpy as np
import pydicom
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence as Items
from pydicom.uid import ExplicitVRBigEndian, JPEG2000Lossless, RLELossless

from canalwright.exchange import ExchangeError
from canalwright.exchange.deid import Key, Options, deidentify
from canalwright.exchange.deid.key import LEAST, MOST, shifted_date
from canalwright.exchange.deid.profile import actions, terms
from tests.exchange import marked

KEY = Key(bytes(range(32)))


def _cleaned(
    tmp_path: Path, made: Dataset, options: Options | None = None, key: Key = KEY
) -> tuple[Dataset, bytes, dict[str, object]]:
    """The cleaned file, its bytes, and what was told."""
    tmp_path.mkdir(parents=True, exist_ok=True)
    source = tmp_path / f"{marked.WORD}.dcm"
    source.write_bytes(marked.as_bytes(made))
    before = source.read_bytes()
    deidentify([source], tmp_path / "out", key, options)
    assert source.read_bytes() == before
    content = (tmp_path / "out" / "00001.dcm").read_bytes()
    told = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    return pydicom.dcmread(tmp_path / "out" / "00001.dcm"), content, told


def test_no_trace_survives_from_any_attribute_of_the_standard(tmp_path: Path) -> None:
    made = marked.stuffed(marked.picture(), marked.public_tags(), nested=2)
    assert marked.traces(marked.as_bytes(made))
    found, content, told = _cleaned(tmp_path, made)
    assert marked.traces(content) == []
    assert marked.traces(json.dumps(told).encode()) == []
    assert found.PatientIdentityRemoved == "YES"
    assert [c.CodeValue for c in found.DeidentificationMethodCodeSequence] == ["113100"]
    assert not [e for e in found.iterall() if e.tag.is_private]
    assert len(told["attributes"]) > 1000  # type: ignore[arg-type]


@settings(deadline=None, max_examples=12)
@given(data=st.data())
def test_no_trace_survives_any_choice_and_depth(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    tags = data.draw(st.lists(st.sampled_from(marked.public_tags()), min_size=3, max_size=40, unique=True))
    nested = data.draw(st.integers(0, 3))
    shift = data.draw(st.booleans())
    made = marked.stuffed(marked.picture(8, 8), tags, nested)
    _, content, told = _cleaned(tmp_path_factory.mktemp("any"), made, Options(shift_dates=shift))
    assert marked.traces(content + json.dumps(told).encode()) == []


@pytest.mark.filterwarnings("ignore:Invalid value")
@pytest.mark.filterwarnings("ignore:A value of type")
@pytest.mark.parametrize("vr", sorted(marked.VALUES))
def test_a_value_under_a_wrong_kind_hides_nothing(tmp_path: Path, vr: str) -> None:
    """Numbers that are no numbers, text under the tag of a number, marks under unknown tags."""
    made = marked.picture()
    for tag in (0x00180050, 0x00280103, 0x00200011, 0x00180088) if vr != "UN" else ():
        made.add(pydicom.DataElement(tag, vr, marked.VALUES[vr]))
    made.add(pydicom.DataElement(0x00187FFE, vr, marked.VALUES[vr]))
    try:
        _, content, _ = _cleaned(tmp_path, made)
    except ExchangeError as error:
        assert "none of 1 files could be cleaned" in str(error)
        assert not list((tmp_path / "out").glob("*.dcm"))
    else:
        assert marked.traces(content) == []


def test_decimal_strings_that_are_words_go(tmp_path: Path) -> None:
    made = marked.picture()
    made.SliceThickness = "1.0"
    raw = marked.as_bytes(made).replace(b"\x18\x00\x50\x00DS\x04\x001.0 ", b"\x18\x00\x50\x00DS\x0a\x00ZQXMARKED ")
    source = tmp_path / "a.dcm"
    source.write_bytes(raw)
    assert marked.WORD.encode() in raw
    deidentify([source], tmp_path / "out", KEY)
    assert marked.traces((tmp_path / "out" / "00001.dcm").read_bytes()) == []


def test_picture_and_geometry_survive(tmp_path: Path) -> None:
    made = marked.picture()
    made.PixelSpacing, made.ImagePositionPatient = [0.2, 0.3], [1.0, -2.0, 3.5]
    made.ImageOrientationPatient, made.SliceThickness = [1, 0, 0, 0, 1, 0], "0.2"
    made.RescaleSlope, made.RescaleIntercept, made.RescaleType = "2", "-1000", "HU"
    made.ImageType = ["ORIGINAL", "PRIMARY", "AXIAL", marked.WORD]
    before = np.frombuffer(made.PixelData[: 32 * 40 * 2], "<u2").reshape(32, 40)
    found, _, told = _cleaned(tmp_path, made)
    assert np.array_equal(found.pixel_array, before)
    assert list(found.PixelSpacing) == [0.2, 0.3]
    assert list(found.ImagePositionPatient) == [1.0, -2.0, 3.5]
    assert found.RescaleType == "HU"
    assert list(found.ImageType) == ["ORIGINAL", "PRIMARY", "AXIAL", "OTHER"]
    assert told["files"][0]["picture"] == ["bytes after the picture cut off"]  # type: ignore[index]


def test_unused_bits_are_cleared_and_signed_values_stay(tmp_path: Path) -> None:
    made = marked.picture()
    grey = np.arange(32 * 40, dtype="<u2").reshape(32, 40) % 4096
    made.PixelData = (grey | 0xA000).astype("<u2").tobytes()
    found, _, told = _cleaned(tmp_path / "u", made)
    assert np.array_equal(found.pixel_array, grey)
    assert "unused bits cleared" in told["files"][0]["picture"]  # type: ignore[index]
    signed = marked.picture()
    signed.PixelRepresentation = 1
    low = (np.arange(32 * 40).reshape(32, 40) % 4000 - 2000).astype("<i2")
    signed.PixelData = low.tobytes()
    found, _, told = _cleaned(tmp_path / "s", signed)
    assert np.array_equal(found.pixel_array, low)
    assert told["files"][0]["picture"] == []  # type: ignore[index]


@pytest.mark.parametrize("syntax", [RLELossless, JPEG2000Lossless])
def test_compressed_pictures_are_decoded_so_that_no_comment_of_theirs_survives(tmp_path: Path, syntax: str) -> None:
    made = marked.picture()
    made.PixelData = made.PixelData[: 32 * 40 * 2]
    made.BitsStored, made.HighBit = 16, 15
    before = made.pixel_array.copy()
    made.compress(syntax, generate_instance_uid=False)
    found, content, told = _cleaned(tmp_path, made)
    assert np.array_equal(found.pixel_array, before)
    assert marked.traces(content) == []
    assert "decoded" in told["files"][0]["picture"]  # type: ignore[index]


def test_big_endian_words_are_turned(tmp_path: Path) -> None:
    made = marked.picture()
    grey = np.frombuffer(made.PixelData[: 32 * 40 * 2], "<u2")
    made.PixelData = grey.astype(">u2").tobytes()
    made["PixelData"].VR = "OW"
    made.file_meta.TransferSyntaxUID = ExplicitVRBigEndian
    found, _, _ = _cleaned(tmp_path, made)
    assert np.array_equal(found.pixel_array.ravel(), grey)


def test_uids_stay_consistent_over_files_and_runs_and_lead_nowhere(tmp_path: Path) -> None:
    one, two = marked.picture(), marked.picture()
    two.SOPInstanceUID = two.file_meta.MediaStorageSOPInstanceUID = f"1.2.3.{marked.DIGITS}.7"
    pointed = Dataset()
    pointed.ReferencedSOPClassUID, pointed.ReferencedSOPInstanceUID = one.SOPClassUID, one.SOPInstanceUID
    two.ReferencedImageSequence = Items([pointed])
    for name, made in (("a", one), ("b", two)):
        (tmp_path / "in").mkdir(exist_ok=True)
        (tmp_path / "in" / name).write_bytes(marked.as_bytes(made))
    for run in ("x", "y"):
        deidentify([tmp_path / "in"], tmp_path / run, KEY)
    first, second = (pydicom.dcmread(tmp_path / "x" / f"0000{i}.dcm") for i in (1, 2))
    again = pydicom.dcmread(tmp_path / "y" / "00001.dcm")
    assert second.ReferencedImageSequence[0].ReferencedSOPInstanceUID == first.SOPInstanceUID == again.SOPInstanceUID
    assert second.ReferencedImageSequence[0].ReferencedSOPClassUID == one.SOPClassUID
    assert first.StudyInstanceUID == second.StudyInstanceUID
    assert first.SOPInstanceUID == first.file_meta.MediaStorageSOPInstanceUID
    assert first.PatientID == second.PatientID == KEY.pseudonym(marked.DIGITS)
    assert all(u.is_valid for u in (first.SOPInstanceUID, first.StudyInstanceUID))
    deidentify([tmp_path / "in"], tmp_path / "z", Key.fresh())
    assert pydicom.dcmread(tmp_path / "z" / "00001.dcm").StudyInstanceUID != first.StudyInstanceUID


def test_dates_go_or_move_together(tmp_path: Path) -> None:
    made = marked.picture()
    made.StudyDate, made.SeriesDate, made.StudyTime, made.PatientBirthDate = (
        "20260301",
        "20260311",
        "101112",
        marked.DAY,
    )
    gone, _, _ = _cleaned(tmp_path / "gone", made)
    assert not gone.StudyDate
    assert gone.LongitudinalTemporalInformationModified == "REMOVED"
    moved, content, _ = _cleaned(tmp_path / "moved", made, Options(shift_dates=True))
    assert (pydicom.valuerep.DA(moved.SeriesDate) - pydicom.valuerep.DA(moved.StudyDate)).days == 10
    assert moved.StudyDate != "20260301"
    assert moved.StudyTime == "101112"
    assert not moved.PatientBirthDate
    assert [c.CodeValue for c in moved.DeidentificationMethodCodeSequence] == ["113100", "113107"]
    assert b"20260301" not in content


@given(st.text(max_size=20))
def test_what_is_no_date_never_comes_through_as_one(text: str) -> None:
    moved = shifted_date(text, KEY.shift("anybody"))
    assert moved == "" or moved[:8].isdigit()
    assert LEAST <= KEY.shift(text).days < MOST


def test_an_encapsulated_document_becomes_a_blank_page(tmp_path: Path) -> None:
    made = marked.picture()
    for word in ("PixelData", "Rows", "Columns", "BitsAllocated"):
        delattr(made, word)
    made.SOPClassUID = made.file_meta.MediaStorageSOPClassUID = pydicom.uid.EncapsulatedPDFStorage
    made.MIMETypeOfEncapsulatedDocument = "application/pdf"
    made.EncapsulatedDocument = b"%PDF-1.4 " + marked.WORD.encode() + b"\0"
    found, content, _ = _cleaned(tmp_path, made)
    assert found.EncapsulatedDocument.startswith(b"%PDF-1.4")
    assert marked.traces(content) == []


def test_structured_content_is_replaced_by_one_empty_item(tmp_path: Path) -> None:
    made = marked.picture()
    del made.PixelData
    made.SOPClassUID = made.file_meta.MediaStorageSOPClassUID = pydicom.uid.EnhancedSRStorage
    text = Dataset()
    text.RelationshipType, text.ValueType, text.TextValue = "CONTAINS", "TEXT", marked.WORD
    made.ContentSequence = Items([text])
    found, content, _ = _cleaned(tmp_path, made)
    assert [i.TextValue for i in found.ContentSequence] == ["REMOVED"]
    assert marked.traces(content) == []


def test_codes_stay_only_with_the_meaning_of_the_standard(tmp_path: Path) -> None:
    made = marked.picture()
    known, private = Dataset(), Dataset()
    known.CodeValue, known.CodingSchemeDesignator, known.CodeMeaning = "38199008", "SCT", f"Tooth of {marked.WORD}"
    private.CodeValue, private.CodingSchemeDesignator, private.CodeMeaning = marked.WORD, "99X", marked.WORD
    made.AnatomicRegionSequence = Items([known, private])
    found, content, _ = _cleaned(tmp_path, made)
    assert [i.CodeMeaning for i in found.AnatomicRegionSequence] == ["Tooth structure (body structure)", "REMOVED"]
    assert marked.traces(content) == []


def test_nothing_is_written_over_and_what_is_no_dicom_is_left_out(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.txt").write_text(marked.WORD, encoding="utf-8")
    (tmp_path / "in" / "b.dcm").write_bytes(marked.as_bytes(marked.picture()))
    report = deidentify([tmp_path / "in"], tmp_path / "out", KEY)
    assert [n for n, _ in report.left_out] == [1]
    assert "no DICOM file" in report.left_out[0][1]
    with pytest.raises(ExchangeError, match="not empty"):
        deidentify([tmp_path / "in"], tmp_path / "out", KEY)
    with pytest.raises(ExchangeError, match="not empty"):
        deidentify([tmp_path / "in"], tmp_path / "in", KEY)
    with pytest.raises(ExchangeError, match="none of 1 files"):
        deidentify([tmp_path / "in" / "a.txt"], tmp_path / "none", KEY)


@settings(deadline=None, max_examples=25)
@given(cut=st.integers(0, 3000), flips=st.lists(st.tuples(st.integers(132, 2900), st.integers(0, 255)), max_size=3))
def test_a_damaged_file_is_cleaned_or_left_out_never_half_written(
    tmp_path_factory: pytest.TempPathFactory, cut: int, flips: list[tuple[int, int]]
) -> None:
    folder = tmp_path_factory.mktemp("damaged")
    raw = bytearray(marked.as_bytes(marked.stuffed(marked.picture(8, 8), [0x00080080, 0x00081140, 0x00104000], 1)))
    for at, value in flips:
        raw[at % len(raw)] = value
    (folder / "a").write_bytes(bytes(raw[: max(1, len(raw) - cut)]))
    try:
        deidentify([folder / "a"], folder / "out", KEY)
    except ExchangeError:
        assert not list((folder / "out").glob("*.dcm"))
    else:
        assert pydicom.dcmread(folder / "out" / "00001.dcm").PatientIdentityRemoved == "YES"


def test_a_key_file_is_made_once_and_kept(tmp_path: Path) -> None:
    made = Key.of_file(tmp_path / "key")
    assert Key.of_file(tmp_path / "key") == made
    assert (tmp_path / "key").stat().st_mode & 0o077 == 0
    (tmp_path / "short").write_bytes(b"x")
    with pytest.raises(ExchangeError, match="a key has 32"):
        Key.of_file(tmp_path / "short")
    with pytest.raises(ExchangeError, match="pseudonym"):
        Options(pseudonym="Ann Invented\n")


def test_table_names_real_attributes_and_terms_are_code_strings() -> None:
    assert len(actions()) == 652
    assert set(actions().values()) == {"X", "X/Z", "X/D", "X/Z/D", "X/Z/U*", "Z", "Z/D", "D", "U"}
    assert all(len(t) <= 16 and t == t.strip() for t in terms())
    assert marked.WORD not in terms()
