"""Classes: fair hand-outs, pseudonyms that need the key, ranks that anybody can check, reports that name nobody else."""

import json
from dataclasses import asdict
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import casefile, guide, planning
from canalwright.cohort import classes
from canalwright.cohort.class_model import assignments, load_class, pseudonyms
from canalwright.cohort.fleet import Local
from canalwright.cohort.job import CohortError
from canalwright.cohort.ranking import placed
from canalwright.guide import Step
from canalwright.planning import Choices
from canalwright.records.pseudonym import well_formed

KEY = b"0123456789abcdef0123456789abcdef"
STUDENTS = ("Ada Invented", "Ben Invented", "Cleo Invented")


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 40), st.integers(1, 12), st.integers(1, 12), st.integers(0, 1000))
def test_teeth_are_dealt_evenly_and_whatever_the_order_of_the_list(
    students: int, teeth: int, each: int, seed: int
) -> None:
    names = tuple(f"S{i:02d}" for i in range(students))
    stock = tuple(f"t{i:02d}" for i in range(teeth))
    if each > teeth:
        with pytest.raises(CohortError, match="add teeth"):
            assignments(names, stock, each, seed)
        return
    given_out = assignments(names, stock, each, seed)
    uses = [sum(t in mine for mine in given_out.values()) for t in stock]
    assert max(uses) - min(uses) <= 1
    assert all(len(set(mine)) == each for mine in given_out.values())
    assert assignments(names[::-1], stock[::-1], each, seed) == given_out


def test_pseudonyms_are_the_same_under_one_key_and_others_under_another() -> None:
    once, other = pseudonyms(STUDENTS, KEY), pseudonyms(STUDENTS, KEY[::-1])
    assert once == pseudonyms(STUDENTS[::-1], KEY) | {}
    assert not set(once.values()) & set(other.values())
    assert all(well_formed(name, "S") for name in once.values())
    with pytest.raises(CohortError, match="at least 16"):
        pseudonyms(STUDENTS, b"short")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    (tmp_path / "students.csv").write_text("student\n" + "\n".join(STUDENTS) + "\n")
    (tmp_path / "teeth").mkdir()
    whole = casefile.demo_case().model
    one = casefile.from_model(whole.model_copy(update={"canal": [whole.canal[0]]}))
    casefile.dump(one, tmp_path / "teeth" / "molar.toml")
    path = tmp_path / "class.toml"
    path.write_text(
        '[class]\nversion = 1\ntitle = "First downpack"\nseed = 3\nstudents = "students.csv"\nteeth = "teeth"\ndraws = 64\n'
        "[protocol]\nactivation = 2.0\nrounds = 2\n"
    )
    return path


def test_the_example_of_the_page_is_a_class(file: Path) -> None:
    page = (Path(__file__).parents[2] / "docs" / "cohort.md").read_text(encoding="utf-8")
    file.write_text(page.partition("```toml\n")[2].partition("```")[0], encoding="utf-8")
    made = load_class(file)
    assert made.model.class_.teeth_each == 2 and made.model.protocol.rounds == 2


def _log(text: str, steps: tuple[Step, ...], late: float, deep: float) -> str:
    """A session in which every timer runs `late` s too long and every depth is noted `deep` mm too deep."""
    lines = [{"case": text, "canal": 0, "query": "", "began": 0.0, "practice": True}]
    now = 0.0
    events = []
    for step in steps:
        if step.depth is not None:
            events.append(guide.Event(guide.DEPTH, now, step.depth + deep))
        events.append(guide.Event(guide.GO, now))
        if step.seconds is not None:
            now += step.seconds + late
            events.append(guide.Event(guide.GO, now))
    lines += [{k: v for k, v in asdict(e).items() if v not in (None, "", {})} for e in events]
    return "".join(json.dumps(line) + "\n" for line in lines)


def test_a_class_from_hand_out_to_reports(file: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    practical = load_class(file)
    given_out = classes.assign(practical, KEY, out)
    careful, careless, absent = given_out
    text = (out / "hand-out" / careful / "molar.toml").read_text()
    assert (out / "hand-out" / careful / "molar-mesiobuccal.pdf").read_bytes().startswith(b"%PDF")
    canal = casefile.loads(text).canals[0]
    plan = planning.plan(canal, casefile.generic_tray(), Choices(activation=2.0, rounds=2, draws=64, seed=3))
    steps = guide.steps_of(plan)
    (out / "hand-in" / careful / "a.jsonl").write_text(_log(text, steps, 0.0, 0.0))
    (out / "hand-in" / careless / "b.jsonl").write_text(_log(text, steps, 2.5, 1.0))
    (out / "hand-in" / absent / "c.jsonl").write_text("not a log\n")
    found = classes.collect(out, Local(0))
    assert [(p.place, p.student) for p in found.places] == [(1, careful), (2, careless)]
    assert found.missing == (absent,)
    best, worst = (dict(zip(("off", "depth", "heat", "rise", "end"), p.values, strict=True)) for p in found.places)
    assert (
        best["off"] == 0 and best["heat"] == pytest.approx(0, abs=1e-9) and best["depth"] == pytest.approx(0, abs=1e-9)
    )
    assert worst["heat"] == pytest.approx(2.5) and worst["depth"] == pytest.approx(1.0)
    assert worst["rise"] is not None and best["rise"] is not None and worst["rise"] > best["rise"] + 1
    own = (out / "reports" / f"{careful}.html").read_text()
    assert "Place 1 of 2" in own and ">2.5<" not in own and careless not in own and absent not in own
    assert "first line is damaged" in (out / "reports" / f"{absent}.html").read_text()
    whole = (out / "reports" / "class.html").read_text()
    assert all(name in whole for name in given_out)
    for path in out.rglob("*"):
        if path.is_file():
            assert not any(student.encode() in path.read_bytes() for student in STUDENTS), path
    assert classes.names(practical, KEY) == {v: k for k, v in pseudonyms(STUDENTS, KEY).items()}
    (out / "hand-in" / careful / "other.after.nii").write_bytes(b"")
    with pytest.raises(CohortError, match="was not given to this student"):
        classes.collect(out, Local(0))
    with pytest.raises(CohortError, match="holds a class already"):
        classes.assign(practical, KEY, out)


def test_equal_work_shares_a_place() -> None:
    row = {"off": 1, "done": 10, "depth_error": 0.2, "heat_error": None, "rise": 5.0, "planned_rise": 4.0}
    found = placed([{**row, "student": s} for s in ("b", "a", "c")] + [{**row, "student": "z", "off": 5}])
    assert [(p.place, p.student) for p in found] == [(1, "a"), (1, "b"), (1, "c"), (4, "z")]


def test_a_scan_that_could_not_be_checked_earns_no_place() -> None:
    """Nothing is known of such a filling: its student is not ranked, least of all first."""
    unread = {"student": "u", "planned_end": 1.0, "check_reason": "the two scans do not fit together"}
    read = {"student": "r", "planned_end": 1.0, "check_to_terminus": 1.4, "check_reason": None}
    assert placed([unread]) == ()
    assert [p.student for p in placed([unread, read])] == ["r"]
