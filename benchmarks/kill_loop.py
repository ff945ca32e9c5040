"""Kill the program at any moment, again and again: no committed event may be lost, no file left corrupt.

    python benchmarks/kill_loop.py [rounds, 500 unless told] [seed]

Each round a child process opens the records and works (events, images, backups, erasing, changed passphrases, upgrades),
telling every commit through a pipe as soon as it has returned; SIGKILL comes after a random time. Then the records are
opened afresh: every event that was told must be there, the chain hold, lists equal what the events say, and
whoever was told to be erased must be gone. What this does not show: a power cut, for which SQLite's
`synchronous = FULL` and the disk's own honesty stand.
"""

import os
import random
import select
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import asdict
from pathlib import Path

import zxcvbn  # noqa: F401  (loaded before the forks, so that the kills meet the work and not the loading)

import canalwright.anatomy.tooth  # noqa: F401  (so is this)
from canalwright.records import Cost, Identity, Kind, Passphrase, Store
from canalwright.records.caseview import fold
from canalwright.records.errors import RecordsError, StoreMissing, WrongPassphrase
from canalwright.records.vault import create_vault

CHEAP = Cost(1, 8, 1)
SECRETS = (Passphrase("green teapot walks over rivers"), Passphrase("seven quiet lanterns under snow"))
FILM = b"\xff\xd8\xff" + bytes(range(256)) * 400


def main(rounds: int = 500, seed: int = 20, folder: Path | None = None) -> Counter[str]:
    """Run the loop and print what happened; gives the counts. Raises AssertionError at the first loss."""
    chance = random.Random(seed)
    root = Path(tempfile.mkdtemp(prefix="cw-kill-")) if folder is None else folder
    counts: Counter[str] = Counter()
    home, started = root / "records", time.monotonic()
    told: dict[str, set[str]] = {"event": set(), "erased": set()}
    create_vault(home, SECRETS[0], cost=CHEAP, revision="0001").close()
    for number in range(rounds):
        if number % 100 == 99:
            home = root / f"records-{number}"
            create_vault(home, SECRETS[0], cost=CHEAP, revision="0001").close()
            told = {"event": set(), "erased": set()}
        lines, killed = _run_and_kill(home, chance.randrange(2**32), chance.uniform(0.002, 0.5))
        counts["killed at work" if killed else "finished before the kill"] += 1
        for line in lines:
            kind, _, value = line.partition(" ")
            counts[f"told: {kind}"] += 1
            if kind in told:
                told[kind].add(value)
        _in_child(_check, home, told)
        counts["rounds checked"] += 1
    assert counts["told: event"] > rounds // 2, (
        "hardly anything was written before the kills: a slower or busier machine"
    )
    print(f"{rounds} rounds in {time.monotonic() - started:.0f} s, seed {seed}; nothing lost")
    for what, count in sorted(counts.items()):
        print(f"  {what:32} {count}")
    if folder is None:
        shutil.rmtree(root)
    return counts


def _run_and_kill(home: Path, seed: int, after: float) -> tuple[list[str], bool]:
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        try:
            _work(home, random.Random(seed), into)
            os._exit(0)
        except BaseException as error:
            os.write(into, f"error {error!r}\n".encode())
            os._exit(1)
    os.close(into)
    deadline, data = time.monotonic() + after, b""
    while (left := deadline - time.monotonic()) > 0:
        if select.select([out], [], [], left)[0]:
            piece = os.read(out, 65536)
            if not piece:
                break
            data += piece
    os.kill(child, signal.SIGKILL)
    while piece := os.read(out, 65536):
        data += piece
    os.close(out)
    status = os.waitpid(child, 0)[1]
    lines = data.decode().split("\n")[:-1]
    assert not any(line.startswith("error") for line in lines), lines[-1]
    return lines, os.WIFSIGNALED(status)


def _work(home: Path, chance: random.Random, pipe: int) -> None:
    def tell(line: str) -> None:
        os.write(pipe, f"{line}\n".encode())

    store = _open(home)
    tell("open")
    cases = [view.case_id for view in store.cases.page(limit=20).rows]
    while True:
        act = chance.random()
        if act < 0.1 or not cases:
            patient = store.patients.add("ann", Identity("Ada Invented"))
            cases.append(store.cases.open(patient, {"tooth": chance.choice([11, 26, 46])}, "ann"))
            tell("case")
        elif act < 0.75:
            case = chance.choice(cases)
            entries = [(case, Kind.NOTE, {"text": "x" * chance.randrange(3000)}) for _ in range(chance.randrange(1, 6))]
            for seq in store.cases.record_all(entries, "ann"):
                tell(f"event {seq}")
        elif act < 0.85:
            store.images.attach(chance.choice(cases), FILM, "film", "ann")
            tell("image")
        elif act < 0.9:
            store.backups.make()
            store.backups.rotate()
            tell("backup")
        elif act < 0.95:
            case = cases.pop(chance.randrange(len(cases)))
            patient = store.cases.view(case).patient
            store.patients.erase(patient, "asked", "ann")
            tell(f"erased {patient}")
        else:
            file = store.vault.home / "keys.json"
            old, new = SECRETS if _opens(file, SECRETS[0]) else SECRETS[::-1]
            store.change_passphrase(old, new)
            tell("passphrase")


def _check(home: Path, told: dict[str, set[str]]) -> None:
    with _open(home) as store:
        store.verify()
        with store.vault.reading() as connection:
            everything = list(store.ledger.read(connection))
        found = {str(e.seq) for e in everything}
        assert told["event"] <= found, f"lost: {told['event'] - found}"
        for view in store.cases.page(limit=500).rows:
            assert asdict(fold([e for e in everything if e.case == view.case_id]) or view) == asdict(view)
        gone = {e.patient for e in everything if e.kind is Kind.ERASE}
        assert told["erased"] <= gone
        assert not [e for e in everything if e.patient in gone and e.payload is not None and not e.kind.of_store]
        for backup in store.backups.all()[-1:]:
            store.backups.check(backup.path)


def _open(home: Path) -> Store:
    for secret in SECRETS:
        try:
            return Store.open(home, secret)
        except WrongPassphrase:
            continue
    raise StoreMissing("neither passphrase opens the records")


def _opens(file: Path, secret: Passphrase) -> bool:
    from canalwright.records.keys import KeyFile

    return KeyFile.read(file).opens("records", secret)


def _in_child(act, *args) -> None:
    """Check in a process of its own, as the next start of the program would."""
    child = os.fork()
    if child == 0:
        try:
            act(*args)
            os._exit(0)
        except (AssertionError, RecordsError, Exception) as error:
            print(f"{type(error).__name__}: {error}", file=sys.stderr, flush=True)
            os._exit(1)
    assert os.waitpid(child, 0)[1] == 0, "the check failed, see above"


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:3]))
