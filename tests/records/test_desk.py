"""Protects: through the desk everybody may do what the role says and no more, and every look at a person is logged."""

from datetime import date
from pathlib import Path

import icalendar
import pytest

from canalwright.records import Identity, Kind, Store
from canalwright.records.accounts import AccessLog, Act, Role, SignIn, Users
from canalwright.records.accounts.roles import ALLOWED
from canalwright.records.desk import Desk
from canalwright.records.errors import NotAllowed, NotFound, RecordsError, SessionLocked, SignInFailed
from canalwright.records.retention import Retention
from tests.records.conftest import CHEAP, Clock

PASSWORD = "violet bicycle under a bridge"
FILM = b"\xff\xd8\xff film"


@pytest.fixture
def desks(store: Store) -> dict[str, Desk]:
    """A clinician, an assistant, two students and a reader at the same records."""
    users = Users(store.vault, AccessLog(store.vault), CHEAP)
    users.first("clinician", PASSWORD)
    for role, name in (
        (Role.ASSISTANT, "assistant"),
        (Role.STUDENT, "student"),
        (Role.STUDENT, "other"),
        (Role.READER, "reader"),
    ):
        users.add(name, role, PASSWORD, "clinician")
        users.set_password(name, PASSWORD)
    door = SignIn(users)
    return {u.name: Desk(store, door, door.sign_in(u.name, PASSWORD)) for u in users.all()}


def test_every_act_is_decided_by_the_role(desks: dict[str, Desk], tmp_path: Path) -> None:
    """Each method of the desk by each role: done, or refused and logged; nothing in between."""
    boss = desks["clinician"]
    patient = boss.add_patient(Identity("Ada"))
    case = boss.open_case(patient, {"tooth": 46})
    plan = boss.record(case, Kind.PLAN, {"canal": "m", "plan": {}})
    image = boss.attach(case, FILM, "film")
    acts = {
        Act.SEE_LISTS: [lambda d: d.cases(), lambda d: d.due(date(2030, 1, 1)), lambda d: d.overdue(date(2030, 1, 1))],
        Act.SEE_CASE: [lambda d: d.case(case), lambda d: d.plan(case, "m"), lambda d: d.image(case, image)],
        Act.SEE_IDENTITY: [lambda d: d.identity(patient), lambda d: d.find("ada"), lambda d: d.identify(patient, Identity("Eve"))],
        Act.ADD_PATIENT: [lambda d: d.add_patient()],
        Act.OPEN_CASE: [lambda d: d.open_case(patient, {"tooth": 11})],
        Act.RECORD_TREATMENT: [lambda d: d.record(case, Kind.MEASUREMENT, {"x": 1})],
        Act.RECORD_RECALL: [lambda d: d.record(case, Kind.NOTE, {"x": 1}), lambda d: d.attach(case, FILM, "f")],
        Act.CORRECT: [lambda d: d.correct(case, plan, {"canal": "m", "plan": {"a": 1}}, "slip")],
        Act.TAKE_OUT: [lambda d: d.calendar(date(2030, 1, 1)), lambda d: d.write_case(case, tmp_path / "c.zip")],
        Act.TAKE_IN: [lambda d: d.read_case(tmp_path / "none.zip")],
        Act.ERASE: [
            lambda d: d.erase(patient, "asked", "wrong"),
            lambda d: d.hold(patient, True, "a dispute"),
            lambda d: d.expired(Retention(), date(2040, 1, 1)),
        ],
        Act.SEE_OUTCOMES: [lambda d: d.outcomes(date(2030, 1, 1))],
        Act.BACK_UP: [lambda d: d.back_up(), lambda d: d.verify()],
        Act.MANAGE_USERS: [lambda d: d.users],
        Act.SEE_ACCESS_LOG: [lambda d: d.access_log],
    }  # fmt: skip
    assert set(acts) == set(Act)
    for name in ("clinician", "assistant", "reader"):
        for act, tries in acts.items():
            for attempt in tries:
                allowed = act in ALLOWED[Role(name)]
                assert desks[name].allowed(act) is allowed
                if allowed:
                    try:
                        attempt(desks[name])
                    except RecordsError as error:
                        assert not isinstance(error, NotAllowed), (name, act)
                else:
                    with pytest.raises(NotAllowed, match="may not"):
                        attempt(desks[name])
                    refused = boss.door.users.log.read(author=name, limit=1)[0]
                    assert (refused.act, refused.detail) == ("refused", act.value)


def test_student_sees_own_cases_only(desks: dict[str, Desk]) -> None:
    """The case of another is answered as if there were none, and the try is logged."""
    student, other, boss = desks["student"], desks["other"], desks["clinician"]
    mine = student.open_case(student.add_patient(), {"tooth": 46, "operator": "other"})
    assert student.case(mine)[0].operator == "student"
    entry = student.record(mine, Kind.CHECK, {"on": "2024-01-01"})
    student.correct(mine, entry, {"on": "2024-01-02"}, "slip")
    theirs = boss.record(mine, Kind.NOTE, {"text": "by the teacher"})
    with pytest.raises(NotAllowed):
        student.correct(mine, theirs, None, "no")
    image = student.attach(mine, FILM, "film")
    foreign = other.open_case(other.add_patient(), {"tooth": 11})
    for attempt in (
        lambda: other.case(mine),
        lambda: other.record(mine, Kind.NOTE, {"x": 1}),
        lambda: other.attach(mine, FILM, "f"),
        lambda: other.image(mine, image),
        lambda: other.image(foreign, image),
        lambda: other.plan(mine, "m"),
        lambda: other.correct(mine, entry, None, "x"),
        lambda: other.correct(foreign, entry, None, "x"),
    ):
        with pytest.raises(NotFound):
            attempt()
    assert (other.cases().total, student.cases().total, boss.cases().total) == (1, 1, 2)
    assert (other.due(date(2030, 1, 1)).total, boss.due(date(2030, 1, 1)).total) == (0, 1)


def test_looks_at_a_person_are_logged(desks: dict[str, Desk]) -> None:
    boss = desks["clinician"]
    patient = boss.add_patient(Identity("Ada"))
    case = boss.open_case(patient, {"tooth": 46})
    desks["assistant"].identity(patient)
    desks["reader"].case(case)
    found = {(a.author, a.act) for a in boss.access_log.read(patient=patient)}
    assert {("assistant", Act.SEE_IDENTITY.value), ("reader", Act.SEE_CASE.value)} <= found
    assert "Ada" not in str(boss.access_log.read())
    boss.access_log.verify()


def test_locked_session_can_do_nothing(desks: dict[str, Desk], clock: Clock) -> None:
    clock.forward(minutes=11)
    with pytest.raises(SessionLocked):
        desks["clinician"].cases()


def test_erasing_asks_for_the_password_again(desks: dict[str, Desk]) -> None:
    boss = desks["clinician"]
    patient = boss.add_patient(Identity("Ada"))
    with pytest.raises(SignInFailed):
        boss.erase(patient, "asked", "wrong")
    assert boss.identity(patient).name == "Ada"
    boss.erase(patient, "asked", PASSWORD)
    with pytest.raises(RecordsError, match="was erased"):
        boss.identity(patient)


def test_role_taken_away_counts_at_once(desks: dict[str, Desk]) -> None:
    desks["clinician"].users.set_role("assistant", Role.READER, "clinician")
    with pytest.raises(RecordsError):
        desks["assistant"].add_patient()


def test_calendar_names_nobody(desks: dict[str, Desk]) -> None:
    """Read back by a library of its own kind: one all-day event for each recall due, under the pseudonym."""
    boss = desks["clinician"]
    patient = boss.add_patient(Identity("Ada Zwetschge"))
    case = boss.open_case(patient, {"tooth": 46})
    boss.record(case, Kind.CHECK, {"on": "2024-02-29"})
    data = boss.calendar(date(2026, 1, 1))
    assert b"Zwetschge" not in data
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    entries = icalendar.Calendar.from_ical(data).walk("VEVENT")
    assert [(e["DTSTART"].dt, e["DTEND"].dt) for e in entries] == [(date(2025, 2, 28), date(2025, 3, 1))]
    assert patient in entries[0]["SUMMARY"] and "46" in entries[0]["SUMMARY"]
    assert case in entries[0]["UID"]
