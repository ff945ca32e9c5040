"""The chair on the server: what was pressed is on the disk before it is answered, told twice it counts once, torn lines do no harm."""

import os
import time
from pathlib import Path

import pytest

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.guide import GO, NOTE, Event, Phase
from canalwright.web.bench import Bench
from canalwright.web.chair import Chairs, older, state
from canalwright.web.chairbook import Chairbook, ChairbookError, Head, NotWritten
from canalwright.web.draft import Draft
from canalwright.web.prefs import Prefs

_WRITE = os.write
HEAD = Head("[case]", 0, "activation=3", 1000.0)


def test_what_is_written_is_read(tmp_path: Path) -> None:
    book = Chairbook(tmp_path / "chair")
    ident = book.new(HEAD)
    events = [
        Event(GO, 1001.5),
        Event(NOTE, 1002.0, text="bled"),
        Event("retime", 1003.0, seconds={4: 12.0}),
        Event("depth", 1004.0, depth=16.5),
    ]
    for event in events:
        book.append(ident, event)
    assert Chairbook(tmp_path / "chair").read(ident) == (HEAD, events)
    assert book.listed() == [ident]


@pytest.mark.parametrize("cut", [1, 5, 12])
def test_a_torn_last_line_is_left_out_and_the_next_one_counts(tmp_path: Path, cut: int) -> None:
    book = Chairbook(tmp_path)
    ident = book.new(HEAD)
    book.append(ident, Event(GO, 1.0))
    book.append(ident, Event(GO, 2.0))
    path = tmp_path / f"{ident}.jsonl"
    path.write_bytes(path.read_bytes()[:-cut])
    book.append(ident, Event(GO, 3.0))
    moments = [e.moment for e in book.read(ident)[1]]
    assert moments[0] == 1.0 and moments[-1] == 3.0


@pytest.mark.parametrize("name", ["../../etc/passwd", "", "0" * 15, "G" * 16, "0123456789abcdef"])
def test_a_name_is_never_a_path(tmp_path: Path, name: str) -> None:
    with pytest.raises(ChairbookError):
        Chairbook(tmp_path).read(name)


def test_where_the_disk_takes_nothing_nothing_is_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book = Chairbook(tmp_path / "chair")
    ident = book.new(HEAD)
    book.append(ident, Event(GO, 1.0))
    whole = (tmp_path / "chair" / f"{ident}.jsonl").read_bytes()
    for short in (0, 7):
        with monkeypatch.context() as full:
            full.setattr(os, "write", lambda handle, text, n=short: _WRITE(handle, text[:n]))
            with pytest.raises(NotWritten, match="no room left"):
                book.append(ident, Event(GO, 2.0))
            with pytest.raises(NotWritten):
                book.new(HEAD)
        assert (tmp_path / "chair" / f"{ident}.jsonl").read_bytes() == whole
    assert book.listed() == [ident]
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(NotWritten, match="cannot be written"):
        Chairbook(tmp_path / "file" / "chair").new(HEAD)


async def test_a_session_survives_the_server(tmp_path: Path, case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another server with the same book stands at the same step with the same timer; what a full disk refused is taken when told again."""
    tray = casefile.generic_tray()
    bench, book = Bench(tray), Chairbook(tmp_path)
    chairs = Chairs(bench, book)
    ident = chairs.begin(case, 0, "", practice=True)
    start = time.time()
    for i in range(3):
        chair = await chairs.tell(ident, Event(GO, start + i / 10))
    chair = await chairs.tell(ident, Event(GO, start + 0.2))
    assert chair.session.phase is Phase.RUNNING, "an event that was told twice counts once"
    bled = Event(NOTE, start + 0.3, text="bled")
    with monkeypatch.context() as full, pytest.raises(NotWritten):
        full.setattr(os, "write", lambda handle, text: 0)
        await chairs.tell(ident, bled)
    assert bled not in book.read(ident)[1]
    await chairs.tell(ident, bled)
    assert bled in book.read(ident)[1], "it was not told, so it is not lost"
    again = await Chairs(bench, book).get(ident)
    assert (again.session.index, again.session.phase, again.session.since) == (
        chair.session.index,
        chair.session.phase,
        chair.session.since,
    )
    told = state(again, Prefs())
    assert (
        told["practice"]
        and told["step"]["words"]
        and told["rise"]["low"] <= told["rise"]["value"] <= told["rise"]["high"]
    )
    assert (await chairs.picture(chair)).startswith("<svg")
    bench.close()


async def test_an_edited_case_is_told_and_the_rest_planned_anew_from_the_step_reached(
    tmp_path: Path, case: Case
) -> None:
    bench = Bench(casefile.generic_tray())
    chairs = Chairs(bench, Chairbook(tmp_path))
    draft = Draft.of(case)
    shorter = draft.with_text(0, "working_length", f"{case.canals[0].working_length - 0.5:g}").case()
    try:
        ident = chairs.begin(case, 0, "", practice=False)
        for i in range(3):
            await chairs.tell(ident, Event(GO, time.time() + 0.01 * i))
        chair = await chairs.get(ident)
        assert older(chair, shorter) and not older(chair, draft.with_label("another label").case())
        after = await chairs.get(await chairs.replan(ident, shorter))
        assert after.session.index == chair.session.index > 0 and after.session.phase == chair.session.phase
        assert after.session.done == chair.session.done, "what was done stays as it was done, depths too"
        assert after.case.digest == shorter.digest and after.session.steps != chair.session.steps
        with pytest.raises(ChairbookError, match="no such canal"):
            await chairs.replan(ident, draft.without_canal(0).case())
    finally:
        bench.close()
