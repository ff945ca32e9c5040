"""The debrief at the end of a session: what was done beside what was planned, each number with where it is from."""

from collections.abc import Sequence

from canalwright.guide import Step
from canalwright.guide.debrief import Line
from canalwright.quantities import Origin, Quantity, Source
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.ready import figure, table
from canalwright.web.words import Words

NOTED = Source(Origin.MEASURED, "noted at the chair")
RISE = "Greatest rise on the root surface"


def ended(rows: Sequence[tuple[str, Step, Line]], planned: Quantity, done: Quantity | None, words: Words) -> Safe:
    """The whole of it: what each step is called, the step, and what was done; `done` None while the rise is still being computed."""
    after: Safe | str = words("being computed")
    if done is not None:
        after = figure(RISE, done, 1, words, key="debrief.rise")
    head = el(
        "p", words("Outside, greatest rise"), ": ", words("planned"), " ",
        figure(RISE, planned, 1, words, key="debrief.planned rise"), ", ", words("done"), " ", after, "; ", words("limit 10 K"),
    )  # fmt: skip
    lines = [
        [_name(told, line), _planned(told, step, line, words), _done(told, line, words)] for told, step, line in rows
    ]
    columns = (words("step"), words("planned"), words("done"))
    off = {i: "off" for i, (_, _, line) in enumerate(rows) if line.off}
    return join(el("h2", words("All steps done")), head, table(columns, lines, words("What was done"), off))


def _name(told: str, line: Line) -> str:
    return f"▲ {told}" if line.off else told


def _planned(told: str, step: Step, line: Line, words: Words) -> Safe:
    found = []
    if line.planned is not None:
        found.append(figure(told, Quantity.exact(line.planned, "s"), 1, words, key="debrief.planned seconds", kind=""))
    if line.aim is not None:
        low, high = (line.aim if end is None else end for end in (step.low, step.high))
        aim = Quantity(line.aim, min(low, line.aim), max(high, line.aim), "mm")
        found.append(figure(told, aim, 1, words, key="debrief.aim"))
    return _beside(found)


def _done(told: str, line: Line, words: Words) -> Safe:
    found: list[Safe | str] = []
    if line.seconds is not None:
        found.append(figure(told, Quantity.exact(line.seconds, "s", NOTED), 1, words, key="debrief.seconds", kind=""))
    if line.depth is not None and line.depth != line.aim:
        found.append(figure(told, Quantity.exact(line.depth, "mm", NOTED), 1, words, key="debrief.depth", kind=""))
    return _beside([*found, *(words(note) for note in line.notes)])


def _beside(found: Sequence[Safe | str]) -> Safe:
    """One below the other."""
    return join(*(el("div", each) for each in found))
