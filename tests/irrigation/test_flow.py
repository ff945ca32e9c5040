"""Flow from a needle: closed forms of tube and annulus, published orders, refusals in words."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from canalwright import irrigation, shaping
from canalwright.instruments import Needle, iso9626
from tests.fit.canals import canal

OPEN = Needle("30 gauge", 30, 0.311, 0.159, 25.0, "irrigation")
SIDE = Needle("30 gauge, side", 30, 0.311, 0.159, 25.0, "irrigation", opening="side")


def _lumen(size=45, taper=0.06):
    return shaping.shaped(canal(size=size, taper=taper, end=0.0, top=15.0, taper_native=0.0))


def test_poiseuille_at_low_flow():
    """Without speed only friction is left; at equal pressure 25 against 30 gauge passes (0.260 / 0.159)^4 = 7.15 times."""
    wide = Needle("25 gauge", 25, 0.514, 0.260, 25.0, "irrigation")
    rates = [irrigation.rate_at(n, 1e-9) for n in (wide, OPEN)]
    assert rates[0] / rates[1] == pytest.approx((0.260 / 0.159) ** 4, rel=1e-3)
    assert rates[1] == pytest.approx(np.pi * 0.159**4 * 1e-9 / (128 * 1e-9 * 25), rel=1e-3)


@given(st.floats(1e-4, 1.0))
def test_rate_and_pressure_undo_each_other(pressure):
    assert irrigation.bore_pressure(OPEN, irrigation.rate_at(OPEN, pressure)) == pytest.approx(pressure, rel=1e-9)


def test_annulus_against_its_velocity_profile():
    """Flow through a concentric annulus by quadrature of the velocity, and its pressure by our formula."""
    outer, inner, slope, mu = 0.4, 0.155, 1e-4, 1e-9

    def speed(r):
        return slope / (4 * mu) * (outer**2 - r**2 + (outer**2 - inner**2) * np.log(r / outer) / np.log(outer / inner))

    rate = quad(lambda r: 2 * np.pi * r * speed(r), inner, outer)[0]
    z = np.linspace(0, 10, 101)
    found = irrigation.annulus_pressure(z, np.full(101, 2 * outer), 2 * inner, 2.0, rate, mu)
    assert found == pytest.approx(8.0 * slope, rel=1e-6)


def test_published_orders():
    """Open needles renew farther and press more; nearer and faster press more; a larger canal presses less."""
    lumen = _lumen()
    near, far = (irrigation.deliver(lumen, OPEN, tip, 0.0, 260.0) for tip in (1.0, 4.0))
    side = irrigation.deliver(lumen, SIDE, 1.0, 0.0, 260.0)
    slow = irrigation.deliver(lumen, OPEN, 1.0, 0.0, 50.0)
    wide = irrigation.deliver(_lumen(60), OPEN, 1.0, 0.0, 260.0)
    assert near.apical.value > far.apical.value and near.apical.value > side.apical.value
    assert near.apical.value > slow.apical.value and near.apical.value > wide.apical.value
    assert near.exchange.value > side.exchange.value and near.exchange.value >= slow.exchange.value
    assert near.reaches.value >= far.reaches.value


def test_a_wedged_needle_is_told():
    """A needle that fills the canal leaves no way back: pressure without bound, gap under the least."""
    tight = shaping.shaped(canal(size=30, taper=0.02, end=0.0, top=15.0, taper_native=0.0))
    found = irrigation.deliver(tight, OPEN, 0.4, 0.0, 100.0)
    assert found.wedged and found.apical.value == np.inf and found.over.value == 1.0


@given(st.floats(0.2, 1.0), st.sampled_from(["open", "side"]), st.floats(0, 5), st.floats(10, 300))
def test_gas(width, opening, short, rate):
    """A bubble is less likely in a wider end, nearer, faster; its interval is wide."""
    chance = irrigation.gas_chance(width, opening, short, rate)
    assert 0 <= chance.low <= chance.value <= chance.high <= 1
    assert irrigation.gas_chance(width + 0.1, opening, short, rate).value < chance.value
    assert irrigation.gas_chance(width, opening, short + 1, rate).value > chance.value
    assert irrigation.gas_chance(width, opening, short, rate * 2).value < chance.value
    assert (
        irrigation.gas_chance(width, "side", short, rate).value
        > irrigation.gas_chance(width, "open", short, rate).value
    )


def test_refusals():
    with pytest.raises(irrigation.FlowError, match="mL/min"):
        irrigation.deliver(_lumen(), OPEN, 2.0, 0.0, 6000.0)
    with pytest.raises(irrigation.FlowError, match="needle tip"):
        irrigation.deliver(_lumen(), OPEN, 40.0, 0.0)
    with pytest.raises(ValueError, match="more than 0"):
        irrigation.gas_chance(0.0, "open", 1.0, 100.0)


def test_room_by_station_agrees_with_the_entry_level():
    """23 gauge (0.641 mm) enters a canal 40/0.06 at (0.641 - 0.40) / 0.06 = 4.02 mm from its end; 30 gauge passes."""
    lumen = _lumen(40)
    wide = Needle("23 gauge", 23, 0.641, 0.337, 25.0, "irrigation")
    beside = irrigation.room(lumen, wide)
    assert lumen.z[np.argmax(beside >= 0)] == pytest.approx(iso9626.entry_level(0.641, 0.40, 0.06), abs=0.1)
    assert (irrigation.room(lumen, OPEN) > 0).all() and (np.diff(beside) > 0).all()
