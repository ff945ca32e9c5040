"""Items of the verdict on shape and on the file that cut it."""

from canalwright import shaping
from canalwright.anatomy import Canal
from canalwright.instruments import Tray
from canalwright.readiness.item import Item, Number, Verdict
from canalwright.readiness.record import Record
from canalwright.readiness.shape import PLUGGER_WITHIN, shape_option, trade_off
from canalwright.shaping.wall import THIN


def shape(canal: Canal, tray: Tray, record: Record) -> Item:
    """Does the shape let the instruments in, and what wall is left?"""
    found = shape_option(canal, tray, canal.file)
    numbers = [Number("least dentine", found.dentine), Number("share of wall untouched", found.untouched)]
    if found.plugger_short is not None:
        numbers.insert(0, Number("deepest plugger short of the end", found.plugger_short))
    if found.furcation is not None:
        numbers.insert(1, Number("least dentine towards the furcation", found.furcation))
    level = f"{canal.depth(found.thin_at):.1f} mm from the {canal.reference}"
    if found.dentine.value <= 0:
        return Item(
            "shape", Verdict.NOT_READY, f"no dentine may be left {level}: {found.dentine.format(2)}", tuple(numbers),
            "look for a perforation there before anything is pressed",
        )  # fmt: skip
    if found.furcation is not None and found.furcation.value < THIN:
        at = f"{canal.depth(found.furcation_at):.1f} mm from the {canal.reference}"
        return Item(
            "shape", Verdict.LOOK if found.furcation.value > 0 else Verdict.NOT_READY,
            f"the wall towards the furcation ({found.furcation_side}) may be thin {at}: {found.furcation.format(2)}", tuple(numbers),
            "no larger file, lean away from that side, light pressure there",
        )  # fmt: skip
    last = record.files[-1].file if record.files else None
    if last is not None and (last.profile.tip, last.profile(8.0)) != (canal.file.profile.tip, canal.file.profile(8.0)):
        words = f"the last file noted is {last.name}, the finishing file {canal.file.name}"
        return Item("shape", Verdict.LOOK, words, tuple(numbers), "correct the case or the list of files")
    if found.plugger_short is not None and not found.admits:
        better = trade_off(canal, tray).smallest
        help_ = (
            f"{better.file.name} would let one within {PLUGGER_WITHIN:.0f} mm and leave {better.dentine.format(2)} of dentine"
            if better
            else "no file on offer lets one nearer: take a thinner or an elastic plugger"
        )
        words = f"the deepest plugger stays {found.plugger_short.format(1)} short of the end"
        return Item("shape", Verdict.LOOK, words, tuple(numbers), help_)
    if found.dentine.value < THIN:
        return Item(
            "shape", Verdict.LOOK, f"the wall may be thin {level}: {found.dentine.format(2)}", tuple(numbers),
            "no larger file, light pressure there",
        )  # fmt: skip
    words = f"dentine {found.dentine.format(2)} at its least, {found.untouched.value:.0%} of the wall untouched"
    return Item("shape", Verdict.READY, words, tuple(numbers), "")


def file(canal: Canal, tray: Tray) -> Item:
    """Will the finishing file last? The tray's own file of that name brings its alloy and its count of uses."""
    counted = next((f for f in tray.files if f.name == canal.file.name), canal.file)
    found = shaping.life(canal, counted)
    numbers = (Number("turns to failure", found.turns), Number("canals like this one", found.canals))
    verdict = Verdict.LOOK if found.discard else Verdict.READY
    return Item(
        "file", verdict, found.words, numbers, "take a new one and look at it after use" if found.discard else ""
    )
