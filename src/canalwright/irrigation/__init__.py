"""Irrigation: where fresh irrigant gets to, what it dissolves in what time, what must not meet what.

    room(lumen, needle)                          clearance beside a needle, by station
    deliver(lumen, needle, tip, end, rate)       Delivery: exchange beyond the tip, apical pressure, barrel pressure
    gas_chance(width, opening, short, rate)      a bubble at the end (vapour lock)
    dissolved(seconds, Bath(3.0, 33.0, "ultrasonic")), dissolution_time(depth, bath)
    pockets(canal)                               fins and branches that no file touches
    budget(canal, bath)                          Budget: contact times that a chair can follow
    checked(order), clashes(order), mended(order)    sequences of solutions

How deep a needle gets is for `canalwright.fit.reach_of`; the room above (`readiness`) puts the two together. Every figure comes from
`figures.toml` with spread and source.
"""

from canalwright.irrigation.budget import Budget, Contact, Reached, budget
from canalwright.irrigation.dissolve import Bath, SoakError, agitations, dissolution_time, dissolved, front, time_for
from canalwright.irrigation.flow import (
    Delivery,
    FlowError,
    annulus_pressure,
    bore_pressure,
    deliver,
    exchange_length,
    rate_at,
    room,
)
from canalwright.irrigation.gas import REMEDY, gas_chance
from canalwright.irrigation.pockets import Pocket, pockets
from canalwright.irrigation.solutions import SOLUTIONS, Clash, SequenceError, checked, clashes, mended

__all__ = [
    "REMEDY",
    "SOLUTIONS",
    "Bath",
    "Budget",
    "Clash",
    "Contact",
    "Delivery",
    "FlowError",
    "Pocket",
    "Reached",
    "SequenceError",
    "SoakError",
    "agitations",
    "annulus_pressure",
    "bore_pressure",
    "budget",
    "checked",
    "clashes",
    "deliver",
    "dissolution_time",
    "dissolved",
    "exchange_length",
    "front",
    "gas_chance",
    "mended",
    "pockets",
    "rate_at",
    "room",
    "time_for",
]
