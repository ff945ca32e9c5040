"""records: make, check, back up, restore; cases out and in."""

from pathlib import Path
from typing import Annotated

import typer

from canalwright.cli import inputs, output, records_people, records_recall, records_rules
from canalwright.cli.records_keys import By, Home, Keyring, Url, names_secret, opened, password_of, secret_of, whoever

app = typer.Typer(
    no_args_is_help=True,
    help="Records that are kept: encrypted, never rewritten. The passphrase is asked for, or read from "
    "CANALWRIGHT_PASSPHRASE, or with --keyring from the system's keyring.",
)
app.command("person-export")(records_people.person_export)
app.command("person-erase")(records_people.person_erase)
app.command("due")(records_recall.due)
app.command("overdue")(records_recall.overdue)
app.command("outcomes")(records_recall.outcomes)
app.command("schedule")(records_rules.schedule)
app.command("close")(records_rules.close)
app.command("hold")(records_rules.hold)
app.command("expired")(records_rules.expired)
app.add_typer(records_people.users, name="users")

Elsewhere = Annotated[
    Path | None,
    typer.Option("--to", metavar="FOLDER", help="Put it here, on another disk, instead of beside the data."),
]
Check = Annotated[
    Path | None, typer.Option("--backup", metavar="FILE", help="Restore this backup on trial too; nothing is changed.")
]
First = Annotated[
    str | None, typer.Option("--user", metavar="NAME", help="Add the first user, a clinician, for the page.")
]
Apart = Annotated[bool, typer.Option("--names-apart", help="Give the names of patients a passphrase of their own.")]


@app.command()
def init(
    home: Home, user: First = None, apart: Apart = False, keyring: Keyring = None, url: Url = None,
    json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Make empty records in a folder that does not exist yet or is empty."""
    from canalwright.records import Store
    from canalwright.records.accounts import AccessLog, Users
    from canalwright.records.accounts.passwords import verifier
    from canalwright.records.keys import Cost

    secret = secret_of(keyring, new=True)
    names = names_secret(new=True) if apart else None
    password = password_of(user) if user else ""
    if user:
        verifier(password, Cost(), user)  # a weak one is refused before anything is made
    with Store.create(home, secret, url=url, identity=names) as store:
        if user:
            Users(store.vault, AccessLog(store.vault)).first(user, password)
        told = {"home": str(home), "store": store.vault.key_file.store, "user": user}
    if json:
        output.print_json(told)
        return
    output.line(f"made records in {home}; keep the passphrase safe: without it nothing can ever be read again")
    if not user:
        output.line(f"next, to use them in the page: canalwright records users first {home} NAME")


@app.command()
def verify(
    home: Home, backup: Check = None, keyring: Keyring = None, url: Url = None, json: inputs.AsJson = False
) -> None:
    """Check every page, every event and the access log, and that they hold what the backups say they did."""
    from canalwright.records.accounts import AccessLog

    with opened(home, "verified", keyring=keyring, url=url) as store, output.progress("checking"):
        head = store.verify()
        looks = AccessLog(store.vault).verify()
        header = store.backups.check(backup) if backup else None
    told = {"events": head.seq, "head": head.hash, "access_log": looks.seq, "backup": backup and str(backup)}
    if json:
        output.print_json(told)
        return
    output.line(f"{home}: good. {head.seq} events and {looks.seq} lines of the access log are as they were written")
    output.line(f"  head {head.hash}: written down elsewhere, it shows later that none was taken away")
    if header:
        output.line(f"  {backup}: good, {header.rows} rows of {header.made}")


@app.command()
def backup(
    home: Home, to: Elsewhere = None, keyring: Keyring = None, url: Url = None, json: inputs.AsJson = False
) -> None:
    """Make an encrypted backup, restore it on trial, and drop old ones that no rule keeps."""
    from canalwright.records.backup import Backups

    with opened(home, "backed up", keyring=keyring, url=url) as store, output.progress("backing up"):
        backups = Backups(store.vault, to)
        made = backups.make()
        gone = backups.rotate()
    if json:
        output.print_json({"backup": str(made.path), "events": made.head.seq, "deleted": gone})
        return
    output.line(f"wrote {made.path}: {made.head.seq} events, restored on trial and good")
    if gone:
        output.line(f"  {len(gone)} old ones deleted: 7 days, 5 weeks and 12 months have one each")


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="BACKUP", help="The backup.", show_default=False)],
    home: Home,
    keyring: Keyring = None,
    url: Url = None,
    json: inputs.AsJson = False,
) -> None:
    """Put the records of a backup back, with the passphrase of its time; what is there now is moved aside."""
    from canalwright.records import restore as put_back
    from canalwright.records.errors import NotFound

    if not file.is_file():
        raise NotFound(f"there is no backup {file}")
    secret = secret_of(keyring)
    with output.progress("restoring"):
        aside = put_back(file, home, secret, url=url)
    if json:
        output.print_json({"home": str(home), "moved_aside": aside and str(aside)})
        return
    output.line(f"restored {file} into {home}")
    if aside:
        output.line(f"  what was there before lies in {aside}")


@app.command("export")
def export(
    home: Home,
    case: Annotated[str, typer.Argument(metavar="CASE", help="Name of the case, such as C-7K3MQ-2XDRC.")],
    out: Annotated[Path, typer.Argument(metavar="FILE", help="Archive to write (.zip).")],
    keyring: Keyring = None,
    url: Url = None,
    by: By = None,
    json: inputs.AsJson = False,
) -> None:
    """Write a case as an archive, under its pseudonym and without identity. The archive is not encrypted."""
    with opened(home, f"export {case}", keyring=keyring, url=url, by=whoever(by)) as store:
        store.transfer.write_case(case, out, whoever(by))
    if json:
        output.print_json({"case": case, "archive": str(out)})
    else:
        output.line(f"wrote {out}; it is not encrypted")


@app.command("import")
def take_in(
    home: Home,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Archive of a case.", show_default=False)],
    patient: Annotated[
        str | None, typer.Option("--patient", metavar="P", help="Pseudonym whose case it is; without it a new patient.")
    ] = None,
    keyring: Keyring = None,
    url: Url = None,
    by: By = None,
    json: inputs.AsJson = False,
) -> None:
    """Take in a case from an archive; a damaged one changes nothing."""
    with opened(home, "import", keyring=keyring, url=url, by=whoever(by)) as store:
        case = store.transfer.read_case(file, whoever(by), patient)
        view = store.cases.view(case)
    if json:
        output.print_json({"case": case, "patient": view.patient, "tooth": view.tooth})
    else:
        output.line(f"took in {case}: patient {view.patient}, tooth {view.tooth}")
