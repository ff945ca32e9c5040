"""records: what concerns persons: patients' data given or erased, and the users of the page."""

import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from canalwright.cli import inputs, output
from canalwright.cli.records_keys import By, Home, Keyring, Names, Url, opened, password_of, whoever

if TYPE_CHECKING:
    from canalwright.records import Store
    from canalwright.records.accounts import Role, Users

Patient = Annotated[str, typer.Argument(metavar="PATIENT", help="Pseudonym, such as P-7K3MQ-2XDRC.")]
User = Annotated[str, typer.Argument(metavar="NAME", help="Name of the user.", show_default=False)]
As = Annotated[str, typer.Argument(metavar="ROLE", help="clinician, assistant, student or reader.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Who asked for it, without a name.")]
Yes = Annotated[bool, typer.Option("--yes", help="Do not ask again.")]
users = typer.Typer(no_args_is_help=True, help="The users of the page: first, list, add, role, shut-out, reset.")


def person_export(
    home: Home,
    patient: Patient,
    out: Annotated[Path, typer.Argument(metavar="FILE", help="File to write (.zip).", show_default=False)],
    names: Names = False,
    keyring: Keyring = None,
    url: Url = None,
    by: By = None,
    json: inputs.AsJson = False,
) -> None:
    """Give a person all that is kept of them, identity included. The file is not encrypted."""
    who = whoever(by)
    with opened(home, f"all data of {patient}", keyring=keyring, url=url, names=names, by=who) as store:
        store.transfer.write_person(patient, out, who)
    if json:
        output.print_json({"patient": patient, "file": str(out)})
    else:
        output.line(f"wrote {out}; it names the person and is not encrypted")


def person_erase(
    home: Home,
    patient: Patient,
    reason: Reason = "",
    yes: Yes = False,
    keyring: Keyring = None,
    url: Url = None,
    by: By = None,
    json: inputs.AsJson = False,
) -> None:
    """Erase a person's data for good, in the records and in the backups beside them."""
    from canalwright.records.errors import BadEntry
    from canalwright.web.records import erasing

    who = whoever(by)
    with opened(home, f"erase {patient}", keyring=keyring, url=url, by=who) as store:
        cases = store.cases.page(patient=patient).total
        if not yes:
            output.error(f"{patient}: {cases} cases will be gone for good. Type the pseudonym once more to go on.")
            if typer.prompt("Pseudonym", err=True).strip() != patient:
                raise BadEntry("nothing was erased: the pseudonym typed is another")
        known = (
            [erasing.traces(store.patients.events(patient))] if reason.strip() else []
        )  # without one nothing is erased
        number = store.patients.erase(patient, reason, who)
        erasing.forget(store, known)
        fresh = store.backups.renew()
    if json:
        output.print_json({"patient": patient, "tombstone": number, "backup": str(fresh.path)})
        return
    output.line(f"erased {patient}; event {number} is the tombstone")
    output.line(f"  a fresh backup, {fresh.path.name}, took the place of those that still held the data")
    output.line("  copies of backups elsewhere, and archives written out before, are yours to delete")


@users.command("list")
def listed(home: Home, keyring: Keyring = None, url: Url = None, json: inputs.AsJson = False) -> None:
    """Say who there is."""
    with opened(home, "users listed", keyring=keyring, url=url) as store:
        found = _users(store).all()
    if json:
        rows = [
            {"name": u.name, "role": u.role.value, "second_factor": u.second_factor, "shut_out": u.disabled}
            for u in found
        ]
        output.print_json({"users": rows})
        return
    for user in found:
        marks = ["second factor"] * user.second_factor + ["shut out"] * user.disabled
        output.line("  ".join([f"{user.name:<24}", f"{user.role.value:<10}", *marks]).rstrip())
    if not found:
        output.line(f"no user yet; add the first: canalwright records users first {home} NAME")


@users.command("first")
def first(home: Home, name: User, keyring: Keyring = None, url: Url = None, json: inputs.AsJson = False) -> None:
    """Add the first user, a clinician, who can then sign in to the page and add others."""
    with opened(home, f"first user {name}", keyring=keyring, url=url) as store:
        _users(store).first(name, password_of(name))
    _told(json, f"added {name}, clinician; open the page with: canalwright serve --records {home}", name=name)


@users.command("add")
def add(
    home: Home, name: User, role: As, keyring: Keyring = None, url: Url = None, by: By = None,
    json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Add a user with a password made up here: good for a week, and for choosing one of their own."""
    given = secrets.token_urlsafe(15)
    with opened(home, f"user {name} added", keyring=keyring, url=url, by=whoever(by)) as store:
        _users(store).add(name, _role(role), given, whoever(by))
    _told(json, f"added {name}, {role}. Password for the first sign-in, within a week: {given}", name=name, given=given)


@users.command("role")
def set_role(
    home: Home, name: User, role: As, keyring: Keyring = None, url: Url = None, by: By = None,
    json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Give a user another role; it counts at once."""
    with opened(home, f"role of {name}", keyring=keyring, url=url, by=whoever(by)) as store:
        _users(store).set_role(name, _role(role), whoever(by))
    _told(json, f"{name} is now {role}", name=name, role=role)


@users.command("shut-out")
def shut_out(
    home: Home, name: User, keyring: Keyring = None, url: Url = None, by: By = None, json: inputs.AsJson = False
) -> None:
    """Shut a user out at once; `reset` lets them in again."""
    with opened(home, f"{name} shut out", keyring=keyring, url=url, by=whoever(by)) as store:
        _users(store).disable(name, whoever(by))
    _told(json, f"{name} is shut out", name=name)


@users.command("reset")
def reset(
    home: Home, name: User, keyring: Keyring = None, url: Url = None, by: By = None, json: inputs.AsJson = False
) -> None:
    """Give a user a fresh password for a week, and take the second factor away."""
    given = secrets.token_urlsafe(15)
    with opened(home, f"{name} reset", keyring=keyring, url=url, by=whoever(by)) as store:
        _users(store).reset(name, given, whoever(by))
    _told(json, f"{name} signs in once with: {given}", name=name, given=given)


def _users(store: "Store") -> "Users":
    from canalwright.records.accounts import AccessLog, Users

    return Users(store.vault, AccessLog(store.vault))


def _role(text: str) -> "Role":
    from canalwright.records.accounts import Role

    try:
        return Role(text.casefold())
    except ValueError:
        raise typer.BadParameter(f"ROLE = {text!r}: one of {', '.join(Role)}") from None


def _told(json: bool, words: str, **fields: str) -> None:
    if json:
        output.print_json(dict(fields))
    else:
        output.line(words)
