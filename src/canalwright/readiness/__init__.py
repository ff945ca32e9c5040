"""Is the canal ready to be filled? Length, shape, irrigation, dryness, each with numbers and what to do.

length = readiness.combine([Sounding("apex locator", 21.0), Sounding("paper point", 20.9)], Tooth(46), age=40)
length.constriction, length.foramen, length.apex     # Quantity, mm from the reference point
length.agrees, length.candidates, length.odd         # disagreement is a finding, not an average
readiness.next_steps(length)                         # what a further measurement would add
"""

from canalwright.readiness.gauging import Gauge, GaugeTrial, gauge
from canalwright.readiness.item import Item, Number, Verdict
from canalwright.readiness.length import Candidate, Length, Odd, Sounding, combine, film_sounding
from canalwright.readiness.methods import Landmark, Method, error_from_share, method, method_names
from canalwright.readiness.next_step import NextStep, next_steps
from canalwright.readiness.points import DryEnd, PaperPointReading, Pattern, read_points, sounding_of
from canalwright.readiness.record import FileUsed, Irrigated, Record
from canalwright.readiness.shape import ShapeOption, TradeOff, shape_option, trade_off
from canalwright.readiness.verdict import Readiness, judge

__all__ = [
    "Candidate",
    "DryEnd",
    "FileUsed",
    "Gauge",
    "GaugeTrial",
    "Irrigated",
    "Item",
    "Landmark",
    "Length",
    "Method",
    "NextStep",
    "Number",
    "Odd",
    "PaperPointReading",
    "Pattern",
    "Readiness",
    "Record",
    "ShapeOption",
    "Sounding",
    "TradeOff",
    "Verdict",
    "combine",
    "error_from_share",
    "film_sounding",
    "gauge",
    "judge",
    "method",
    "method_names",
    "next_steps",
    "read_points",
    "shape_option",
    "sounding_of",
    "trade_off",
]
