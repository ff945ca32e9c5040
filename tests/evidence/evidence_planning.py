"""Plans of the invented demo tooth beside the rules of the trade and published timings."""

from functools import cache
from itertools import pairwise

from canalwright import casefile, planning
from canalwright.planning import Choices, Plan, practice
from canalwright.protocol import Press
from tests.evidence.table import Check

ROOM = "planning"
BLUM = "Blum, Parahy & Machtou 1997, J Endod 23:307-311"


@cache
def plans() -> tuple[Plan, ...]:
    tray = casefile.generic_tray()
    return tuple(planning.plan(canal, tray, Choices(draws=64)) for canal in casefile.demo_case().canals)


def _portions() -> float:
    return max(p.bottom.value - p.top.value for plan in plans() for p in plan.portions)


def _below_post() -> float:
    plan = next(p for p in plans() if p.canal.post)
    return plan.canal.working_length - plan.backfill_top.value


def _ahead() -> float:
    """How far below the carrier's stop gutta-percha is soft, least over canals and rounds."""
    return min(r.front.value - r.carrier_stop.value for plan in plans() for r in plan.rounds)


def _not_falling() -> float:
    """Pairs of neighbouring pluggers of one canal whose tips do not fall."""
    tips = [[q.plugger.profile.tip for q in plan.pluggers] for plan in plans()]
    return float(sum(a <= b for row in tips for a, b in pairwise(row)))


def _plunge() -> float:
    stops = [[r.carrier_stop.value for r in plan.rounds] for plan in plans()]
    return max(b - a for row in stops for a, b in pairwise(row))


def _unpacked() -> float:
    """Rounds of all canals whose plugger ends less than half a millimetre below the surface that the bite leaves."""
    rounds = [r for plan in plans() for r in plan.rounds]
    surface = [r.carrier_stop.value - practice.LEFT_BY_BITE for r in rounds]
    return float(sum(r.plugger_stop.value < s + practice.SETTLE - 0.01 for r, s in zip(rounds, surface, strict=True)))


def _minutes_a_press() -> float:
    plan = plans()[0]
    return plan.protocol.seconds / 60 / sum(isinstance(act, Press) for act in plan.protocol.acts)


CHECKS = [
    Check(
        ROOM, "apical plugger, distance of its stop from the end of the working length, worst of three canals",
        lambda: max(p.pluggers[-1].short_of_end.value for p in plans()), (0.0, 5.0), 1e-6, "a rule, not a measurement", "mm",
        "common practice: one plugger within 5 mm of working length", "common practice", "demo tooth, generic tray",
    ),
    Check(
        ROOM, "pluggers of one canal whose tips do not fall from part to part",
        _not_falling,
        0.0, 0.0, "a rule", "pairs", "common practice: each plugger larger than the next", "common practice", "demo tooth",
    ),
    Check(
        ROOM, "longest plunge of the carrier in one stroke",
        _plunge,
        (3.0, 4.0), 0.01, "a rule", "mm",
        "common practice: 3-4 mm in one stroke", "common practice", "demo tooth",
        miss="plunges of 3-4 mm would warm the root surface of all three canals past what the planner allows itself (7 of 10 K), or leave "
        "too little time for them: it takes one or two rounds more, and shorter ones",
    ),
    Check(
        ROOM, "rounds whose plugger does not pack the softened gutta-percha by half a millimetre", _unpacked, 0.0, 0.0, "a rule", "rounds",
        "common practice: in each round the widest plugger that is loose packs the softened mass", "common practice",
        "demo tooth, generic tray",
    ),
    Check(
        ROOM, "longest backfill portion", _portions, (0.5, 4.0), 0.01, "a rule", "mm",
        "common practice: portions of about 3-4 mm", "common practice", "demo tooth",
    ),
    Check(
        ROOM, "filling left below a post", _below_post, (4.0, 5.0), 0.01, "a rule", "mm",
        "Ricketts, Tait & Higgins 2005, Br Dent J 198:463-471", "read in the source", "distal canal of the demo tooth",
    ),
    Check(
        ROOM, "how far ahead of the carrier gutta-percha is soft", _ahead, (4.0, 5.0), 0.5, "half a millimetre: what a hand can feel", "mm",
        "common practice: heat travels 4-5 mm apically per activation", "common practice", "least over rounds and canals",
        miss="conduction along a filling in a wall near body temperature dies out within half a millimetre (steady cylinder: "
        "e^(-2.405 z/a)); the published apical temperatures of 36-38 deg C with the source 3 mm away say the same",
    ),
    Check(
        ROOM, "time per press of a whole downpack and backfill", _minutes_a_press, (0.335, 0.634), 0.0,
        "the band runs from 4.02 min for 12 to 5.07 min for 8 compactions", "min", BLUM, "read in an abstract",
        "pauses of 8 s between acts, as planned by default",
    ),
]  # fmt: skip
