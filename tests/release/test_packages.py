"""What is released: packages that come out the same twice, hold all they need and nothing of this machine, and run where unpacked."""

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from release import licences

HOUSE = Path(__file__).parents[2]
LISTED_HERE = sys.platform == "linux" and sys.version_info[:2] == (3, 11)
"""Whether this is the kind of machine that the list was made on; elsewhere a few packages differ."""


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Two builds of wheel and source package from the same tree."""
    folders = [tmp_path_factory.mktemp("dist") for _ in range(2)]
    for folder in folders:
        command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(HOUSE)]
        subprocess.run(command, check=True, capture_output=True, env=os.environ | {"SOURCE_DATE_EPOCH": "1700000000"})
    return folders


def one(folder: Path, pattern: str) -> Path:
    return next(folder.glob(pattern))


@pytest.mark.parametrize("pattern", ["*.whl", "*.tar.gz"])
def test_the_same_tree_gives_the_same_bytes(built: list[Path], pattern: str) -> None:
    first, second = (one(folder, pattern).read_bytes() for folder in built)
    assert first == second


def test_the_wheel_holds_every_file_of_the_package(built: list[Path]) -> None:
    with zipfile.ZipFile(one(built[0], "*.whl")) as wheel:
        inside = {n for n in wheel.namelist() if n.startswith("canalwright/")}
    source = HOUSE / "src"
    wanted = {
        p.relative_to(source).as_posix()
        for p in (source / "canalwright").rglob("*")
        if p.is_file() and "__pycache__" not in p.parts
    }
    assert inside == wanted


def test_nothing_of_this_machine_is_in_it(built: list[Path]) -> None:
    places = [str(HOUSE).encode(), str(Path.home()).encode() + b"/"]
    with tarfile.open(one(built[0], "*.tar.gz")) as package:
        for member in package.getmembers():
            assert (member.uid, member.gid) == (0, 0), member.name
            file = package.extractfile(member)
            text = file.read() if file else b""
            assert not any(place in text for place in places), member.name


def test_it_runs_where_it_was_unpacked(built: list[Path], tmp_path: Path) -> None:
    with zipfile.ZipFile(one(built[0], "*.whl")) as wheel:
        wheel.extractall(tmp_path / "site")
    code = "import canalwright, sys; from canalwright.cli import main; print(canalwright.__file__); main(['check-case', sys.argv[1]])"
    case = tmp_path / "site" / "canalwright" / "casefile" / "demo_case.toml"
    done = subprocess.run(
        [sys.executable, "-c", code, str(case)],
        capture_output=True, text=True, cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(tmp_path / "site")},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert str(tmp_path) in done.stdout and "good" in done.stdout


def test_every_licence_is_one_we_accept_and_on_the_list() -> None:
    listed = licences.PAGE.read_text(encoding="utf-8")
    for name, package in licences.needed().items():
        told = licences.licence(package)
        assert licences.unknown(told) == [], f"{name}: {told}"
        assert not LISTED_HERE or f"| {name} | {told} |" in listed, (
            f"{name} is not on docs/licences.md: run `make licences`"
        )


@pytest.mark.parametrize(
    ("expression", "bad"),
    [
        ("MIT", []),
        ("Apache-2.0 OR GPL-3.0", []),
        ("MPL-2.0 AND (Apache-2.0 OR MIT)", []),
        ("Apache-2.0 WITH LLVM-exception", []),
        ("GPL-3.0", ["GPL-3.0"]),
        ("MIT AND GPL-3.0", ["GPL-3.0"]),
        ("", ["no licence named"]),
    ],
)
def test_a_licence_is_read_as_it_is_meant(expression: str, bad: list[str]) -> None:
    assert licences.unknown(expression) == bad
