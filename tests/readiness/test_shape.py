"""The trade-off of shape: reach bought with dentine, no option on the curve beaten by another."""

from dataclasses import replace

import numpy as np
import pytest

from canalwright import casefile, shaping
from canalwright.anatomy import perturbed
from canalwright.instruments import Needle
from canalwright.quantities import Reading
from canalwright.readiness.shape import PLUGGER_NEAREST, shape_option, trade_off
from canalwright.shaping.transport import FACTOR, MOST
from tests.fit.canals import canal

NEEDLE = Needle("30 gauge, side", 30, 0.311, 0.159, 25.0, "irrigation", opening="side")


@pytest.fixture(scope="module")
def found():
    tray = casefile.generic_tray()
    return trade_off(casefile.demo_case().canal("MB"), replace(tray, needles=(*tray.needles, NEEDLE)), draws=64)


def test_more_shape_costs_dentine_and_lets_more_in(found):
    """At one size a greater taper leaves less dentine, touches more wall and lets the needle no less deep."""
    by_name = {o.file.name: o for o in found.options}
    for size in (35, 40, 45):
        row = [by_name[f"{size}/{t}"] for t in ("0.02", "0.04", "0.06")]
        assert [o.dentine.value for o in row] == sorted((o.dentine.value for o in row), reverse=True)
        assert [o.untouched.value for o in row] == sorted((o.untouched.value for o in row), reverse=True)
        assert row[2].needle_short.value <= row[0].needle_short.value + 0.1
        assert row[2].life.strain > row[0].life.strain


def test_the_curve_is_a_curve(found):
    """Along it every gain in dentine is paid for in reach."""
    assert len(found.curve) >= 2
    for rich, poor in zip(found.curve, found.curve[1:], strict=False):
        assert rich.dentine.value >= poor.dentine.value
        reach = [max(o.plugger_short.value, PLUGGER_NEAREST) + o.needle_short.value for o in (rich, poor)]
        assert reach[0] >= reach[1] - 0.06
    assert found.smallest is not None and found.smallest.admits


def test_numbers_carry_intervals(found):
    for option in found.options:
        assert option.dentine.low < option.dentine.value < option.dentine.high
        assert option.needle.startswith("30 gauge")


def test_a_tray_without_irrigation_needle_says_nothing_of_it():
    bare = replace(casefile.generic_tray(), needles=())
    option = trade_off(casefile.demo_case().canal("distal"), bare, draws=64).present
    assert option.needle_short is None and option.needle == ""


def test_the_stated_interval_of_the_dentine_covers():
    """400 canals drawn another way (the whole canal moved, the wall read by `shaping`): 90 % lie in the stated interval."""
    errors = {"width": Reading(0.0, 0.08, "mm"), "wall": Reading(0.0, 0.2, "mm")}
    one = canal(size=35, taper=0.04, end=0.5, radius=8.0, straight=6.0, oval=1.5, errors=errors)
    stated = shape_option(one, casefile.generic_tray(), one.file, None).dentine
    rng = np.random.default_rng(12)
    held = 0
    for _ in range(400):
        moved = perturbed(one, width=rng.normal(0, 0.08), wall=rng.normal(0, 0.2))
        file = replace(moved.file, profile=_wider(moved.file.profile, rng.uniform(-0.02, 0.02)))
        left = shaping.remaining_dentine(replace(moved, file=file))[one.native.z >= 3.5].min()
        shift = shaping.transportation(one).value * np.exp(rng.normal(0, np.log(FACTOR) / 1.645))
        held += stated.low <= left - min(shift, MOST) <= stated.high
    assert 0.85 <= held / 400 <= 0.95


def _wider(profile, offset):
    return type(profile)(profile.at, tuple(d + offset for d in profile.diameter))
