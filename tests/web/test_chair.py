"""The chair on the server: what was pressed is on the disk before it is answered, told twice it counts once, torn lines do no harm."""

import math
import os
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.guide import BACK, DEPTH, GO, NOTE, RETIME, TRIED, Event, Phase
from canalwright.web.bench import Bench
from canalwright.web.chair import Chair, Chairs, older
from canalwright.web.chairbook import Chairbook, ChairbookError, Head, NotWritten
from canalwright.web.chairsaid import state
from canalwright.web.chairwhere import answer
from canalwright.web.draft import Draft
from canalwright.web.prefs import Prefs

_WRITE = os.write
WORDS = Prefs().words
HEAD = Head("[case]", 0, "activation=3", 1000.0)
TOGETHER = pytest.mark.asyncio(loop_scope="module")
"""On one loop: the bench is of it."""


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """One bench for all: a plan of the same canal is made once."""
    made = Bench(casefile.generic_tray())
    yield made
    made.close()


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


@TOGETHER
async def test_a_session_survives_the_server(
    tmp_path: Path, case: Case, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another server with the same book stands at the same step with the same timer; what a full disk refused is taken when told again."""
    book = Chairbook(tmp_path)
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
    for at in range(len(chair.session.steps)):
        chair.session = replace(chair.session, index=at, depth=None)
        _every_number_answers(chair)
    chair.session = replace(chair.session, index=0, depth=30.0)
    assert "noted at the chair" in (answer(chair, "depth", WORDS) or "")
    assert "radiographic terminus" in (answer(chair, "limit", WORDS) or "")
    assert answer(chair, "nothing of the kind", WORDS) is None


def _every_number_answers(chair: Chair) -> None:
    """What stands large on the screen, and each line that has a number, says where it is from, and says the same value."""
    told = state(chair, Prefs())
    step = told["step"]
    shown = {"depth": step["depth"], "clock": step["seconds"], "outside": told["rise"]["value"]}
    shown |= {"cut": step["cut"][0] if step["cut"] else None} | {line["where"]: math.nan for line in told["lines"]}
    shown |= {"next": float(told["next_depth"][:-3]) if told["next_depth"] else None, "set": step["temperature"]}
    for what, value in shown.items():
        found = answer(chair, what, WORDS) if what else ""
        if value is None:
            assert found is None or what == "cut", what
        elif what:
            assert found and "how it is found" in found, (what, step["kind"])
            if not math.isnan(value):
                assert re.search(rf"<dd>{value:.{0 if what == 'set' else 1}f} ", found), (what, value, found)
    silent = [line["text"] for line in told["lines"] if not line["where"] and re.search(r"\d [ms]", line["text"])]
    assert not silent, "a line with a number that says nothing of it"


def _long_heat(chair: Chair, start: float) -> list[Event]:
    """Done to the letter up to the first activation, which is held for 12 s."""
    found, now = [Event(TRIED, start)], start
    for step in chair.session.steps:
        found += [Event(GO, now + 0.1)] if step.timed else []
        now += 12.0 if step.kind == "heat" else step.seconds or 1.0
        found.append(Event(GO, now + 0.2))
        if step.kind == "heat":
            return found
    raise AssertionError("nothing is heated")


@TOGETHER
async def test_what_was_done_is_reckoned_with_before_a_number_shows(tmp_path: Path, case: Case, bench: Bench) -> None:
    """A carrier held too long: after a crash the first answer knows of it; while it is worked out no number stands; the rest changes once,
    says why, and changes back when the act is taken back."""
    book = Chairbook(tmp_path)
    chairs = Chairs(bench, book)
    ident = chairs.begin(case, 2, "", practice=False)
    chair = await chairs.get(ident)
    planned, lasting = chair.plan.heat.surface_rise.value, [s.seconds for s in chair.session.steps]
    for event in _long_heat(chair, time.time() - 200):
        chair = await chairs.tell(ident, event)
    heated = chair.session.done[-1].step
    told = state(chair, Prefs())["rise"]
    assert told["value"] is None and not told["unknown"], "not the number from before"
    for _ in range(2):  # killed, and killed again
        chair = await Chairs(bench, book).get(ident)
        told = state(chair, Prefs())
        assert told["rise"]["value"] > planned + 1 and told["retimed"]
    assert sum(e.kind == RETIME for e in book.read(ident)[1]) <= 2
    assert [line["harm"] for line in told["lines"]][:2] == ["danger", "caution"]
    for line, rise in zip(told["lines"], (chair.forecast.reached, chair.forecast.ahead), strict=False):  # type: ignore[union-attr]
        assert f"<dd>{rise.value:.1f} K" in (answer(chair, line["where"], WORDS) or "")  # type: ignore[union-attr]
    _every_number_answers(chair)
    assert "past the 10 K limit" in told["lines"][0]["text"] and "Cool" in told["lines"][1]["text"]
    assert "más del límite" in state(chair, Prefs(language="es"))["lines"][0]["text"]
    chairs, now = Chairs(bench, book), chair.session.entered
    while chair.session.step is not None and chair.session.step.kind != "heat":  # all in haste, the longer pause too
        chair, now = await chairs.tell(ident, Event(GO, now)), now + 0.1
    chair = await Chairs(bench, book).get(ident)
    told = state(chair, Prefs())
    assert told["wait"] > 0 and f"Wait {told['wait']:.0f} s before this heat" in told["lines"][1]["text"]
    chairs = Chairs(bench, book)
    while chair.session.done[-1].step >= heated:
        chair, now = await chairs.tell(ident, Event(BACK, now)), now + 0.1
    chair = await Chairs(bench, book).get(ident)
    assert [s.seconds for s in chair.session.steps] == lasting and state(chair, Prefs())["rise"]["value"] < planned + 1


@TOGETHER
async def test_a_noted_depth_lays_the_rest_anew(tmp_path: Path, case: Case, bench: Bench) -> None:
    """The carrier stopped short: bite, press and rounds get other stops at once, in one writing with the depth; torn apart by a crash they
    are laid again; the screen says so on the act and on those that follow, each with where it is from."""
    book = Chairbook(tmp_path)
    chairs = Chairs(bench, book)
    ident = chairs.begin(case, 0, "", practice=False)
    chair, now = await chairs.get(ident), time.time() - 60
    await chairs.tell(ident, Event(TRIED, now))
    while (step := chair.session.step) is not None and step.kind != "heat":
        now += 1.0
        chair = await chairs.tell(ident, Event(GO, now))
    planned, at = chair.session.steps, chair.session.index
    short = Event(DEPTH, now + 1, depth=round((planned[at].depth or 0.0) - 1.3, 1))
    chair = await chairs.tell(ident, short)
    laid = chair.session.steps
    assert laid[: at + 1] == planned[: at + 1] and [s.depth for s in laid] != [s.depth for s in planned]
    told = state(chair, Prefs())
    assert "The rest is laid anew: press to" in told["lines"][0]["text"] and "carrier to" in told["lines"][0]["text"]
    assert f"{laid[at + 1].depth:.1f} mm" == told["next_depth"]
    assert "se dispone de nuevo: presión hasta" in state(chair, Prefs(language="es"))["lines"][0]["text"]
    _every_number_answers(chair)
    count = chair.count
    assert (await chairs.tell(ident, short)).count == count, "told again it is not laid again"
    path = tmp_path / f"{ident}.jsonl"
    path.write_bytes(path.read_bytes()[:-20])
    chair = await Chairs(bench, book).get(ident)
    assert chair.session.steps == laid and chair.count == count
    assert (await Chairs(bench, book).get(ident)).session.steps == laid
    chairs = Chairs(bench, book)
    while (step := chair.session.step) is not None and step.kind != "press":
        now += 2.0
        chair = await chairs.tell(ident, Event(GO, now))
    told = state(chair, Prefs())
    assert told["step"]["depth"] == round(laid[at + 2].depth or 0.0, 1)
    assert any("set this stop before you begin" in line["text"] for line in told["lines"])
    assert "Laid from the depth that was noted" in (answer(chair, "depth", WORDS) or "")
    _every_number_answers(chair)
    bite = chair.session.done[-1]
    chair.session = replace(
        chair.session, done=(*chair.session.done[:-1], replace(bite, depth=(step.depth or 0.0) + 1.0))
    )
    assert any("nothing is pressed" in line["text"] for line in state(chair, Prefs())["lines"])


@TOGETHER
async def test_a_depth_that_cannot_be_and_what_happened_stand_on_the_act(
    tmp_path: Path, case: Case, bench: Bench
) -> None:
    chairs = Chairs(bench, Chairbook(tmp_path))
    ident = chairs.begin(case, 0, "", practice=False)
    told = state(await chairs.get(ident), Prefs())
    assert (told["step"]["kind"], told["index"], told["step"]["danger"]) == ("try", 0, False)
    assert told["total"] == len((await chairs.get(ident)).session.steps) + 1
    now = time.time()
    for n, event in enumerate((Event(TRIED, now), Event("depth", now, depth=30.0), Event(NOTE, now, text="bled"))):
        chair = await chairs.tell(ident, replace(event, moment=now + n / 100))
    told = state(chair, Prefs())
    assert (told["step"]["kind"], told["index"]) == ("place", 1)
    assert (
        told["step"]["danger"]
        and told["lines"][0]["harm"] == "danger"
        and "through the foramen" in told["lines"][0]["text"]
    )
    assert any("do not go on over blood" in line["text"] for line in told["lines"])
    assert told["step"]["asked"][0]["over"] < 30.0


@TOGETHER
async def test_an_edited_case_is_told_and_the_rest_planned_anew_from_the_step_reached(
    tmp_path: Path, case: Case, bench: Bench
) -> None:
    chairs = Chairs(bench, Chairbook(tmp_path))
    draft = Draft.of(case)
    shorter = draft.with_text(0, "working_length", f"{case.canals[0].working_length - 0.5:g}").case()
    ident = chairs.begin(case, 0, "", practice=False)
    for i in range(3):
        await chairs.tell(ident, Event(GO, time.time() + 0.01 * i))
    chair = await chairs.get(ident)
    assert older(chair, shorter) and not older(chair, draft.with_label("another label").case())
    after = await chairs.get(await chairs.replan(ident, shorter))
    assert after.session.index == chair.session.index > 0 and after.session.phase == chair.session.phase
    same = [replace(done, aim=None) for done in after.session.done]
    assert same == [replace(done, aim=None) for done in chair.session.done], (
        "what was done stays as it was done, depths too"
    )
    assert after.case.digest == shorter.digest and after.session.steps != chair.session.steps
    with pytest.raises(ChairbookError, match="no such canal"):
        await chairs.replan(ident, draft.without_canal(0).case())
