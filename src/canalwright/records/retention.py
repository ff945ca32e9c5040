"""How long records are kept, by a rule of one's own, and who is past it."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select

from canalwright.records import schema
from canalwright.records.errors import BadEntry
from canalwright.records.events import Kind
from canalwright.records.moments import day, moment
from canalwright.records.patients import Patients
from canalwright.records.recall.rules import months_after


@dataclass(frozen=True)
class Retention:
    """Keep records for `years` after the last entry, and at least until the patient is `until_age` years old.

    The law of the place says how long; common practice is 10 years, longer for the young. Who has no date of birth
    on record counts as old enough.
    """

    years: int = 10
    until_age: int | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.years <= 100 or (self.until_age is not None and not 1 <= self.until_age <= 100):
            raise BadEntry("records are kept for 1 to 100 years, and at most to the age of 100")


@dataclass(frozen=True)
class Expired:
    """A patient past the rule: the day of the last entry, and the day from which erasing is due."""

    patient: str
    last: date
    since: date


def expired(patients: Patients, rule: Retention, today: date) -> list[Expired]:
    """Who is past the rule and not held, the longest first. Raises IdentityLocked when the rule asks for ages."""
    event, patient = schema.event.c, schema.patient.c
    query = (
        select(event.patient, func.max(event.time))
        .join(schema.patient, patient.pseudonym == event.patient)
        .where(patient.wrapped.is_not(None))
        .group_by(event.patient)
    )
    with patients.vault.reading() as connection:
        rows = connection.execute(query).all()
    found: list[Expired] = []
    for name, time in rows:
        last = moment(time).date()
        since = months_after(last, 12 * rule.years)
        if since <= today and rule.until_age and (born := patients.identity(name).born):
            since = max(since, months_after(day(born), 12 * rule.until_age))
        if since <= today and not held(patients, name):
            found.append(Expired(name, last, since))
    return sorted(found, key=lambda e: (e.since, e.patient))


def erase_expired(patients: Patients, rule: Retention, today: date, author: str) -> list[Expired]:
    """Erase everybody past the rule; gives whom. Copies in backups live until these are rotated out."""
    gone = expired(patients, rule, today)
    for each in gone:
        patients.erase(each.patient, f"kept for {rule.years} years after the last entry of {each.last}", author)
    return gone


def held(patients: Patients, pseudonym: str) -> bool:
    """Whether a person's data is held beyond the rule."""
    last = [e for e in patients.events(pseudonym) if e.kind is Kind.HOLD]
    return bool(last and last[-1].field("hold") is True)
