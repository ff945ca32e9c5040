"""`python -m fuzz TARGET [--seconds N] [--rounds N]`: coverage-guided, from the seeds and the kept corpus; `all` takes each target in turn.

The seconds are of processor time, so that a busy machine fuzzes longer and not less.
What it tries lies in fuzz/work/TARGET, what ended in anything but success or a refusal in fuzz/found/TARGET; neither is kept.
`python -m fuzz keep` takes over into fuzz/corpus the smallest input for each different answer of a reader.
"""

import argparse
import os
import re
import resource
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from hashlib import sha256
from importlib.util import find_spec
from pathlib import Path

HERE = Path(__file__).parent
READERS = (
    "canalwright.casefile", "canalwright.imaging.readers", "canalwright.imaging.radiograph.read", "canalwright.imaging.mesh.surfaces",
    "canalwright.imaging.mesh.repair", "canalwright.records.archive", "canalwright.records.events", "canalwright.exchange.fhir",
    "pydicom.filereader", "pydicom.dataset", "pydicom.dataelem", "pydicom.values", "pydicom.encaps", "tifffile.tifffile",
    "trimesh.exchange.stl", "trimesh.exchange.ply", "trimesh.exchange.obj", "fhir_core",
)  # fmt: skip
"""Whose branches guide the search; nothing else is instrumented, above all no compiled kernel."""
MOST_BYTES, MOST_MEMORY, PATIENCE = 65536, 4096, 300
LARGEST_KEPT, MOST_KEPT = 4096, 64
"""Bytes of an input, and inputs of a target, that are worth keeping."""


def main() -> None:
    """Read the arguments; fuzz in a child process each, so that one that dies does not end the others."""
    if "--child" in sys.argv:  # before anything of ours is imported, so that it can be instrumented
        _fuzz(sys.argv[1], int(sys.argv[sys.argv.index("--seconds") + 1]))
        return
    from fuzz.targets import TARGETS

    parser = argparse.ArgumentParser(prog="fuzz", description=__doc__)
    parser.add_argument("target", choices=[*TARGETS, "all", "keep"])
    parser.add_argument("--seconds", type=int, default=60, help="of processor time, for each target and round")
    parser.add_argument("--rounds", type=int, default=1, help="how often all targets are gone through")
    given = parser.parse_args()
    if given.target == "keep":
        for name in TARGETS:
            print(f"{name}: {_keep(name)} inputs kept", flush=True)
        return
    names = list(TARGETS) if given.target == "all" else [given.target]
    done = [_one(name, given.seconds) for _ in range(given.rounds) for name in names]
    print(
        f"{sum(inputs for _, inputs, _ in done)} inputs in {sum(spent for _, _, spent in done):.0f} s of processor time"
    )
    sys.exit(0 if all(clean for clean, _, _ in done) else 1)


def _one(name: str, seconds: int) -> tuple[bool, int, float]:
    """One target in a child: whether nothing was found, how many inputs were read, and the processor time it took, s."""
    before, command = _spent(), [sys.executable, "-m", "fuzz", name, "--seconds", str(seconds), "--child"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=HERE.parent, errors="replace")
    inputs = int((re.findall(r"^stat::number_of_executed_units: (\d+)", done.stderr, re.M) or ["0"])[-1])
    clean, spent = done.returncode == 0, _spent() - before
    print(f"{name}: {'clean' if clean else 'FOUND SOMETHING'}; {inputs} inputs in {spent:.0f} s", flush=True)
    if not clean:
        lines = (done.stdout + done.stderr).splitlines()
        print(*[one for one in lines if not one.startswith(("#", "INFO", "Tile"))][-30:], sep="\n", flush=True)
    return clean, inputs, spent


def _spent() -> float:
    """Processor time of all children that have ended, s."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _stop_after(seconds: int) -> None:
    """Ask the fuzzer to end, in good order, once it and its children have had so much processor time."""
    while sum(os.times()[:4]) < seconds:
        time.sleep(0.5)
    os.kill(os.getpid(), signal.SIGUSR1)


def _fuzz(name: str, seconds: int) -> None:
    import atheris

    packages = sorted({name.split(".")[0] for name in READERS})
    with atheris.instrument_imports(include=packages, exclude=[name for p in packages for name in _others(p)]):
        from fuzz.targets import TARGETS
    work, found, kept = _folders(name)
    options = [
        f"-max_len={MOST_BYTES}", f"-rss_limit_mb={MOST_MEMORY}", f"-timeout={PATIENCE}", f"-artifact_prefix={found}/",
        "-print_final_stats=1",
    ]  # fmt: skip
    atheris.Setup([sys.argv[0], *options, str(work), str(kept)], TARGETS[name].run)
    threading.Thread(target=_stop_after, args=(seconds,), daemon=True).start()
    atheris.Fuzz()


def _others(package: str) -> Iterator[str]:
    """The modules of `package` that are not to be instrumented, by their files, so that none is imported for it."""
    found = find_spec(package)
    for root in map(Path, (found and found.submodule_search_locations) or []):
        for path in root.rglob("*.py"):
            parts = (package, *path.relative_to(root).with_suffix("").parts)
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            if not any(name == reader or name.startswith(reader + ".") for reader in READERS):
                yield name


def _folders(name: str) -> tuple[Path, Path, Path]:
    """What is tried, with the seeds in it, what was found, and the kept corpus of a target."""
    from fuzz.targets import TARGETS

    work, found, kept = (HERE / folder / name for folder in ("work", "found", "corpus"))
    for folder in (work, found, kept):
        folder.mkdir(parents=True, exist_ok=True)
    for i, seed in enumerate(TARGETS[name].seeds()):
        (work / f"seed-{i}").write_bytes(seed)
    return work, found, kept


def _keep(name: str) -> int:
    """Renew the kept corpus of a target: the smallest input for each different answer; returns how many."""
    from fuzz.targets import TARGETS

    work, found, kept = _folders(name)
    tried = [path for folder in (kept, work, found) for path in folder.iterdir()]
    tried = sorted((p for p in tried if p.stat().st_size <= LARGEST_KEPT), key=lambda p: (p.stat().st_size, p.name))
    chosen: dict[str, bytes] = {}
    for path in tried:
        data = path.read_bytes()
        answer = TARGETS[name].answer(data)
        if path.parent == found:
            answer = path.name
        if answer not in chosen and len(chosen) < MOST_KEPT:
            chosen[answer] = data
    for path in kept.iterdir():
        path.unlink()
    for data in chosen.values():
        (kept / sha256(data).hexdigest()[:16]).write_bytes(data)
    return len(chosen)


if __name__ == "__main__":
    main()
