"""Scans in the page beneath the browser: what is sent and by whom, what stays on the disk, work that is refused, cancelled or breaks."""

import io
import json
import os
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import SimpleITK

from canalwright.imaging import FoundCanal, ScanError
from canalwright.imaging.corrections import Kind
from canalwright.imaging.errors import CorrectionError
from canalwright.imaging.found import FoundPortal
from canalwright.web.hands import Work
from canalwright.web.scan import store as stores
from canalwright.web.scan import tasks, telling
from canalwright.web.scan.correcting import correction_of, point_of
from canalwright.web.scan.handing import case_of
from canalwright.web.scan.store import Scans
from canalwright.web.scan.uploads import plain_name, take
from canalwright.web.words import ENGLISH
from tests.imaging.test_viewing import _bent

SLOW = 120.0


def _quiet(text: str, share: float | None) -> None:
    """Nobody listens."""


def _until(done: Callable[[], bool]) -> None:
    end = time.monotonic() + SLOW
    while not done():
        assert time.monotonic() < end, "took too long"
        time.sleep(0.05)


@pytest.fixture
def scans(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Scans]:
    monkeypatch.setattr(stores.tempfile, "tempdir", str(tmp_path))
    made = Scans()
    yield made
    made.shut()


@pytest.fixture(scope="module")
def volume(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("scan") / "root.nii.gz"
    image = SimpleITK.GetImageFromArray(np.random.default_rng(1).integers(-500, 2000, (12, 11, 10)).astype(np.int16))
    image.SetSpacing((0.2, 0.2, 0.25))
    SimpleITK.WriteImage(image, str(path))
    return path


def test_parts_come_in_order_and_names_are_only_names(scans: Scans) -> None:
    opened = scans.receive(plain_name("../../etc/passwd"), "")
    assert opened.name == "passwd"
    take(opened, 0, "../up/one.dcm", 0, b"abc")
    take(opened, 0, "../up/one.dcm", 3, b"def")
    with pytest.raises(ScanError, match="missing"):
        take(opened, 0, "one.dcm", 99, b"x")
    take(opened, 1, "other/ONE.dcm", 0, b"second")
    sent = {p.name: p.read_bytes() for p in (opened.folder / "sent").iterdir()}
    assert sent == {"one.dcm": b"abcdef", "00001-ONE.dcm": b"second"}
    assert oct(opened.folder.parent.stat().st_mode)[-3:] == "700"


def test_only_who_opened_a_scan_gets_it_and_the_oldest_goes_first(scans: Scans) -> None:
    first = scans.receive("a", "one reader")
    assert scans.get(first.key, "one reader") is first
    assert scans.get(first.key, "another") is None and scans.get("nothing", "one reader") is None
    for n in range(stores.MOST):
        scans.receive(str(n), "another")
    assert scans.get(first.key, "one reader") is None and not first.folder.exists()


def test_what_a_crash_left_is_swept_away_and_others_are_left_alone(tmp_path: Path, scans: Scans) -> None:
    dead, alive = (tmp_path / f"{stores.PREFIX}{pid}-x" for pid in (2**22 + 12345, os.getpid()))
    dead.mkdir()
    alive.mkdir()
    opened = scans.receive("a", "")
    assert not dead.exists() and alive.exists()
    scans.close(opened)
    assert not opened.folder.exists()


def test_a_scan_is_kept_flat_with_its_greys_and_place(volume: Path, tmp_path: Path) -> None:
    shares: list[float | None] = []
    kept = tasks.read(lambda text, share: shares.append(share), volume, tmp_path, "root")
    scan = kept.scan()
    assert isinstance(scan.voxels, np.memmap) and scan.shape == (12, 11, 10)
    assert np.array_equal(scan.voxels, SimpleITK.GetArrayFromImage(SimpleITK.ReadImage(str(volume))))
    assert np.allclose(scan.spacing, (0.2, 0.2, 0.25))
    assert shares[-1] == 1.0 and scan.details == {} and kept.series is None


def test_a_zip_is_unpacked_beside_its_promises(volume: Path, tmp_path: Path) -> None:
    packed = tmp_path / "series.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        archive.write(volume, "../../somewhere/root.nii.gz")
        archive.writestr(".hidden", "x")
        archive.writestr("a/DICOMDIR", "x")
    kept = tasks.read(_quiet, packed, tmp_path, "series")
    assert kept.scan().shape == (12, 11, 10)
    assert [p.name for p in (tmp_path / "unpacked").iterdir()] == ["root.nii.gz"]


@pytest.mark.parametrize("cut", [30, 200])
def test_a_damaged_zip_is_refused_in_one_line(volume: Path, tmp_path: Path, cut: int) -> None:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        archive.writestr("root.nii.gz", volume.read_bytes())
    data = bytearray(whole.getvalue())
    data[cut : cut + 20] = b"\xff" * 20
    path = tmp_path / "bad.zip"
    path.write_bytes(data)
    with pytest.raises(ScanError) as refused:
        tasks.read(_quiet, path, tmp_path, "bad")
    assert "\n" not in str(refused.value)


def test_work_is_done_refused_broken_or_cancelled(scans: Scans, volume: Path, tmp_path: Path) -> None:
    opened = scans.receive("root", "")
    scans.read(opened, volume)
    _until(lambda: opened.phase == "ready")
    assert opened.planes.shape == (10, 11, 12)
    other = scans.receive("not there", "")
    scans.read(other, tmp_path / "nothing.dcm")
    _until(lambda: (found := scans.get(other.key, "")) is not None and found.phase == "failed")
    assert "no such file" in other.error
    dying = scans.hands.do("read", _dies, done=lambda result: None)
    _until(lambda: dying.over)
    assert dying.state == "failed" and "ended twice" in dying.error, "a process that dies fails its work alone"
    gone: list[object] = []
    work = scans.hands.do("find", _waits, done=gone.append)
    _until(lambda: work.state != "waiting")
    work.cancel()
    assert work.state == "cancelled" and gone == []
    opened.tracing.work = Work("find", False)
    assert opened.tracing.busy
    with pytest.raises(ScanError, match="already"):
        opened.tracing.undo()


def test_a_disk_that_takes_no_more_is_told_and_leaves_no_half_part(scans: Scans, volume: Path) -> None:
    opened = scans.receive("root", "")
    take(opened, 0, "a.dcm", 0, b"12345")
    with _at_most(7), pytest.raises(ScanError, match="no room left"):
        take(opened, 0, "a.dcm", 5, b"67890")
    take(opened, 0, "a.dcm", 5, b"67890")
    assert (opened.folder / "sent" / "a.dcm").read_bytes() == b"1234567890"
    with _at_most(64), pytest.raises(ScanError, match="root: no room left"):
        tasks.read(_quiet, volume, opened.folder, "root")


@contextmanager
def _at_most(size: int) -> Iterator[None]:
    """As on a full disk: no file of this process may grow beyond `size` bytes."""
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def _waits(told: object) -> None:
    time.sleep(600)


def _dies(told: object) -> None:
    os._exit(3)


def test_undo_and_redo_walk_the_log_and_a_new_correction_forgets_what_was_undone(
    scans: Scans, monkeypatch: pytest.MonkeyPatch
) -> None:
    tracing, (_, canal) = scans.receive("a", "").tracing, _bent()
    tracing.found, tracing.after = (canal,), [(canal,)]
    results = iter([(canal.named("one"),), (canal.named("two"),), (canal.named("three"),)])

    def at_once(kind: str, task: object, *arguments: object, done: Callable[..., None], yields: bool) -> Work:
        work = Work(kind, yields)
        done((next(results), {}))
        work.state = "done"
        return work

    monkeypatch.setattr(scans.hands, "do", at_once)
    kept = None
    for x in (1.0, 2.0):
        said = {"kind": "move terminus", "canal": "canal 1", "points": [[x, 0, 0]], "author": "A. Reader"}
        tracing.correct(scans.hands, kept, correction_of(said, ""))  # type: ignore[arg-type]
    assert _names(tracing.canals) == ["two"] and len(tracing.applied) == 2
    tracing.undo()
    assert _names(tracing.canals) == ["one"]
    tracing.redo()
    tracing.redo()
    assert _names(tracing.canals) == ["two"]
    tracing.undo()
    tracing.correct(scans.hands, kept, correction_of({"kind": "remove canal", "canal": "canal 1"}, "B"))  # type: ignore[arg-type]
    assert _names(tracing.canals) == ["three"] and len(tracing.log) == 2
    assert tracing.log[-1].author == "B", "who is signed in is the author, whatever the page says"


def _names(canals: tuple[FoundCanal, ...]) -> list[str]:
    return [c.name for c in canals]


@pytest.mark.parametrize(
    "said",
    [
        {"kind": "paint"},
        {"kind": "move point", "canal": "canal 1", "points": [[0, 0, 0]]},
        {"kind": "move terminus", "canal": "canal 1", "points": [["a", 0, 0]]},
        {"kind": "barrier", "canal": "", "points": [[0, 0, 0]], "radius": -1},
    ],
)
def test_a_correction_that_cannot_be_is_refused(said: dict[str, object]) -> None:
    with pytest.raises(CorrectionError):
        correction_of(said, "")
    with pytest.raises(CorrectionError):
        point_of([1, 2])
    assert Kind.BARRIER


def test_canals_become_a_case_with_where_they_came_from(scans: Scans) -> None:
    opened, (_, canal) = scans.receive("a", ""), _bent()
    with pytest.raises(ScanError, match="no canals"):
        case_of(opened, {"tooth": 21})
    opened.tracing.found, opened.tracing.after = (canal,), [(canal,)]
    opened.tracing.refer((canal.orifice + np.array([0.0, 0.0, 9.0])).tolist())
    case = case_of(opened, {"tooth": 21, "names": ["single"], "label": "my label", "size": 40, "taper": 0.04})
    (made,) = case.canals
    assert made.name == "single" and made.length.value == pytest.approx(19.0)
    assert "cone-beam scan" in str(made.length.source)
    assert np.allclose(made.native.centre[0], canal.terminus, atol=1e-3)
    opened.places = frozenset({tuple(np.round(made.native.centre[0], 2).tolist())})
    assert scans.behind(case, "") is opened and scans.behind(case, "another") is None


def test_what_is_told_of_a_canal_has_an_interval_for_every_measure(scans: Scans) -> None:
    opened, (_, canal) = scans.receive("a", ""), _bent()
    path = np.array([canal.lumen.centre[30], canal.lumen.centre[30] + [0.0, 1.8, 0.0]])
    canal = replace(canal, length_error=0.1, portals=(FoundPortal(3.0, path, 0.2, 0.05, 1.5, 0.2),))
    opened.tracing.found, opened.tracing.after = (canal,), [(canal,)]
    (told,) = telling.canals(opened.tracing, ENGLISH)["canals"]
    for value, low, high in (told["length"], told["portals"][0]["diameter"], told["portals"][0]["length"]):
        assert low < value < high
    for name in ("minor", "major", "wall"):
        assert np.all(np.array(told[f"{name}_low"]) < told[name]) and np.all(
            np.array(told[name]) < told[f"{name}_high"]
        )
    line = telling.line(opened.tracing, 0, 0.0)
    assert len(line["points"]) == len(line["z"]) and len(line["half"]["width"]) == canal.lumen.size
    assert json.loads(json.dumps(line, allow_nan=False)) == line
