"""A check on its way into the records: in the chain of its case with its film, in letter and casebook; and the habits that it teaches."""

from contextvars import copy_context
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import SimpleITK

from canalwright import casefile
from canalwright.imaging import Scan
from canalwright.imaging.exports import nrrd_of
from canalwright.records import Kind, Passphrase, Store
from canalwright.web.checks import Check
from canalwright.web.reader import reads
from canalwright.web.records.house import House
from tests.records.conftest import CHEAP
from tests.support.recordroom import SECRET, Browser, ann, browser, clock, house
from tests.web.test_checks import a_check

sitk: Any = SimpleITK

__all__ = ["ann", "browser", "clock", "house"]


def _checked(house: House, key: str, check: Check) -> None:
    """What the page of a signed-in reader remembers."""

    def put() -> None:
        reads("ann")
        house.office.checks.put(key, 2, check)

    copy_context().run(put)


async def _kept(ann: Browser, house: House, check: Check) -> str:
    """Keep a check of the demo case's distal canal as a new case; gives its name."""
    await ann.get("/shelf")
    key = house.shelf._shelves["ann"].put(casefile.demo_case())
    _checked(house, key, check)
    page = await ann.get(f"/records/keep-check/{key}/2")
    assert "0.7 mm short of the terminus" in page.text
    page = await ann.send(f"/records/keep-check/{key}/2", case="new", index_before="4")
    return str(page.url).rsplit("/", 1)[1]


async def test_a_check_is_kept_with_its_film_and_goes_into_letter_and_casebook(ann: Browser, house: House) -> None:
    name = await _kept(ann, house, a_check())
    events = house.store.cases.events(name)
    assert [e.kind for e in events] == [Kind.CASE, Kind.MEASUREMENT, Kind.IMAGE, Kind.CHECK]
    kept = events[-1]
    assert kept.field("short_mm") == 0.7 and kept.field("film") == events[2].field("image")
    assert kept.field("assessment", "not_seen") == ["voids smaller than 0.2 mm"]
    assert house.store.cases.view(name).status == "filled"
    page = await ann.get(f"/records/case/{name}")
    assert "0.7 mm short of the terminus (0.5 to 0.9)" in page.text and "Checks kept" in page.text
    house.store.verify()

    page = await ann.get(f"/records/case/{name}/share")
    fields = {"document": "letter", "language": "en", "colleague": "", "clinic": "", "phone": ""}
    seen = await ann.send(f"/records/case/{name}/share", **fields, text="It ends {check_end}.", act="preview")
    assert "It ends 0.7 mm (0.5–0.9) short of the radiographic terminus." in seen.text
    ann.page = page
    book = await ann.send(f"/records/case/{name}/share/casebook", language="en")
    assert book.content.startswith(b"%PDF")


async def test_the_labels_of_two_scans_are_kept_and_go_out_and_come_back_with_the_case(
    ann: Browser, house: House, tmp_path: Path
) -> None:
    mask = Scan(np.arange(24, dtype=np.uint8).reshape(2, 3, 4) % 5, np.diag([0.2, 0.2, 0.3, 1.0]), "SEG")
    scans = {"before": {"shape": [2, 3, 4], "sha256": "0"}, "after": {"shape": [2, 3, 5]}, "turn": np.eye(3).tolist()}
    part10 = bytes(128) + b"DICM" + bytes(8)
    check = replace(a_check(), picture=None, labels=nrrd_of(mask), segmentation=part10, scans=scans)
    name = await _kept(ann, house, check)
    kept = house.store.cases.events(name)[-1]
    assert kept.field("scans", "before", "sha256") == "0" and kept.field("scans", "turn") == np.eye(3).tolist()
    assert house.store.images.get(str(kept.field("segmentation"))).content == part10
    page = await ann.get(f"/records/case/{name}")
    assert f"image/{kept.field('segmentation')}" in page.text and "scans of 2 × 3 × 4, 2 × 3 × 5 voxels" in page.text
    assert kept.field("label_names", "2") == "filling" and kept.field("film") == ""
    ident = str(kept.field("labels"))
    sent = await ann.get(f"/records/case/{name}/image/{ident}")
    assert sent.headers["content-type"] == "application/x-nrrd" and ".x-nrrd" not in sent.headers["content-disposition"]
    (tmp_path / "back.nrrd").write_bytes(sent.content)
    back = sitk.ReadImage(str(tmp_path / "back.nrrd"))
    assert np.array_equal(sitk.GetArrayFromImage(back), mask.voxels) and back.GetSpacing()[2] == pytest.approx(0.3)

    house.store.transfer.write_case(name, tmp_path / "case.zip", "ann")
    with Store.create(tmp_path / "other", Passphrase(SECRET), cost=CHEAP) as other:
        came = other.transfer.read_case(tmp_path / "case.zip", "bea")
        again = other.cases.events(came)[-1]
        assert other.images.get(str(again.field("labels"))).content == sent.content


async def test_what_a_check_cannot_be_kept_as_is_told(ann: Browser, house: House) -> None:
    await ann.get("/shelf")
    key = house.shelf._shelves["ann"].put(casefile.demo_case())
    assert (await ann.get(f"/records/keep-check/{key}/2")).status_code == 404, "nothing was checked"
    _checked(house, key, a_check())
    await ann.get(f"/records/keep-check/{key}/2")
    answer = await ann.send(f"/records/keep-check/{key}/2")
    assert answer.status_code == 422 and "say which case it is" in answer.text
    other = house.store.cases.open(house.store.patients.add("ann"), {"tooth": 11, "operator": "ann"}, "ann")
    answer = await ann.send(f"/records/keep-check/{key}/2", case=other)
    assert answer.status_code == 422 and "tooth 11, this check is of tooth 46" in answer.text


async def test_habits_are_ones_own_and_never_applied(ann: Browser, house: House, browser: Browser) -> None:
    assert "No check with a plan has been kept yet" in (await ann.get("/records/habits")).text
    await _kept(ann, house, a_check())
    page = await ann.get("/records/habits")
    assert "trim" in page.text and "no plan changes by it" in page.text
    other = Browser(house)
    async with other.client:
        await other.sign_in("stu")
        assert "No check with a plan has been kept yet" in (await other.get("/records/habits")).text
