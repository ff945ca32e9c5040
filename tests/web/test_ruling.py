"""Rules of a case on its page: recall, close, hold, take out, erase; each with its confirmation and only for who may."""

import io
import json
import re
import zipfile
from pathlib import Path

import pytest

from canalwright.records import Kind
from canalwright.records.accounts import Role
from canalwright.records.errors import NotFound
from canalwright.web.records.house import House
from tests.exchange import sample
from tests.support.recordroom import GOOD, Browser, ann, browser, clock, house

__all__ = ["ann", "browser", "clock", "house"]


async def test_recalls_are_set_by_an_own_rule_and_by_the_guideline_again(house: House, ann: Browser) -> None:
    case = sample.case_in(house.store)
    page = await ann.get(f"/records/case/{case}/rules")
    assert "12, 48 months" in page.text
    page = await ann.send(f"/records/case/{case}/rules/schedule", months="6,12,24", name="own")
    assert "own, 6, 12, 24 months" in page.text
    page = await ann.send(f"/records/case/{case}/rules/schedule", months="six", name="")
    assert page.status_code == 422
    assert "whole numbers with commas between" in page.text
    page = await ann.send(f"/records/case/{case}/rules/schedule", months="", name="")
    assert "12, 48 months" in page.text


async def test_a_case_is_closed_only_when_sure(house: House, ann: Browser) -> None:
    case = sample.case_in(house.store)
    await ann.get(f"/records/case/{case}/rules")
    assert (await ann.send(f"/records/case/{case}/rules/close", reason="moved away")).status_code == 422
    assert house.store.cases.view(case).status == "filled"
    page = await ann.send(f"/records/case/{case}/rules/close", reason="moved away", sure="yes")
    assert house.store.cases.view(case).status == "closed"
    assert "/rules/close" not in page.text


async def test_data_is_held_and_let_go_with_a_reason(house: House, ann: Browser) -> None:
    case = sample.case_in(house.store)
    patient = house.store.cases.view(case).patient
    await ann.get(f"/records/case/{case}/rules")
    assert (await ann.send(f"/records/case/{case}/rules/hold", act="hold", reason="")).status_code == 422
    await ann.send(f"/records/case/{case}/rules/hold", act="hold", reason="a dispute")
    await ann.send(f"/records/case/{case}/rules/hold", act="release", reason="settled")
    held = [e.field("hold") for e in house.store.patients.events(patient) if e.kind is Kind.HOLD]
    assert held == [True, False]


async def test_archive_and_all_data_are_taken_out_and_leave_nothing_on_the_disk(house: House, ann: Browser) -> None:
    case = sample.case_in(house.store)
    await ann.get(f"/records/case/{case}/rules")
    page = ann.page
    packed = await ann.send(f"/records/case/{case}/rules/archive")
    with zipfile.ZipFile(io.BytesIO(packed.content)) as archive:
        assert json.loads(archive.read("manifest.json"))["case"] == case
        assert b"Ada Invented" not in archive.read("events.jsonl")
    ann.page = page
    everything = await ann.send(f"/records/case/{case}/rules/person")
    with zipfile.ZipFile(io.BytesIO(everything.content)) as archive:
        assert json.loads(archive.read("person.json"))["identity"]["name"] == "Ada Invented"
    assert not list(Path(house.store.vault.home).rglob("made.zip"))


async def test_erasing_asks_for_pseudonym_password_and_reason(house: House, ann: Browser) -> None:
    case = sample.case_in(house.store)
    patient = house.store.cases.view(case).patient
    await ann.get(f"/records/case/{case}/rules")
    base = f"/records/case/{case}/rules/erase"
    right = {"reason": "asked for it", "pseudonym": patient, "password": GOOD, "code": ""}
    for wrong in ({"pseudonym": "P-AAAAA-AAAAA"}, {"reason": ""}):
        answer = await ann.send(base, **(right | wrong))
        assert answer.status_code == 422
        assert house.store.patients.identity(patient).name == "Ada Invented"
        await ann.get(f"/records/case/{case}/rules")
    assert (await ann.send(base, **(right | {"password": "not my password at all"}))).status_code in (403, 422)
    await ann.get(f"/records/case/{case}/rules")
    assert (await ann.send(base, **right)).status_code == 200
    with pytest.raises(NotFound):
        house.store.cases.view(case)


async def test_a_reader_sees_no_rules_and_a_student_no_erasing(house: House, browser: Browser) -> None:
    case = sample.case_in(house.store)
    await browser.sign_in("rea")
    page = await browser.get(f"/records/case/{case}/rules")
    for act in ("schedule", "close", "hold", "archive", "person", "erase"):
        assert f"/rules/{act}" not in page.text
    await browser.get("/records/me")
    answer = await browser.send(f"/records/case/{case}/rules/schedule", months="6")
    assert answer.status_code == 403


async def test_a_second_reader_grades_blind(house: House, ann: Browser) -> None:
    case = sample.case_in(house.store)
    house.door.users.add("bea", Role.CLINICIAN, GOOD, "ann")
    house.door.users.set_password("bea", GOOD)
    await ann.get(f"/records/case/{case}/recall")
    given = {
        "on": "2026-01-10",
        "root_0": "mesial",
        "index_0_1": "4",
        "reader_1": "ann",
        "reader_2": "",
        "blind": "yes",
    }
    page = await ann.send(f"/records/case/{case}/recall", **(given | {"index_0_2": "3", "reader_2": "bea"}))
    assert "under your own name" in page.text
    page = await ann.send(f"/records/case/{case}/recall", **given, lesion="larger")
    assert "awaiting the second reader" in page.text
    assert "as second reader" not in page.text
    await ann.send("/records/sign-out")
    await ann.sign_in("bea")
    page = await ann.get(f"/records/case/{case}")
    assert "ann 4" not in page.text
    assert "larger" not in page.text
    way = re.search(rf"/records/case/{case}/second/\d+", page.text)
    assert way
    page = await ann.get(way[0])
    assert "Second reading" in page.text
    assert "ann" not in page.text.replace("name", "").replace("canal", "")
    page = await ann.send(way[0], root="mesial", index_0="3")
    assert "ann 4, bea 3" in page.text
    assert (await ann.get(way[0])).status_code == 404
