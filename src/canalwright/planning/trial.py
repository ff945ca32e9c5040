"""`trials`: what many protocols would do in one canal, at the cost that thousands of canals allow.

The same draws, fit and rules as `plan`; what a study does not ask for is left out: the backfill, the search for the longest safe
activation, the risk at the terminus, findings. Heat runs once on the standard grid and once for *every* draw on the coarse
one, whose answers are scaled so that the two agree in the nominal run; nothing is carried by a response surface. Protocols that
differ in the setting alone share draws and fit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright import heat, shaping
from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.compaction import CompactionSummary
from canalwright.heat import HeatDraws
from canalwright.instruments import Tray
from canalwright.planning import fitting, moved, planner, practice, thermal
from canalwright.planning.choices import Choices
from canalwright.planning.doubt import Draws
from canalwright.planning.fitting import Tools
from canalwright.planning.moved import LEAST_WALL
from canalwright.planning.planner import PlanError
from canalwright.protocol import Heat, Protocol

Array = NDArray[np.float64]
AFTER = 15.0
"""The root surface is followed for this long after the last heat, s: it is warmest some seconds after it."""
COARSE = heat.Resolution.coarse()


@dataclass(frozen=True)
class Trial:
    """One protocol in one canal; arrays by draw, (d,), the nominal one first.

    `rise` [K], `above_47` [s], `cem43` [min] greatest at the root surface; `front` [mm] from the end of the preparation to the
    deepest soft gutta-percha; `rounds`, `temperature` [deg C], `activation` [s] and `seconds` of the downpack as set; `tools`
    with the reach of every instrument; `filled` what the press moves, where that was asked for.
    """

    choices: Choices
    tools: Tools
    rise: Array
    above_47: Array
    cem43: Array
    front: Array
    rounds: int
    temperature: float
    activation: float
    seconds: float
    filled: CompactionSummary | None = None

    def chance_over(self, limit: float) -> float:
        """Share of the draws whose greatest rise passes `limit` K."""
        return float(np.mean(self.rise[1:] > limit))


Known = list[tuple[Choices, Draws, Tools]]


def trials(
    canal: Canal,
    tray: Tray,
    protocols: Sequence[Choices],
    *,
    press: bool = False,
    threads: int = 1,
    known: Known | None = None,
) -> tuple[Trial, ...]:
    """One `Trial` for each of `protocols`, in order; `press`: ask the compaction model too.

    `known`: a list, empty at first, for several calls with one canal and one tray to share draws and fits. Raises PlanError as `plan` does.
    The same for the same input, whatever `threads` and `known`.
    """
    found, known = [], [] if known is None else known
    for choices in protocols:
        planner.check(choices)
        try:
            draws, tools = _fitted(canal, tray, choices, known)
        except fitting.ChoiceError as error:
            raise PlanError(str(error)) from None
        found.append(_trial(draws, tray, tools, choices, press, threads))
    return tuple(found)


def _fitted(canal: Canal, tray: Tray, choices: Choices, known: Known) -> tuple[Draws, Tools]:
    """Draws and tools, taken over from a protocol with the same fit where there is one."""
    for other, draws, tools in known:
        if planner.same_fit(other, choices) and planner.same_cone(other, choices):
            return (draws if other.force == choices.force else draws.pressed(choices)), tools
    draws = Draws.of(canal, choices)
    tools = fitting.fit_tools(draws, tray, choices, brief=True)
    known.append((choices, draws, tools))
    return draws, tools


def _trial(draws: Draws, tray: Tray, tools: Tools, choices: Choices, press: bool, threads: int) -> Trial:
    canal = draws.canal
    lumen = shaping.shaped(canal)
    lumen = replace(lumen, wall=np.maximum(lumen.wall, LEAST_WALL))
    steps, timing = planner.rounds_and_timing(draws, lumen, tools, choices)
    protocol = planner.downpack_of(canal, tools, steps, timing)
    warm = _heated(lumen, protocol, replace(draws, few=draws.sample), threads)
    filled = None
    if press:
        story = heat.simulate(lumen, protocol, resolution=thermal.QUICK, every=0.25)
        filled = moved.pressed(
            canal, lumen, protocol, story, planner.sealer_of(tray, choices), choices, moved.QUICK_DRAWS
        )
    heats = [act for act in protocol.acts if isinstance(act, Heat)]
    return Trial(
        choices, tools, warm.surface_rise, warm.above_47.max(axis=1), warm.cem43.max(axis=1),
        np.asarray(np.nanmin(warm.front, axis=1)) - canal.end,
        len(steps), heats[-1].temperature, heats[-1].seconds, protocol.seconds, filled,
    )  # fmt: skip


def _heated(lumen: Lumen, protocol: Protocol, draws: Draws, threads: int) -> HeatDraws:
    """Every draw on the coarse grid, scaled to the standard one; row 0 is that of the standard grid.

    The nominal run of an oval canal takes its axis from the canal of equal area and its root surface from that of the least width.
    The draws run in the latter alone. Their rises are those of both runs; their fronts lie as far from the nominal one as there
    (over 24 molars the mean shift of the 5, 50 and 95 % fronts was 0.04 mm or less, in single teeth up to one row of 0.5 mm).
    """
    last = max(i for i, act in enumerate(protocol.acts) if isinstance(act, Heat))
    until = min(list(protocol.timed())[last][1] + AFTER, protocol.seconds)
    given = thermal.heat_draws(lumen, draws)
    side = heat.least_width(lumen)
    many = heat.simulate_many(side, protocol, given, resolution=COARSE, until=until, threads=threads)
    first = {name: values[:1] for name, values in given.items()}
    exact = heat.simulate_many_flat_side(
        lumen, protocol, first, resolution=heat.Resolution.standard(), until=until, threads=threads
    )
    return _agreeing(many, exact)


def _agreeing(many: HeatDraws, exact: HeatDraws) -> HeatDraws:
    """`many` with rises in proportion, and fronts moved, so that the first row is that of `exact`."""
    share = exact.surface_rise[0] / max(float(many.surface_rise[0]), 1e-3)
    offset = np.nanmin(exact.front[0]) - np.nanmin(many.front[0])
    peak = many.peak_rise * share
    peak[0] = peak[0] * (exact.surface_rise[0] / max(float(peak[0].max()), 1e-6))
    above, dose = many.above_47.copy(), many.cem43.copy()
    above[0], dose[0] = exact.above_47[0].max(), exact.cem43[0].max()
    return replace(many, peak_rise=peak, front=many.front + offset, above_47=above, cem43=dose)


def reaches_end(trial: Trial, canal: Canal, within: float = practice.REACH_TO_END) -> tuple[bool, float]:
    """Whether the apical plugger's stop comes within `within` mm of the end, and the share of the draws in which it gets there."""
    apical = next((p for p in trial.tools.pluggers if p.part == "apical"), None)
    if apical is None:
        return False, 0.0
    level = canal.end + within
    return bool(apical.stop <= level + 1e-9), apical.reach.chance(level)
