"""The verdict: is the canal ready to be filled? Item by item, each with its numbers and what to do.

A verdict warns, it never forbids. What was not recorded is unknown, not wrong. The limits are common practice where the items'
own modules name no source.
"""

from dataclasses import dataclass

from canalwright.anatomy import Canal
from canalwright.instruments import Tray
from canalwright.quantities import Quantity
from canalwright.readiness import verdict_bath, verdict_shape
from canalwright.readiness.gauging import gauge
from canalwright.readiness.item import Item, Number, Verdict
from canalwright.readiness.length import Length, combine
from canalwright.readiness.next_step import next_steps
from canalwright.readiness.points import Pattern, read_points
from canalwright.readiness.record import Record

WIDE = 2.0
"""A 5-95 % interval of the length wider than this [mm] asks for another measurement (our own line)."""


@dataclass(frozen=True)
class Readiness:
    """All items; `length` is the combined length where measurements were recorded."""

    items: tuple[Item, ...]
    length: Length | None = None

    @property
    def verdict(self) -> Verdict:
        """The worst of the items."""
        return max((i.verdict for i in self.items), default=Verdict.UNKNOWN)

    def item(self, name: str) -> Item:
        """An item by its name; raises KeyError naming those there are."""
        for one in self.items:
            if one.name == name:
                return one
        raise KeyError(f"no item {name!r}; there are {', '.join(i.name for i in self.items)}")

    @property
    def to_do(self) -> tuple[Item, ...]:
        """Items that ask for something, worst first."""
        return tuple(sorted((i for i in self.items if i.verdict > Verdict.READY), key=lambda i: -i.verdict))


def judge(canal: Canal, tray: Tray, record: Record | None = None) -> Readiness:
    """Judge one shaped canal by what is on the tray and on the record (nothing on it: everything but shape is unknown)."""
    record = record or Record()
    soundings = record.all_soundings
    length = combine(soundings, canal.tooth, record.age) if soundings else None
    return Readiness(
        (
            _length(canal, length),
            verdict_shape.shape(canal, tray, record),
            verdict_shape.file(canal, tray),
            _gauge(canal, record),
            verdict_bath.needle(canal, tray, record),
            verdict_bath.contact(canal, record),
            verdict_bath.sequence(record),
            _dry(record),
        ),
        length,
    )


def _length(canal: Canal, length: Length | None) -> Item:
    planned = canal.working_length
    if length is None:
        error = 1.645 * canal.length.error
        known = Quantity(planned, planned - error, planned + error, "mm", canal.length.source)
        return Item(
            "length", Verdict.UNKNOWN, "one length is given and nothing beside it to bear it out", (Number("working length", known),),
            "take a second measurement of another kind: a locator, a paper point or a corrected film",
        )  # fmt: skip
    numbers = tuple(Number(n, getattr(length, n)) for n in ("constriction", "foramen", "apex"))
    if not length.agrees:
        odd = length.odd[0]
        told = "; ".join(
            f"{', '.join(s.method for s in c.soundings)}: {c.constriction.format(1)}" for c in length.candidates
        )
        return Item(
            "length", Verdict.NOT_READY,
            f"the measurements disagree (chance {length.chance:.1%} by measuring error alone): {told}", numbers,
            f"find out why first: repeat the {odd.sounding.method} and check the reference point",
        )  # fmt: skip
    at = length.constriction
    if planned > length.foramen.high:
        return Item(
            "length", Verdict.NOT_READY, f"the working length of {planned:.1f} mm lies beyond the foramen at {length.foramen.format(1)}",
            numbers, f"shorten it to {at.value:.1f} mm and gauge again",
        )  # fmt: skip
    if not at.low <= planned <= at.high:
        side = "beyond" if planned > at.high else "short of"
        return Item(
            "length", Verdict.LOOK, f"the working length of {planned:.1f} mm lies {side} the constriction at {at.format(1)}", numbers,
            f"take it to {at.value:.1f} mm, or measure again",
        )  # fmt: skip
    if at.high - at.low > WIDE:
        steps = next_steps(length)
        best = f"a {steps[0].method} would narrow it to {steps[0].after:.1f} mm" if steps else "measure again"
        return Item("length", Verdict.LOOK, f"known only to {at.high - at.low:.1f} mm: {at.format(1)}", numbers, best)
    words = f"working length {planned:.1f} mm, constriction at {at.format(1)}: they agree"
    return Item("length", Verdict.READY, words, numbers, "")


def _gauge(canal: Canal, record: Record) -> Item:
    tip = canal.file.profile.tip
    if not record.trials:
        return Item(
            "gauge",
            Verdict.UNKNOWN,
            "the end was not gauged",
            (),
            f"gauge it with size {100 * tip:.0f} and its neighbours",
        )
    found = gauge(record.trials)
    numbers = (Number("width at the end", found.width),)
    if found.contradiction:
        return Item("gauge", Verdict.LOOK, found.contradiction, numbers, "gauge again, from the smaller size up")
    if found.least > tip + 0.02:
        return Item(
            "gauge", Verdict.LOOK, f"the end is {found.width.format(2)} wide, the finishing file {tip:.2f} mm: it does not touch there",
            numbers, "finish larger, or expect the cone to be held above the end only",
        )  # fmt: skip
    if found.next_size is not None:
        words = f"the width is open on one side: {found.width.format(2)}"
        return Item("gauge", Verdict.LOOK, words, numbers, f"try size {found.next_size} next")
    return Item("gauge", Verdict.READY, f"the end is {found.width.format(2)} wide", numbers, "")


def _dry(record: Record) -> Item:
    found = read_points(record.points)
    numbers = tuple(
        Number(n, q) for n, q in (("end by paper points", found.end), ("far rim", found.far_rim), ("cone end", found.cone_end)) if q
    )  # fmt: skip
    verdict = {
        Pattern.NONE: Verdict.UNKNOWN,
        Pattern.ROUND: Verdict.READY,
        Pattern.SLANTED: Verdict.LOOK,
        Pattern.TURNING: Verdict.LOOK,
        Pattern.UNSTEADY: Verdict.LOOK,
        Pattern.DRYING: Verdict.NOT_READY,
        Pattern.BLEEDING: Verdict.NOT_READY,
    }[found.pattern]
    return Item("dryness", verdict, found.pattern.value, numbers, found.action)
