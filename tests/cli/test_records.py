"""Protects: the records from the command line as an administrator uses them, and bad input told in one line with exit code 2."""

import io
import json
import warnings
from datetime import date, timedelta
from getpass import GetPassWarning
from pathlib import Path

import pytest
from typer.testing import CliRunner

from canalwright.cli import main
from canalwright.cli.app import app
from canalwright.cli.records_keys import password_of
from canalwright.records import Cost, Identity, Kind, Passphrase, Store
from canalwright.records.errors import BadEntry

SECRET, PASSWORD = "green teapot walks over rivers", "violet bicycle under a bridge"
CHEAP = Cost(time=1, memory=8, lanes=1)


@pytest.fixture(autouse=True)
def environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CANALWRIGHT_PASSPHRASE", SECRET)
    monkeypatch.delenv("CANALWRIGHT_DATABASE", raising=False)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "practice"


@pytest.fixture
def kept(home: Path) -> tuple[str, str]:
    """Records with one patient, filled three years ago and never seen again; gives patient and case."""
    with Store.create(home, Passphrase(SECRET), cost=CHEAP) as store:
        patient = store.patients.add("ann", Identity("Ada Invented"))
        case = store.cases.open(patient, {"tooth": 46, "index_before": 4}, "ann")
        filled = date.today() - timedelta(days=3 * 365)
        store.cases.record(case, Kind.CHECK, {"on": filled.isoformat()}, "ann")
    return patient, case


def run(*arguments: str | Path, typed: str = "") -> str:
    result = CliRunner().invoke(app, ["records", *map(str, arguments)], input=typed, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


def refused(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    with pytest.raises(SystemExit) as stop:
        main(["records", *map(str, arguments)])
    said = capsys.readouterr().err
    assert stop.value.code == 2
    assert "Traceback" not in said
    assert said.startswith(("canalwright: ", "Usage:"))
    return said


def test_from_nothing_to_a_checked_backup_and_back(home: Path) -> None:
    said = run("init", home, "--user", "ann", typed=f"{PASSWORD}\n{PASSWORD}\n")
    assert "keep the passphrase safe" in said
    assert PASSWORD not in said
    assert "ann" in run("users", "list", home)
    path = Path(json.loads(run("backup", home, "--json"))["backup"])
    assert path.is_file()
    told = json.loads(run("verify", home, "--backup", path, "--json"))
    assert told["events"] == 0 and len(told["head"]) == 64
    assert "moved" not in run("restore", path, home.with_name("copy"))
    assert Path(json.loads(run("restore", path, home, "--json"))["moved_aside"]).is_dir()


def test_a_case_goes_out_and_comes_in(home: Path, kept: tuple[str, str], tmp_path: Path) -> None:
    patient, case = kept
    run("export", home, case, tmp_path / "case.zip")
    other = home.with_name("other")
    Store.create(other, Passphrase(SECRET), cost=CHEAP).close()
    told = json.loads(run("import", other, tmp_path / "case.zip", "--json"))
    assert told["tooth"] == 46 and told["patient"] != patient


def test_a_person_is_given_everything_and_erased(home: Path, kept: tuple[str, str], tmp_path: Path) -> None:
    patient, _ = kept
    run("backup", home)
    run("person-export", home, patient, tmp_path / "ada.zip")
    assert (tmp_path / "ada.zip").stat().st_size > 100
    said = run("person-erase", home, patient, "--reason", "asked for it", typed=f"{patient}\n")
    assert "tombstone" in said
    assert len(list((home / "backups").glob("*.backup"))) == 1, "no backup may still hold the person"
    assert "0 overdue" in run("overdue", home)
    with Store.open(home, Passphrase(SECRET)) as store:
        from canalwright.records.accounts import AccessLog

        acts = [line.detail for line in AccessLog(store.vault).read()]
    assert f"erase {patient}" in acts and f"all data of {patient}" in acts


def test_erasing_needs_the_pseudonym_typed_once_more(home: Path, kept: tuple[str, str]) -> None:
    result = CliRunner().invoke(app, ["records", "person-erase", str(home), kept[0], "--reason", "x"], input="P-0\n")
    assert result.exit_code != 0
    assert "1 overdue" in run("overdue", home)


def test_due_overdue_and_calendar(home: Path, kept: tuple[str, str], tmp_path: Path) -> None:
    patient, case = kept
    assert patient in run("due", home, "--calendar", tmp_path / "due.ics")
    assert patient in (tmp_path / "due.ics").read_text()
    found = json.loads(run("overdue", home, "--json"))
    assert found["total"] == 1 and found["cases"][0]["case_id"] == case
    assert "0 due" in run("due", home, "--by", "2020-01-01")


def test_outcomes_refuse_few_cases(home: Path, kept: tuple[str, str]) -> None:
    said = run("outcomes", home)
    assert "Filled teeth: 1" in said and "too few" in said and "Ng" in said
    assert json.loads(run("outcomes", home, "--json"))["survival"] is None


def test_users_are_added_changed_and_shut_out(home: Path, kept: tuple[str, str]) -> None:
    run("users", "first", home, "ann", typed=f"{PASSWORD}\n{PASSWORD}\n")
    given = json.loads(run("users", "add", home, "stu", "student", "--json"))["given"]
    assert len(given) >= 20
    run("users", "role", home, "stu", "reader")
    run("users", "shut-out", home, "stu")
    found = {u["name"]: u for u in json.loads(run("users", "list", home, "--json"))["users"]}
    assert found["stu"] == {"name": "stu", "role": "reader", "second_factor": False, "shut_out": True}
    assert json.loads(run("users", "reset", home, "stu", "--json"))["given"] != given


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["verify", "{nowhere}"], "no records in"),
        (["init", "{home}"], "is not empty"),
        (["export", "{home}", "C-00000-00000", "{out}"], "no case"),
        (["import", "{home}", "{text}"], "archive"),
        (["restore", "{text}", "{out}"], "backup"),
        (["restore", "{nowhere}", "{out}"], "no backup"),
        (["due", "{home}", "--by", "tomorrow"], "2027-03-31"),
        (["users", "add", "{home}", "stu", "boss"], "student"),
        (["users", "shut-out", "{home}", "nobody"], "no user"),
        (["person-erase", "{home}", "P-00000-00000", "--yes"], "reason"),
    ],
)
def test_bad_input_is_one_line(
    home: Path,
    kept: tuple[str, str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    words: str,
) -> None:
    (tmp_path / "text").write_text("not ours")
    places = {"home": home, "nowhere": tmp_path / "nowhere", "out": tmp_path / "out", "text": tmp_path / "text"}
    assert words in refused(capsys, *(a.format(**places) for a in arguments))
    assert not (tmp_path / "out").exists()


def test_wrong_or_weak_passphrase(
    home: Path, kept: tuple[str, str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("CANALWRIGHT_PASSPHRASE", "another")
    assert "does not open" in refused(capsys, "verify", home)
    assert "passphrase refused" in refused(capsys, "init", home.with_name("new"))
    assert not home.with_name("new").exists()


def test_the_passphrase_is_asked_for_without_echo(
    home: Path, kept: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CANALWRIGHT_PASSPHRASE")
    assert SECRET not in run("verify", home, typed=f"{SECRET}\n")


def test_outcomes_write_pictures_and_tables(home: Path, kept: tuple[str, str], tmp_path: Path) -> None:
    run("outcomes", home, "--out", tmp_path / "told")
    names = {p.name for p in (tmp_path / "told").iterdir()}
    assert {"success.svg", "success.csv", "survival.svg"} <= names
    assert "Not drawn" in (tmp_path / "told" / "survival.svg").read_text()


def test_rules_of_ones_own(home: Path, kept: tuple[str, str]) -> None:
    """A recall rule moves what is due; a closed case is due no more; a held person is never past the rule of retention."""
    patient, case = kept
    filled = date.today() - timedelta(days=3 * 365)
    said = json.loads(run("schedule", home, case, "60,120", "--json"))
    assert said["next_due"].startswith(str(filled.year + 5))
    assert case not in run("due", home)
    assert "12, 48" in run("schedule", home, case, "guideline")
    assert case in run("due", home)
    assert "closed" in run("close", home, case, "--reason", "moved away")
    assert case not in run("due", home)
    later = f"{date.today().year + 20}-01-01"
    assert patient in run("expired", home, "--today", later)
    run("hold", home, patient, "--reason", "a dispute")
    assert "0 past the rule" in run("expired", home, "--today", later)
    run("hold", home, patient, "--release")
    assert json.loads(run("expired", home, "--today", later, "--erase", "--json"))["erased"][0]["patient"] == patient
    assert "0 past the rule" in run("expired", home, "--today", later)


def test_a_rule_that_cannot_be_is_refused(
    home: Path, kept: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert "rising whole months" in refused(capsys, "schedule", home, kept[1], "12,6")
    assert "1 to 100 years" in refused(capsys, "expired", home, "--years", "0")


def test_a_password_without_a_terminal_is_read_as_a_line_or_asked_for_in_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def no_terminal(*_: object, **__: object) -> str:
        warnings.warn("Can not control echo on the terminal.", GetPassWarning, stacklevel=2)
        return "never reached"

    monkeypatch.setattr("typer.prompt", no_terminal)
    for sent in ("", "one\nother\n"):
        monkeypatch.setattr("sys.stdin", io.StringIO(sent))
        with pytest.raises(BadEntry, match="Password of ann: none was given; type it at a terminal"):
            password_of("ann")
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORD}\n{PASSWORD}\n"))
    assert password_of("ann") == PASSWORD
    assert "GetPassWarning" not in capsys.readouterr().err
