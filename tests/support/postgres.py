"""A PostgreSQL server of our own for the tests: started from Debian's package, on a socket in a scratch folder.

Where the server is missing the tests that need it are skipped with a word of why; with CI=true they fail instead,
after an attempt to install the package. Nothing of a server that already runs is touched.
"""

import os
import shutil
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

DEBIAN = Path("/usr/lib/postgresql")


@dataclass(frozen=True)
class Server:
    """A running server: `socket` is the folder of its socket."""

    socket: Path

    def new_database(self) -> str:
        """URL of a fresh, empty database."""
        import psycopg

        name = f"t{uuid.uuid4().hex}"
        with psycopg.connect(f"host={self.socket} user=postgres dbname=postgres", autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"')
        return f"postgresql://postgres@/{name}?host={self.socket}"


@contextmanager
def server(durable: bool = False) -> Iterator[Server]:
    """Start a server and stop it at the end; `durable` flushes to the disk as a real one would."""
    binaries = _binaries()
    folder = Path(tempfile.mkdtemp(prefix="cw-pg-"))
    owner = {"user": "postgres"} if os.geteuid() == 0 else {}
    if owner:
        shutil.chown(folder, "postgres")
    data = folder / "data"
    try:
        _run(owner, binaries / "initdb", "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync")
        settings = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync={'on' if durable else 'off'}"
        _run(owner, binaries / "pg_ctl", "-D", data, "-o", settings, "-l", folder / "log", "-w", "start")
        try:
            yield Server(folder)
        finally:
            _run(owner, binaries / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _binaries() -> Path:
    found = _find()
    strict = os.environ.get("CI", "").lower() == "true"
    if found is None and strict and os.geteuid() == 0 and shutil.which("apt-get"):
        subprocess.run(["apt-get", "install", "-y", "-qq", "--no-install-recommends", "postgresql"], check=True)
        found = _find()
    if found is None:
        why = "PostgreSQL is not installed (Debian: apt-get install postgresql)"
        pytest.fail(why) if strict else pytest.skip(why)
    return found


def _find() -> Path | None:
    places = [p / "bin" for p in sorted(DEBIAN.glob("*"), reverse=True)]
    on_path = shutil.which("initdb")
    places += [Path(on_path).resolve().parent] if on_path else []
    return next((p for p in places if (p / "initdb").exists() and (p / "pg_ctl").exists()), None)


def _run(owner: dict[str, str], *command: object) -> None:
    """Run a command, its output in a file: a server inherits the pipe and would keep it open."""
    with tempfile.TemporaryFile() as output:
        done = subprocess.run(
            [str(c) for c in command], stdout=output, stderr=subprocess.STDOUT, cwd="/", timeout=60, check=False,
            env={**os.environ, "LC_ALL": "C.UTF-8"}, **owner,
        )  # fmt: skip
        if done.returncode:
            output.seek(0)
            raise RuntimeError(output.read().decode(errors="replace"))
