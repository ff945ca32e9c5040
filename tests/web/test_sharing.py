"""The screen that hands a case over: words that can be edited, files that read back, nothing for who may not, all of it recorded."""

import ast
import io
import re
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pydicom
import pytest
from playwright.sync_api import Browser as Chromium

from canalwright.exchange import fhir
from canalwright.exchange.dicom import pdf, sr
from canalwright.records import Cost, Kind, Passphrase, Store
from canalwright.records.accounts import AccessLog, Users
from canalwright.web.records.cleaned import Cleaned
from canalwright.web.records.house import House
from canalwright.web.words import words_of
from tests.exchange import marked, sample
from tests.support.browser import SLOW, Server
from tests.support.browser import browser as chromium_of
from tests.support.recordroom import GOOD, SECRET, Browser, ann, browser, clock, house

__all__ = ["ann", "browser", "clock", "house"]
ROOT = Path(__file__).parents[2] / "src" / "canalwright" / "web" / "records"


def _events(house: House, case: str) -> list[dict[str, object]]:
    return [e.payload or {} for e in house.store.cases.events(case) if e.kind is Kind.EXPORT]


async def test_letter_with_edited_words_is_made_and_its_words_kept(house: House, ann: Browser) -> None:
    case = sample.case_in(house.store)
    page = await ann.get(f"/records/case/{case}/share")
    assert "Letter to the referring colleague" in page.text
    assert "{tooth}" in page.text
    fields = {"document": "letter", "language": "en", "colleague": "Dr Invented", "clinic": "", "phone": ""}
    text = "Tooth {tooth_code} of {patient}, 25.4 mm.\r\n\r\nCall {phone}."
    seen = await ann.send(f"/records/case/{case}/share", **fields, text=text, act="preview")
    assert "Tooth 46 of P-" in seen.text
    assert "nothing recorded for phone" in seen.text
    assert "not from the records: 25.4" in seen.text
    assert _events(house, case) == []
    made = await ann.send(f"/records/case/{case}/share", **fields, text=text, act="pdf")
    assert made.headers["content-type"] == "application/pdf"
    assert made.content.startswith(b"%PDF")
    assert _events(house, case)[0]["text"] == text.replace("\r\n", "\n")
    page = await ann.get(f"/records/case/{case}/share?document=letter&language=en")
    assert "25.4 mm." in page.text
    made = await ann.send(f"/records/case/{case}/share", **fields, text=text, act="dicom", identity="yes")
    assert str(pydicom.dcmread(io.BytesIO(made.content)).PatientName).startswith("Ada Invented")
    assert pdf.pdf_of(made.content).startswith(b"%PDF")


async def test_a_wrong_field_is_told_and_nothing_is_recorded(house: House, ann: Browser) -> None:
    case = sample.case_in(house.store)
    await ann.get(f"/records/case/{case}/share")
    answer = await ann.send(f"/records/case/{case}/share", document="letter", language="es", text="{nobody}", act="pdf")
    assert answer.status_code == 422
    assert "there is no field {nobody}" in answer.text
    assert _events(house, case) == []
    assert (await ann.get(f"/records/case/{case}/share?document=../x")).status_code == 422


async def test_casebook_fhir_and_dicom_read_back(house: House, ann: Browser) -> None:
    case = sample.case_in(house.store)
    await ann.get(f"/records/case/{case}/share")
    page = ann.page
    book = await ann.send(f"/records/case/{case}/share/casebook", language="en")
    assert book.content.startswith(b"%PDF")
    ann.page = page
    found = await ann.send(f"/records/case/{case}/share/fhir")
    assert len(fhir.read(found.content)) == 40
    assert b"Ada Invented" not in found.content
    ann.page = page
    packed = await ann.send(f"/records/case/{case}/share/dicom")
    with zipfile.ZipFile(io.BytesIO(packed.content)) as archive:
        assert sorted(archive.namelist()) == ["document.dcm", "measurements.dcm"]
        assert len(sr.read(pydicom.dcmread(io.BytesIO(archive.read("measurements.dcm"))))) == 40
    assert [e["what"] for e in _events(house, case)] == ["casebook", "FHIR R4 bundle", "DICOM"]


async def test_who_may_not_hand_over_is_told_so(house: House, browser: Browser) -> None:
    case = sample.case_in(house.store)
    await browser.sign_in("rea")
    page = await browser.get(f"/records/case/{case}")
    assert "/share" not in page.text
    page = await browser.get(f"/records/case/{case}/share")
    assert "may not hand cases over" in page.text
    await browser.get("/records/me")
    assert (await browser.send(f"/records/case/{case}/share/fhir")).status_code == 403
    assert _events(house, case) == []


def test_spanish_knows_every_text_of_the_record_screens() -> None:
    found: set[str] = set()
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "words" and node.args:
                first = node.args[0]
                options = [first.body, first.orelse] if isinstance(first, ast.IfExp) else [first]
                found |= {o.value for o in options if isinstance(o, ast.Constant) and isinstance(o.value, str)}
    spanish = words_of("es")
    assert sorted(t for t in found if spanish.known(t) is None) == []
    assert spanish("Fields: {fields}", fields="x") == "Campos: x"


async def test_identity_is_taken_out_of_files_that_are_sent_and_they_are_fetched_once(
    house: House, ann: Browser
) -> None:
    """In memory, by the rules of the command line; what is told holds nothing of a source, its name included."""
    case = sample.case_in(house.store)
    page = await ann.get(f"/records/case/{case}/clean")
    scan = marked.as_bytes(marked.stuffed(marked.picture(), marked.public_tags()[:400]))
    sent = [("files", ("Ada-Invented.dcm", scan)), ("folder", ("notes.txt", b"no picture"))]
    told = await ann.send(f"/records/case/{case}/share/clean", files=sent, pseudonym="D-1")
    assert told.status_code == 200
    assert "1 files cleaned" in told.text and "no DICOM file; left out" in told.text and "removed" in told.text
    assert re.search(r">[A-Z][A-Za-z]+ \([0-9A-F]{4},[0-9A-F]{4}\)<", told.text), "attributes are told by name"
    assert "Ada-Invented" not in told.text and "notes.txt" not in told.text and not marked.traces(told.content)
    ann.page = told
    packed = await ann.send(f"/records/case/{case}/clean/fetch")
    with zipfile.ZipFile(io.BytesIO(packed.content)) as archive:
        assert sorted(archive.namelist()) == ["00001.dcm", "report.json"]
        content = archive.read("00001.dcm")
        assert not marked.traces(content) and not marked.traces(archive.read("report.json"))
    assert pydicom.dcmread(io.BytesIO(content)).PatientID == "D-1"
    ann.page = told
    assert (await ann.send(f"/records/case/{case}/clean/fetch")).status_code == 404
    assert [(e["what"], e["files"]) for e in _events(house, case)] == [("DICOM files without identity", 1)]
    ann.page = page
    refused = await ann.send(f"/records/case/{case}/share/clean")
    assert refused.status_code == 422 and "choose DICOM files" in refused.text


def test_cleaned_files_wait_for_their_reader_for_a_while_and_no_more_of_them_than_there_is_room_for() -> None:
    kept = Cleaned(keep=0.3, most=10)
    kept.put("one", "ann", b"1234567")
    kept.put("two", "ben", b"89012")
    assert kept.take("one") is None and kept.take("two") == b"89012" and kept.take("two") is None
    kept.put("three", "ann", b"larger than there is room for")
    assert len(kept) == 1, "a large one waits alone"
    kept.drop("ann")
    assert kept.take("three") is None
    kept.put("four", "ann", b"4")
    until = time.monotonic() + 30.0
    while len(kept):
        assert time.monotonic() < until, "it is forgotten without anybody asking"
        time.sleep(0.02)


@pytest.fixture(scope="module")
def chromium() -> Iterator[Chromium]:
    with chromium_of() as opened:
        yield opened


@pytest.mark.browser
def test_in_a_real_browser(
    chromium: Chromium, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the case to the files: edit the words, look, make the letter, the casebook and the bundle."""
    folder = tmp_path_factory.mktemp("share")
    with Store.create(folder / "home", Passphrase(SECRET), cost=Cost(1, 8, 1)) as store:
        Users(store.vault, AccessLog(store.vault), Cost(1, 8, 1)).first("ann", GOOD)
        case = sample.case_in(store)
    monkeypatch.setenv("CANALWRIGHT_PASSPHRASE", SECRET)
    server = Server("--records", str(folder / "home"), data=folder / "data")
    server.start()
    context = chromium.new_context(viewport={"width": 1280, "height": 1400}, base_url=server.address)
    try:
        page = context.new_page()
        page.set_default_timeout(SLOW)
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda m: complaints.append(m.text) if "Content Security Policy" in m.text else None)
        page.goto("/records/sign-in")
        page.get_by_label("Name").fill("ann")
        page.get_by_label("Password").fill(GOOD)
        page.get_by_role("button", name="Sign in").click()
        page.goto(f"/records/case/{case}")
        page.get_by_role("link", name="Share").click()
        page.get_by_label("To the colleague").fill("Dr Invented")
        page.locator("#f-identity-letter").check()
        area = page.get_by_label("Words, with fields in braces")
        area.fill(area.input_value() + "\n\nWritten in a browser.")
        page.get_by_role("button", name="Look at it first").click()
        assert "Thank you for sending Ada Invented." in page.locator("blockquote").inner_text()
        page.screenshot(path=str(folder / "share.png"), full_page=True)
        for name, ending, start in (
            ("Make the PDF", "pdf", b"%PDF"),
            ("Make it: Casebook", "pdf", b"%PDF"),
            ("Make it: FHIR R4 bundle", "json", b"{"),
            ("Make it: DICOM", "zip", b"PK"),
        ):
            with page.expect_download() as waiting:
                page.get_by_role("button", name=name, exact=True).click()
            kept = folder / f"{name.split()[-1]}.{ending}"
            waiting.value.save_as(kept)
            assert re.search(rf"\.{ending}$", waiting.value.suggested_filename)
            assert kept.read_bytes().startswith(start)
        study = folder / "study"
        study.mkdir()
        for i in range(2):
            (study / f"slice-{i}.dcm").write_bytes(marked.as_bytes(marked.picture()))
        page.get_by_role("link", name="Take identity out of DICOM files").click()
        page.locator("#f-folder").set_input_files(study)
        page.get_by_role("button", name="Take identity out").click()
        assert "2 files cleaned" in page.get_by_role("status").inner_text()
        page.screenshot(path=str(folder / "clean.png"), full_page=True)
        with page.expect_download() as waiting:
            page.get_by_role("button", name="Save the files (zip)").click()
        with zipfile.ZipFile(waiting.value.path()) as archive:
            assert sorted(archive.namelist()) == ["00001.dcm", "00002.dcm", "report.json"]
        assert complaints == []
    finally:
        context.close()
        server.stop()
