"""Roles and what each may do. What is not listed is not allowed."""

from enum import StrEnum


class Role(StrEnum):
    """What somebody is in the practice or the school."""

    CLINICIAN = "clinician"
    ASSISTANT = "assistant"
    STUDENT = "student"
    READER = "reader"


class Act(StrEnum):
    """What can be asked of the records. A student does with cases of their own only what the list says."""

    SEE_LISTS = "see lists"
    SEE_CASE = "see a case"
    SEE_IDENTITY = "see who a patient is"
    ADD_PATIENT = "add a patient"
    OPEN_CASE = "open a case"
    RECORD_TREATMENT = "record measurements, plans, chair logs and checks"
    RECORD_RECALL = "record recalls, schedules, notes and images"
    CORRECT = "correct an entry"
    SEE_OUTCOMES = "see outcomes"
    TAKE_OUT = "write archives and calendars"
    TAKE_IN = "take in archives"
    ERASE = "erase a person's data"
    BACK_UP = "make and check backups"
    MANAGE_USERS = "manage users"
    SEE_ACCESS_LOG = "see the access log"


ALLOWED: dict[Role, frozenset[Act]] = {
    Role.CLINICIAN: frozenset(Act),
    Role.ASSISTANT: frozenset(
        {
            Act.SEE_LISTS,
            Act.SEE_CASE,
            Act.SEE_IDENTITY,
            Act.ADD_PATIENT,
            Act.OPEN_CASE,
            Act.RECORD_RECALL,
            Act.TAKE_OUT,
            Act.BACK_UP,
        }
    ),
    Role.STUDENT: frozenset(
        {
            Act.SEE_LISTS,
            Act.SEE_CASE,
            Act.ADD_PATIENT,
            Act.OPEN_CASE,
            Act.RECORD_TREATMENT,
            Act.RECORD_RECALL,
            Act.CORRECT,
            Act.SEE_OUTCOMES,
        }
    ),
    Role.READER: frozenset({Act.SEE_LISTS, Act.SEE_CASE, Act.SEE_OUTCOMES}),
}
OWN_ONLY = frozenset({Role.STUDENT})


def may(role: Role, act: Act) -> bool:
    """Whether a role includes an act."""
    return act in ALLOWED[role]
