"""The verdict before the cone in Spanish: every name, message, advice and column of it, in every state it can be in."""

import re
from dataclasses import replace

import pytest

from canalwright import casefile, irrigation, readiness
from canalwright.instruments import Tray
from canalwright.irrigation import Bath
from canalwright.readiness import GaugeTrial, Irrigated, PaperPointReading, Pattern, Record, Sounding
from canalwright.web.formulas import formula_of
from canalwright.web.markup import filmtable, ready, readybath, readylength, readypoints, readyshape
from canalwright.web.words import words_of

SPANISH = words_of("es")
WET = PaperPointReading(20.5, 21.25, side="mesial")


def _records() -> list[Record]:
    points = (PaperPointReading(20.5), PaperPointReading(20.5), PaperPointReading(20.5))
    order = (
        "hypochlorite",
        "chlorhexidine",
        "hydrogen peroxide",
        "hypochlorite",
        "citric acid",
        "EDTA",
        "chlorhexidine",
    )
    return [
        Record(),
        Record((Sounding("apex locator", 21.0),), points, (GaugeTrial(45, True), GaugeTrial(50, False)), age=40),
        Record(
            (Sounding("apex locator", 17.0), Sounding("radiograph", 21.3)), (WET, WET, WET), (GaugeTrial(50, True),)
        ),
        Record(
            (Sounding("apex locator", 18.5), Sounding("paper point", 18.4)),
            (PaperPointReading(20.0, blood=True),) * 3,
            (GaugeTrial(60, True), GaugeTrial(45, False)),
            Irrigated(Bath(3.0, 33.0, "none"), 300.0, 30.0, 200.0, order),
        ),
        Record(
            (Sounding("apex locator", 23.5), Sounding("paper point", 23.4)),
            (WET, WET, replace(WET, side="distal")),
            irrigated=Irrigated(Bath(5.0, 37.0, "sonic"), 1800.0, 700.0, order=("saline",)),
        ),
        Record(points=(PaperPointReading(20.0),), irrigated=Irrigated(chelator=240.0, order=("EDTA", "saline"))),
        Record(irrigated=Irrigated(Bath(3.0, 33.0, "ultrasonic"), 900.0, 60.0, order=("hypochlorite",))),
    ]


def _trays() -> list[Tray]:
    tray = casefile.generic_tray()
    return [
        tray,
        replace(tray, needles=tuple(n for n in tray.needles if n.purpose == "backfill"), pluggers=tray.pluggers[7:9]),
    ]


@pytest.mark.parametrize("canal", [0, 2])
def test_every_item_in_every_state(canal: int) -> None:
    one = casefile.demo_case().canals[canal]
    said: set[str] = set()
    for tray in _trays():
        for record in _records():
            for item in readiness.judge(one, tray, record).items:
                said |= {item.name, item.verdict.words, item.message, item.action, *(n.name for n in item.numbers)}
                assert all(formula_of(f"named.{n.name}") for n in item.numbers), item.numbers
    missing = sorted(text for text in said if text and SPANISH.known(text) is None)
    assert missing == []


def test_no_english_is_left_inside() -> None:
    one = casefile.demo_case().canals[2]
    for record in _records():
        for item in readiness.judge(one, casefile.generic_tray(), record).items:
            for text in (item.message, item.action):
                told = SPANISH(text)
                assert not re.search(r"\b(the|of|and|with|to|short|beyond|hypochlorite|saline)\b", told), told


def test_patterns_budget_and_film() -> None:
    texts = (
        {p.value for p in Pattern}
        | set(irrigation.SOLUTIONS)
        | set(irrigation.agitations())
        | set(readiness.method_names())
    )
    for bath in (Bath(), Bath(3.0, 33.0, "ultrasonic")):
        found = irrigation.budget(casefile.demo_case().canals[2], bath)
        texts |= {t for c in found.contacts for t in (c.act, c.why, c.solution)} | set(found.warnings)
    texts |= {t for _, title, about in filmtable.TOOLS for t in (title, about)} | {
        title for _, title, _ in readybath.FIELDS
    }
    texts |= {f"mark the canal at {n} more points for its curve" for n in (1, 4)}
    assert sorted(t for t in texts if SPANISH.known(t) is None) == []


def test_the_parts_of_the_page_in_spanish() -> None:
    case, tray = casefile.demo_case(), casefile.generic_tray()
    canal, record = case.canals[2], case.record("distal")
    assert record is not None
    found = readiness.judge(canal, tray, record)
    assert found.length is not None
    shown = (
        ready.verdict(found, SPANISH)
        + readylength.together(found.length, canal.working_length, readiness.next_steps(found.length), SPANISH)
        + readyshape.passes(record.passes(canal), canal, SPANISH)
        + readyshape.trade_off(readiness.trade_off(canal, tray, draws=32), SPANISH)
        + readybath.budget(irrigation.budget(canal), canal, SPANISH)
        + readypoints.dry(readiness.read_points(record.points), 0.5, SPANISH)
    )
    text = re.sub(r"<[^>]+>", " ", shown)
    left = re.findall(r"\b(?:the|of|short|beyond|needle|width|least|rinse|stop|cut)\b", text)
    assert left == [], left
