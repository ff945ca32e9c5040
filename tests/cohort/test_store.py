"""Results on the disk: taken over only where they still hold, never half written, set aside with a reason."""

import json
from pathlib import Path

import pytest

from canalwright import casefile
from canalwright.cohort import table
from canalwright.cohort.fleet import Local
from canalwright.cohort.job import CohortError, Job, Outcome, versions
from canalwright.cohort.run import run
from canalwright.cohort.store import Store
from canalwright.cohort.work import work

BAD = Job("bad", "case", {"case": "[case]\nversion = 1\n"})
HERE = Local(0)


def test_what_is_damaged_or_of_another_key_is_done_again(tmp_path: Path) -> None:
    store, job = Store(tmp_path), Job("a", "case", {"case": "x"})
    store.put(Outcome("a", job.key, ({"rise": 0.1 + 0.2},)))
    found = store.get(job)
    assert found is not None and found.rows[0]["rise"] == 0.1 + 0.2
    assert store.get(Job("a", "case", {"case": "y"})) is None
    path = tmp_path / "teeth" / "a.json"
    path.write_text(path.read_text()[:-20])
    assert store.get(job) is None


def test_a_tooth_that_cannot_be_is_set_aside_with_its_reason_and_tried_again_when_asked(tmp_path: Path) -> None:
    first = run([BAD], tmp_path, HERE, about={})
    reason = first.set_aside["bad"]
    assert "required and not there" in reason and "\n" not in reason
    assert first.table.to_pylist() == [{"tooth": "bad", "status": "set aside", "reason": reason, "key": BAD.key}]
    assert run([BAD], tmp_path, HERE, about={}).kept == 1
    assert run([BAD], tmp_path, HERE, about={}, again=True).kept == 0


def test_a_fault_of_the_program_is_told_as_one() -> None:
    found = work("x", "key", "no such chain", {})
    assert found.set_aside.startswith("'no such chain'") or "please report it" in found.set_aside


def test_two_teeth_of_one_name_and_names_that_are_no_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CohortError, match="there twice"):
        run([BAD, Job("BAD", "case", {})], tmp_path, HERE, about={})
    for name in ("../up", "a/b", "", "a b"):
        with pytest.raises(CohortError, match="rename it"):
            Job(name, "case", {})


def test_the_key_knows_content_and_versions(monkeypatch: pytest.MonkeyPatch) -> None:
    job = Job("a", "case", {"case": "x"})
    before = job.key
    monkeypatch.setitem(versions(), "numpy", "0.0")
    assert job.key != before


def test_the_table_carries_its_provenance_and_no_moment(tmp_path: Path) -> None:
    about = {"source": "test"}
    path = run([BAD], tmp_path, HERE, about=about).path
    rows, told = table.read(path)
    assert rows[0]["tooth"] == "bad" and told["about"] == about
    assert {"canalwright", "code", "numpy", "numba"} <= told["versions"].keys()
    again = tmp_path / "again"
    assert run([BAD], again, HERE, about=about).path.read_bytes() == path.read_bytes()
    other = tmp_path / "other.parquet"
    other.write_bytes(b"PAR1")
    with pytest.raises(CohortError, match="no table of a cohort"):
        table.read(other)


def test_a_real_tooth_goes_through_the_whole_chain(tmp_path: Path) -> None:
    job = Job(
        "demo", "case", {"case": casefile.dumps(casefile.demo_case()), "canal": "distal", "choices": {"draws": 64}}
    )
    ran = run([job], tmp_path, HERE, about={})
    (row,) = ran.table.to_pylist()
    assert row["status"] == "done" and row["canal"] == "distal"
    assert row["rise_low"] <= row["rise"] <= row["rise_high"]
    assert row["ready"] and row["cone"] and row["sim_rise"] == pytest.approx(row["rise"], rel=0.2)
    assert json.loads((tmp_path / "teeth" / "demo.json").read_text())["key"] == job.key
