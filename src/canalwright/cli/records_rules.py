"""records: rules of one's own: when a case is recalled, when it is closed, what is held, how long records are kept."""

from typing import Annotated

import typer

from canalwright.cli import inputs, output
from canalwright.cli.records_keys import By, Home, Keyring, Names, Url, day_of, opened, whoever
from canalwright.cli.records_people import Patient
from canalwright.cli.records_recall import Today

Case = Annotated[
    str, typer.Argument(metavar="CASE", help="Name of the case, such as C-7K3MQ-2XDRC.", show_default=False)
]
Months = Annotated[
    str, typer.Argument(metavar="MONTHS", help="Months after the filling, such as 6,12,24; or 'guideline'.")
]
Why = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why, without a name.")]
Called = Annotated[str, typer.Option("--name", metavar="TEXT", help="What the rule is called.")]
Years = Annotated[int, typer.Option("--years", metavar="N", help="Keep for so many years after the last entry.")]
Age = Annotated[
    int | None,
    typer.Option("--until-age", metavar="N", help="... and until this age (asks for the names' passphrase)."),
]


def schedule(
    home: Home, case: Case, months: Months, name: Called = "own rule", keyring: Keyring = None, url: Url = None,
    by: By = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Recall a case by a rule of your own, or by the guideline again."""
    from canalwright.records import Kind
    from canalwright.records.recall import GUIDELINE, Rule

    rule = GUIDELINE if months == GUIDELINE.name else Rule(name, _months(months))
    who = whoever(by)
    with opened(home, f"schedule of {case}", keyring=keyring, url=url, by=who) as store:
        store.cases.record(case, Kind.SCHEDULE, rule.as_json(), who)
        due = store.cases.view(case).next_due
    if json:
        output.print_json({"case": case, "rule": rule.as_json(), "next_due": due})
    else:
        listed = ", ".join(map(str, rule.months))
        output.line(f"{case}: recalls {listed} months after the filling ({rule.name}); next {due or 'not known yet'}")


def close(
    home: Home, case: Case, reason: Why = "", keyring: Keyring = None, url: Url = None, by: By = None,
    json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Close a case: nobody is recalled for it any more; what happened stays."""
    from canalwright.records import Kind

    who = whoever(by)
    with opened(home, f"close {case}", keyring=keyring, url=url, by=who) as store:
        number = store.cases.record(case, Kind.CLOSE, {"reason": reason}, who)
    if json:
        output.print_json({"case": case, "event": number})
    else:
        output.line(f"closed {case}; event {number}")


def hold(
    home: Home, patient: Patient, reason: Why = "",
    release: Annotated[bool, typer.Option("--release", help="Let go of it again.")] = False,
    keyring: Keyring = None, url: Url = None, by: By = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Hold a person's data beyond the rule of retention, in a dispute, say."""
    who = whoever(by)
    with opened(home, f"hold {patient}", keyring=keyring, url=url, by=who) as store:
        store.patients.hold(patient, not release, reason, who)
    if json:
        output.print_json({"patient": patient, "held": not release})
    else:
        output.line(f"{patient}: {'no longer held' if release else 'held beyond the rule of retention'}")


def expired(
    home: Home, years: Years = 10, until_age: Age = None, today: Today = None,
    erase: Annotated[bool, typer.Option("--erase", help="Erase them for good, in the backups beside the records too.")] = False,
    names: Names = False, keyring: Keyring = None, url: Url = None, by: By = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """List who is past the rule of retention and not held; erase them when asked."""
    from canalwright.records import retention
    from canalwright.web.records import erasing

    rule, day, who = retention.Retention(years, until_age), day_of("--today", today), whoever(by)
    with opened(home, "retention", keyring=keyring, url=url, names=names, by=who) as store:
        found = retention.expired(store.patients, rule, day)
        if erase and found:
            known = [erasing.traces(store.patients.events(each.patient)) for each in found]
            found = retention.erase_expired(store.patients, rule, day, who)
            erasing.forget(store, known)
            store.backups.renew()
    if json:
        rows = [{"patient": e.patient, "last": e.last.isoformat(), "since": e.since.isoformat()} for e in found]
        output.print_json({"erased" if erase else "expired": rows})
        return
    for each in found:
        output.line(f"{each.patient}  last entry {each.last}, past the rule since {each.since}")
    output.line(f"{len(found)} {'erased' if erase else 'past the rule'}")


def _months(text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(f"MONTHS = {text!r}: whole numbers with commas between, such as 6,12,24") from None
