"""Plans for the report tests. Every number here is invented: no patient, no model, no measurement."""

from dataclasses import replace
from itertools import pairwise

import numpy as np

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen, Portal
from canalwright.anatomy.tooth import Tooth
from canalwright.compaction import CompactionSummary, Extrusion, PortalFill
from canalwright.heat.story import ActHeat, HeatStory
from canalwright.instruments import Carrier, Cone, File, Needle, PaperPoint, Plugger, Profile, Sealer, Tray
from canalwright.planning.choices import Choices
from canalwright.planning.parts import ConePlan, Finding, Harm, HeatSummary, PluggerPlan, Portion, Reach, Round, TrimRow
from canalwright.planning.product import Plan
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Protocol, Sear
from canalwright.quantities import Origin, Quantity, Reading, Source
from canalwright.report.moment import Moment


def quantity(value: float, spread: float = 0.4, unit: str = "mm", supposed: float = 0.2) -> Quantity:
    """A number with a lopsided interval, so that a test can tell its ends apart."""
    return Quantity(value, value - spread, value + 1.5 * spread, unit, supposed=supposed, leading="width")


def canal(
    code: int = 46,
    *,
    length: float = 21.0,
    curve: float = 25.0,
    ovality: float = 1.0,
    portals: tuple[Portal, ...] | None = None,
    post: bool = False,
) -> Canal:
    """An invented canal curved by `curve` degrees over its apical 8 mm."""
    native, _ = lumens(length, curve, ovality)
    average = Source(Origin.AVERAGE, "invented for the tests")
    return Canal(
        tooth=Tooth(code),
        name="mesiobuccal",
        native=native,
        length=Reading(length, 0.25, "mm"),
        end=0.5,
        file=File("30/.06", Profile.uniform(0.30, 0.06), 30),
        reference="mesiobuccal cusp tip",
        orifice=length - 8.0,
        crest=length - 10.0,
        cej=length - 8.5,
        post=post,
        foramen=0.45,
        portals=(
            portals if portals is not None else (Portal(3.2, Reading(0.08, 0.02, "mm"), "side branch", "mesial", 1.1),)
        ),
        sources={
            "length": Source(Origin.MEASURED, "electronic locator"),
            "wall": average,
            "crest": average,
            "orifice": Source(Origin.ASSUMED, "invented for the tests"),
        },
    )


def lumens(length: float, curve: float, ovality: float) -> tuple[Lumen, Lumen]:
    """Native and shaped lumen, from the terminus to the orifice 8 mm below the reference point."""
    z = np.arange(0.0, length - 8.0 + 1e-9, 0.1)
    narrow = 0.24 + 0.028 * z + 0.25 * np.exp(-z / 0.25)
    shaped = np.maximum(narrow, np.where(z >= 0.5, 0.30 + 0.06 * (z - 0.5), 0.0))
    bend = np.radians(curve) * np.clip(1 - z / 8.0, 0.0, 1.0)
    direction = np.column_stack([np.sin(bend), np.zeros_like(z), np.cos(bend)])
    centre = np.vstack([np.zeros(3), np.cumsum(direction[1:] * 0.1, axis=0)])
    axis = np.tile([0.0, 1.0, 0.0], (len(z), 1))
    outside = 0.9 + 1.7 * (z / z[-1]) ** 0.6
    made = []
    for minor in (narrow, shaped):
        major = minor * ovality
        made.append(Lumen(z, minor, major, centre, axis, outside - minor / 2, np.pi / 4 * minor * major))
    return made[0], made[1]


PLUGGERS = tuple(Plugger(f"size {size}", Profile.uniform(size / 100, 0.02)) for size in (90, 70, 50))
NEEDLE = Needle("23 gauge", 23, 0.641, 0.337)
CARRIER = Carrier("medium carrier", Profile.uniform(0.5, 0.06, 10.0))
CONE = Cone("35/.06", Profile.uniform(0.35, 0.06), 35)

FINDINGS = (
    Finding(
        Harm.DANGER,
        "heat.margin",
        "In one case of eight the root surface warms by more than 10 K in the deepest round.",
        "Shorten the last activation to 1.5 s or let the root cool for 20 s first.",
        quantity(1.2, 1.5, "K"),
    ),
    Finding(
        Harm.CAUTION, "cone.size", "A cone within its tolerance may seat up to 2 mm short.",
        "Try the cone; trim by 0.5 mm.", quantity(0.6),
    ),
    Finding(
        Harm.DOUBT, "wall.average", "The dentine wall is a published average, not measured.",
        "Measure the wall on a scan.",
    ),
    Finding(Harm.NOTE, "length.paper", "Confirm the length with a paper point.", "Dry, then read the point."),
)  # fmt: skip


def plan(
    code: int = 46,
    *,
    length: float = 21.0,
    rounds: int = 3,
    portions: int = 3,
    findings: tuple[Finding, ...] = FINDINGS,
    curve: float = 25.0,
    ovality: float = 1.0,
    post: bool = False,
    portals: tuple[Portal, ...] | None = None,
) -> Plan:
    """An invented plan for one canal of tooth `code`."""
    tooth = canal(code, length=length, curve=curve, ovality=ovality, portals=portals, post=post)
    _, shaped = lumens(length, curve, ovality)
    end = length - 0.5
    top = length - 9.5
    bite = (end - 5.0 - top) / rounds
    stops = [top + bite * (i + 1) for i in range(rounds)]
    steps = np.linspace(end - 4.4, top, portions + 1)
    return Plan(
        canal=tooth,
        tray=Tray("invented tray", pluggers=PLUGGERS, carriers=(CARRIER,), needles=(NEEDLE,), cones=(CONE,)),
        choices=Choices(),
        lumen=shaped,
        cone=ConePlan(
            cone=CONE,
            trim=quantity(0.5, 0.2),
            seat=quantity(end - 0.3, 0.5),
            short=quantity(0.3, 0.5),
            tug_back=quantity(2.1, 0.8),
            chance=Quantity(0.62, 0.55, 0.7, ""),
            table=tuple(
                TrimRow(t / 2, 0.35 + 0.03 * t, quantity(end - 1 + t * 0.5, 0.5), Quantity.share(0.2 + 0.1 * t, 200)) for t in range(5)
            ),
        ),
        paper_point=PaperPoint("30/.02", Profile.uniform(0.3, 0.02), 30),
        pluggers=tuple(
            PluggerPlan(part, tool, quantity(depth + 0.5), quantity(depth), quantity(end - depth))
            for part, tool, depth in zip(
                ("coronal", "middle", "apical"), PLUGGERS, (top - 0.6, end - 7.4, end - 4.4), strict=True
            )
        ),
        carrier=CARRIER,
        sealer=Sealer("epoxy resin sealer"),
        reaches=(Reach("plugger", "size 50", quantity(end - 4.0), quantity(4.0), "curve"),),
        rounds=tuple(
            Round(
                number=i + 1,
                carrier_stop=quantity(stop, 0.3),
                activation=Quantity.exact(2.0, "s"),
                bite=quantity(bite, 0.4),
                plugger=PLUGGERS[min(2, i)],
                plugger_stop=quantity(stop - 0.2, 0.3),
                hold=Quantity.exact(10.0 if i == rounds - 1 else 5.0, "s"),
                front=quantity(stop + 1.4, 0.5),
                surface_rise=quantity(3.0 + i, 1.0, "K"),
            )
            for i, stop in enumerate(stops)
        ),
        portions=tuple(
            Portion(
                number=i + 1,
                needle=NEEDLE,
                needle_stop=quantity(float(steps[i]) - 0.5, 0.3),
                bottom=quantity(float(steps[i]), 0.3),
                top=quantity(float(steps[i + 1]), 0.3),
                volume=quantity(2.1 + i, 0.4, "mm³"),
                resoften=quantity(2.0, 0.5, "s"),
                plugger=PLUGGERS[max(0, 2 - i)],
                hold=Quantity.exact(5.0, "s"),
            )
            for i in range(portions)
        ),
        backfill_top=quantity(top, 0.3),
        backfill_reason="crest of bone",
        heat=HeatSummary(
            surface_rise=quantity(6.4, 1.5, "K", 0.6),
            surface_level=quantity(end - 4.0, 0.8),
            above_47=quantity(0.0, 0.0, "s"),
            cem43=quantity(0.02, 0.02, "min"),
            margin=quantity(3.6, 1.5, "K", 0.6),
            longest_activation=quantity(3.4, 0.8, "s", 0.6),
            apical=quantity(44.5, 2.0, "°C", 0.3),
        ),
        sealer_volume=quantity(1.3, 0.5, "mm³"),
        fill=_fill(tooth),
        extrusion=Extrusion(Quantity.share(0.02, 128), quantity(0.1, 0.1), ()),
        protocol=_protocol(length, stops, steps),
        findings=findings,
        supposed=0.38,
        leading=(("wall", 0.41), ("carrier tip temperature", 0.22), ("width", 0.12)),
        versions={"canalwright": "0.1.0"},
    )  # fmt: skip


def _fill(tooth: Canal) -> CompactionSummary:
    branches = tuple(
        PortalFill(p, quantity(1.0, 0.3), quantity(0.2, 0.2), 1.2, 0.8, 0.1, Quantity(0.6, 0.4, 0.8, ""), "its width")
        for p in tooth.portals
    )
    share = Quantity(0.02, 0.01, 0.05, "")
    return CompactionSummary(
        branches, quantity(0.1, 0.1, "mm3"), share, Quantity(0.9, 0.8, 0.95, ""), share, (), (), quantity(20.0, 5.0, "MPa"),
        Quantity(0.2, 0.1, 0.4, ""), 8.0, 0.0, (),
    )  # fmt: skip


def _protocol(length: float, stops: list[float], steps: np.ndarray) -> Protocol:
    """Acts that fit the invented rounds and portions."""
    acts: list[Act] = [Place(CONE, 0.8), Sear(CARRIER, 13.0, 200.0)]
    for i, stop in enumerate(stops):
        z = length - stop
        hold = 10.0 if i == len(stops) - 1 else 5.0
        acts += [
            Heat(CARRIER, z, 200.0, 2.0, 1.0),
            Bite(z + 0.2),
            Press(PLUGGERS[min(2, i)], z + 0.2, 20.0, hold),
            Pause(8.0),
        ]
    for low, high in pairwise(steps):
        acts += [
            Inject(NEEDLE, length - float(low), length - float(high), 80.0, 4.0),
            Press(PLUGGERS[0], length - float(high), 20.0, 5.0),
        ]
    return Protocol(tuple(acts))


def story(made: Plan, frames: int = 80) -> HeatStory:
    """An invented story: warm where the carrier is, cooling between."""
    timed = list(made.protocol.timed())
    time = np.linspace(0.0, made.protocol.seconds, frames)
    z = np.arange(0.0, made.canal.length.value, 0.2)
    index = np.array([max(i for i, (start, _, _) in enumerate(timed) if start <= t) for t in time])
    carrier, top, front = np.full(frames, np.nan), np.full(frames, 13.0), np.full(frames, 13.0)
    plugger, axis = np.full(frames, np.nan), np.full((frames, len(z)), 36.0)
    level = 13.0
    for k, i in enumerate(index):
        act = timed[i][2]
        if isinstance(act, Heat):
            carrier[k], front[k] = act.stop, act.stop - 1.2
            axis[k] += 160.0 * np.exp(-np.clip(act.stop - z, 0.0, None))
        if isinstance(act, Press):
            plugger[k] = act.stop
        level = act.level if isinstance(act, Bite) else act.top if isinstance(act, Inject) else level
        top[k], front[k] = level, min(front[k], level)
    surface = 36.0 + 0.05 * (axis - 36.0)
    heated = tuple(ActHeat(act, start, end, 5.0, 4.0, 5.0, 40.0, 3.0) for start, end, act in timed)
    peak = surface.max(axis=0) - 36.0
    return HeatStory(
        time, z, axis, surface, front, top, carrier, np.where(np.isnan(carrier), np.nan, 200.0), plugger, index, peak,
        np.zeros_like(z), np.zeros_like(z), heated, 1, 1,
    )  # fmt: skip


def retitled(made: Plan, name: str) -> Plan:
    """The same plan for a canal of another name."""
    return replace(made, canal=replace(made.canal, name=name))


def moment(made: Plan, time: float = 12.0) -> Moment:
    """An invented moment: the carrier is down at its second stop."""
    length = made.canal.length.value
    stop = length - made.rounds[1].carrier_stop.value
    z = np.arange(0.0, length, 0.2)
    axis = 36.0 + 165.0 * np.exp(-np.clip(stop - z, 0.0, None) / 0.9)
    surface = 36.0 + 6.0 * np.exp(-((z - stop) ** 2) / 12.0)
    return Moment(
        time=time, words="carrier at 200 °C down to 14.2 mm", z=z, axis=axis, surface=surface,
        top=stop + 0.2, front=stop - 1.1, carrier_tip=stop, carrier=made.carrier,
    )  # fmt: skip
