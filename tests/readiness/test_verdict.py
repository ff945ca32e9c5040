"""The verdict: unknown is not wrong, what is wrong says what to do, and the worst item is the verdict."""

from dataclasses import replace

import numpy as np
import pytest

from canalwright import casefile, shaping
from canalwright.anatomy import Canal, SideWall, Tooth, averages, furcation_side
from canalwright.instruments import Needle
from canalwright.irrigation import Bath
from canalwright.readiness import (
    FileUsed,
    GaugeTrial,
    Irrigated,
    PaperPointReading,
    Record,
    Sounding,
    Verdict,
    judge,
    method_names,
)
from canalwright.readiness.shape import shape_option

ORDER = ("hypochlorite", "saline", "EDTA", "saline", "hypochlorite", "saline")
GOOD = Record(
    soundings=(Sounding("apex locator", 21.0), Sounding("radiograph", 21.3)),
    points=(PaperPointReading(20.75),) * 3,
    trials=(GaugeTrial(45, True), GaugeTrial(50, False)),
    irrigated=Irrigated(Bath(3.0, 33.0, "ultrasonic"), 900.0, 60.0, 100.0, ORDER),
    age=40,
)


@pytest.fixture(scope="module")
def distal():
    return casefile.demo_case().canal("distal")


@pytest.fixture(scope="module")
def tray():
    generic = casefile.generic_tray()
    needles = [
        Needle(f"30 gauge, {o}", 30, 0.311, 0.159, 25.0, "irrigation", opening=o) for o in ("open", "side")
    ]  # fmt: skip
    return replace(generic, needles=(*generic.needles, *needles))


def test_nothing_recorded_is_unknown_not_wrong(distal, tray):
    found = judge(distal, tray)
    assert found.verdict <= Verdict.LOOK and found.length is None
    for name in ("length", "gauge", "contact time", "sequence", "dryness"):
        assert found.item(name).verdict is Verdict.UNKNOWN and found.item(name).action
    with pytest.raises(KeyError, match="there are length"):
        found.item("taste")


def test_a_good_record(distal, tray):
    found = judge(distal, tray, GOOD)
    assert {i.name: i.verdict for i in found.items if i.verdict is not Verdict.READY}.keys() <= {"needle"}
    assert found.verdict == max(i.verdict for i in found.items)
    assert all(i.action for i in found.to_do)
    for item in found.items:
        for number in item.numbers:
            assert number.quantity.low <= number.quantity.value <= number.quantity.high


@pytest.mark.parametrize(
    ("changes", "name", "verdict", "words"),
    [
        ({"soundings": (Sounding("apex locator", 17.0), Sounding("radiograph", 21.3))}, "length", 4, "disagree"),
        ({"soundings": (Sounding("apex locator", 18.6),), "points": (PaperPointReading(18.5),) * 3}, "length", 4, "beyond the foramen"),
        ({"soundings": (Sounding("apex locator", 23.0),), "points": (PaperPointReading(23.0),) * 3}, "length", 3, "short of"),
        ({"points": (PaperPointReading(18.0), PaperPointReading(20.75))}, "dryness", 4, "drying"),
        ({"points": (PaperPointReading(20.5, blood=True),) * 3}, "dryness", 4, "blood"),
        ({"points": (PaperPointReading(20.25, 21.0),) * 3}, "dryness", 3, "torn"),
        ({"trials": (GaugeTrial(60, True), GaugeTrial(70, False))}, "gauge", 3, "does not touch"),
        ({"trials": (GaugeTrial(45, True),)}, "gauge", 3, "open on one side"),
        ({"irrigated": replace(GOOD.irrigated, hypochlorite=60.0)}, "contact time", 4, "only 1 of"),
        ({"irrigated": replace(GOOD.irrigated, chelator=900.0)}, "sequence", 3, "erodes"),
        ({"irrigated": replace(GOOD.irrigated, order=("hypochlorite", "chlorhexidine"))}, "sequence", 4, "brown"),
        ({"irrigated": replace(GOOD.irrigated, rate=300.0)}, "needle", 3, "kPa"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told(distal, tray, changes, name, verdict, words):
    item = judge(distal, tray, replace(GOOD, **changes)).item(name)
    assert item.verdict == verdict and words in item.message and item.action


def test_a_wall_cut_through_and_a_shape_that_lets_nothing_in(distal, tray):
    thin = distal.with_native(replace(distal.native, wall=np.full(distal.native.size, 0.02)))
    assert judge(thin, tray).item("shape").verdict is Verdict.NOT_READY
    stiff = replace(tray, pluggers=tuple(p for p in tray.pluggers if p.name in ("stiff 1.15", "stiff 1.30")))
    item = judge(distal, stiff).item("shape")
    assert item.verdict is Verdict.LOOK and "short of the end" in item.message and item.action


def test_a_thin_wall_towards_the_furcation_and_another_last_file_are_told(tray):
    mesial = casefile.demo_case().canal("mesiobuccal")
    side = furcation_side(mesial.tooth, mesial.name)
    for wall, verdict in ((0.5, Verdict.LOOK), (0.2, Verdict.NOT_READY)):
        thin = replace(mesial, sides=(SideWall(side, (0.0, 12.0), (wall, wall)),))
        item = judge(thin, tray).item("shape")
        assert item.verdict is verdict and f"towards the furcation ({side})" in item.message
        assert "least dentine towards the furcation" in [n.name for n in item.numbers]
    item = judge(mesial, tray, Record(files=(FileUsed(60, 0.02),))).item("shape")
    assert item.verdict is Verdict.LOOK and item.message.startswith("the last file noted is 60/0.02")


def test_the_tray_counts_the_files(distal, tray):
    """The file of that name on the tray brings its count: full, it is to be thrown away."""
    used = replace(distal.file, uses=5, most_uses=5)
    found = judge(distal, replace(tray, files=(used,))).item("file")
    assert found.verdict is Verdict.LOOK and "discard" in found.message
    assert judge(distal, tray).item("file").verdict is Verdict.READY


def test_untouched_is_that_of_shaping(distal, tray):
    found = shape_option(distal, tray, distal.file)
    assert found.untouched.value == pytest.approx(shaping.untouched_total(distal), abs=0.02)


def test_bad_records_are_refused():
    with pytest.raises(ValueError, match="0 to 86400"):
        Irrigated(hypochlorite=-1.0)
    with pytest.raises(ValueError, match="mL/s"):
        Irrigated(rate=6000.0)
    with pytest.raises(ValueError, match="no solution"):
        Irrigated(order=("bleach",))


@pytest.mark.parametrize("code", [11, 12, 13, 14, 15, 16, 17, 18, 31, 33, 34, 35, 36, 37, 38])
def test_every_kind_of_canal_can_be_judged(tray, code):
    """No canal that can be built ends in an error, whatever was recorded of it."""
    rng = np.random.default_rng(code)
    known = averages.tooth_averages(Tooth(code))
    for name in (*known.usual, *known.possible):
        size, taper = int(rng.choice([20, 30, 40, 60])), float(rng.choice([0.02, 0.04, 0.06]))
        length = known.length - 0.5
        canal = Canal.from_measurements(tooth=code, canal=name, working_length=length, finishing_file=(size, taper))
        points = tuple(PaperPointReading(float(length + rng.normal(0, 0.5))) for _ in range(rng.integers(0, 5)))
        soundings = tuple(Sounding(m, float(length + rng.normal(0, 0.7))) for m in rng.choice(method_names(), 3))
        found = judge(
            canal, tray, Record(soundings, points, irrigated=Irrigated(hypochlorite=float(rng.uniform(0, 3000))))
        )
        assert len(found.items) == 8 and all(i.message for i in found.items)
        assert all(i.action for i in found.to_do)
