"""What opens the records at the command line: prompts without echo, the environment, the system's keyring."""

import getpass
import os
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from canalwright.records import Store
    from canalwright.records.secret import Secret

PASSPHRASE, NAMES, DATABASE = "CANALWRIGHT_PASSPHRASE", "CANALWRIGHT_NAMES_PASSPHRASE", "CANALWRIGHT_DATABASE"
Home = Annotated[Path, typer.Argument(metavar="HOME", help="Folder of the records.", show_default=False)]
Keyring = Annotated[
    str | None,
    typer.Option("--keyring", metavar="NAME", help="Take the secret of this name from the system's keyring."),
]
Url = Annotated[
    str | None,
    typer.Option("--url", envvar=DATABASE, metavar="URL", help="PostgreSQL database of the records, if not a file."),
]
Names = Annotated[bool, typer.Option("--names", help="Names have a passphrase of their own: ask for that too.")]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who does it; without it, your login here.")]


def secret_of(keyring: str | None, *, new: bool = False) -> "Secret":
    """The secret of the records: from the keyring where named, else the environment, else a prompt."""
    from canalwright.records import Passphrase, SystemKeyring

    if keyring is None:
        return Passphrase(_asked(PASSPHRASE, "Passphrase of the records", new=new))
    secret = SystemKeyring(keyring)
    return secret.make() if new else secret


def names_secret(*, new: bool = False) -> "Secret":
    """The passphrase of the names alone."""
    from canalwright.records import Passphrase

    return Passphrase(_asked(NAMES, "Passphrase of the names", new=new))


@contextmanager
def opened(
    home: Path, act: str, *, keyring: str | None = None, url: str | None = None, names: bool = False, by: str = ""
) -> "Iterator[Store]":
    """The records of a folder; that and why they were opened here is noted in the access log."""
    from canalwright.records import Store
    from canalwright.records.accounts import AccessLog

    with Store.open(home, secret_of(keyring), url=url, identity=names_secret() if names else None) as store:
        if not store.vault.read_only:
            with store.vault.writing() as connection:
                AccessLog(store.vault).note(connection, by or whoever(None), "command line", act)
        yield store


def whoever(by: str | None) -> str:
    """Who is named, or is logged in."""
    return by or getpass.getuser()


def day_of(option: str, text: str | None) -> date:
    """A day from an option; today without one."""
    if text is None:
        return date.today()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{option} = {text!r}: write the day as 2027-03-31") from None


def password_of(name: str) -> str:
    """A new password, typed twice without echo."""
    return _typed(f"Password of {name}", twice=True)


def _asked(variable: str, words: str, *, new: bool) -> str:
    given = os.environ.get(variable)
    return given if given else _typed(words, twice=new, instead=f", or set {variable}")


def _typed(words: str, *, twice: bool, instead: str = "") -> str:
    """A secret typed without echo; where there is no terminal, a line of the input, twice where it is new. Raises BadEntry."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", getpass.GetPassWarning)
            return str(typer.prompt(words, hide_input=True, confirmation_prompt=twice, err=True))
    except getpass.GetPassWarning:
        print(file=sys.stderr)  # noqa: T201  the question stands on a line of its own
        lines = [sys.stdin.readline().rstrip("\r\n") for _ in range(1 + twice)]
    if not all(lines) or len(set(lines)) > 1:
        from canalwright.records.errors import BadEntry

        how = "twice the same, a line each" if twice else "as a line"
        raise BadEntry(f"{words}: none was given; type it at a terminal, send it {how}{instead}")
    return lines[0]
