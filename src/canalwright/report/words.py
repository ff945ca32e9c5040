"""The words of every number, once: card, terminal text and page all read them here.

A `Sheet` is a plan as people read it: single numbers (`Item`), tables, findings and provenance, in the order of work.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isinf

import numpy as np

from canalwright.anatomy.canal import Canal
from canalwright.planning.inputs_said import said
from canalwright.planning.parts import Finding, Harm
from canalwright.planning.product import Plan
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Sear
from canalwright.quantities import Quantity

HARM_WORDS = {Harm.DANGER: "danger", Harm.CAUTION: "caution", Harm.DOUBT: "doubt", Harm.NOTE: "note"}


@dataclass(frozen=True)
class Item:
    """One number: `key` for machines, `words` for people, decimals to show, and whether somebody chose it."""

    key: str
    words: str
    quantity: Quantity
    digits: int = 1
    chosen: bool = False

    @property
    def value(self) -> str:
        """The number alone."""
        return figure(self.quantity.value, self.digits)

    @property
    def interval(self) -> str:
        """Its 5-95 % interval, or `set` for a number that somebody chose."""
        q = self.quantity
        return "set" if self.chosen and q.low == q.high else interval(q, self.digits)

    @property
    def unit(self) -> str:
        """Its unit as people write it."""
        return self.quantity.unit.replace("mm3", "mm³").replace("deg C", "°C")


@dataclass(frozen=True)
class Table:
    """Rows of items and words under `columns`; `columns` name the unit, cells do not."""

    key: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Item | str, ...], ...]


@dataclass(frozen=True)
class Sheet:
    """A plan in words."""

    canal: Canal
    length: Item
    cone_name: str
    cone: tuple[Item, ...]
    trim: Table
    pluggers: Table
    rounds: Table
    portions: Table
    heat: tuple[Item, ...]
    fill: tuple[Item, ...]
    setting: tuple[str, ...]
    findings: tuple[Finding, ...]
    provenance: tuple[str, ...]


def figure(value: float, digits: int = 1) -> str:
    """A number as people read it; an unbounded one says so."""
    if isinf(value):
        return "no limit" if value > 0 else "none"
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")


def interval(q: Quantity, digits: int = 1) -> str:
    """`11.9–12.8`; `to` stands between the ends when one is negative or unbounded."""
    low, high = figure(q.low, digits), figure(q.high, digits)
    return f"{low}–{high}" if q.low >= 0 and not isinf(q.high) else f"{low} to {high}"


def percent(q: Quantity) -> Quantity:
    """A chance as a percentage."""
    return Quantity(100 * q.value, 100 * q.low, 100 * q.high, "%", q.source, q.supposed, q.leading)


def working_length(canal: Canal) -> Quantity:
    """Working length with its 5-95 % interval from the reading of the length."""
    low, high = canal.length.quantile(np.array([0.05, 0.95])) - canal.end
    value = canal.working_length
    return Quantity(value, min(float(low), value), max(float(high), value), canal.length.unit, canal.length.source)


def sheet(plan: Plan) -> Sheet:
    """All that a reader of the plan is told."""
    cone = plan.cone
    return Sheet(
        canal=plan.canal,
        length=Item("working_length", "working length", working_length(plan.canal)),
        cone_name=cone.cone.name,
        cone=(
            Item("cone.trim", "cut off the tip", cone.trim),
            Item("cone.seat", "tip seats at", cone.seat),
            Item("cone.short", "short of WL", cone.short),
            Item("cone.tug_back", "tight over", cone.tug_back),
            Item("cone.chance", "within 0.5 mm of WL", percent(cone.chance), 0),
        ),
        trim=_trim(plan),
        pluggers=_pluggers(plan),
        rounds=_rounds(plan),
        portions=_portions(plan),
        heat=(
            Item("heat.margin", "margin to the 10 K limit", plan.heat.margin),
            Item("heat.surface_rise", "greatest rise on the root surface", plan.heat.surface_rise),
            Item("heat.surface_level", "at depth", plan.heat.surface_level),
            Item("heat.longest_activation", "longest safe activation, last round", plan.heat.longest_activation),
            Item("heat.above_47", "root surface above 47 °C", plan.heat.above_47),
            Item("heat.cem43", "CEM43 at the root surface", plan.heat.cem43, 2),
            Item("heat.apical", "gutta-percha at the end of WL", plan.heat.apical),
            Item("sealer_volume", "sealer", plan.sealer_volume),
            Item("backfill_top", f"backfill ends at ({plan.backfill_reason})", plan.backfill_top),
        ),
        fill=_fill(plan),
        setting=_setting(plan),
        findings=tuple(sorted(plan.findings, key=lambda f: -f.harm)),
        provenance=_provenance(plan),
    )


def finding_words(finding: Finding) -> tuple[str, str, str]:
    """Harm, message with its number, and what to do."""
    q, message = finding.quantity, finding.message.rstrip(".")
    if q and figure(q.value) not in message and q.format() not in message:
        shown = percent(q) if not q.unit and 0 <= q.low <= q.high <= 1 else _minutes(q)
        message = f"{message}: {figure(shown.value)} {shown.unit}".rstrip() + f" ({interval(shown)})"
    return HARM_WORDS[finding.harm], _sentence(message), _sentence(finding.action)


def _minutes(q: Quantity) -> Quantity:
    """Long times in minutes."""
    if q.unit != "s" or q.value < 120:
        return q
    return Quantity(q.value / 60, q.low / 60, q.high / 60, "min", q.source, q.supposed, q.leading)


def _sentence(text: str) -> str:
    """The text with a capital at its head and a full stop at its end."""
    text = text.strip()
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}" if text else ""


def _fill(plan: Plan) -> tuple[Item, ...]:
    """How far side branches fill, what may go too far, and what the press costs the root."""
    fill, items = plan.fill, []
    for i, branch in enumerate(fill.portals, 1):
        portal = branch.portal
        name = f"{portal.direction} {portal.kind}".strip() + f" at {figure(plan.canal.depth(portal.z))}"
        items += [
            Item(f"portal.{i}.chance", f"{name} fills, chance", percent(branch.chance), 0),
            Item(f"portal.{i}.sealer", f"sealer into the {name}", branch.sealer),
            Item(f"portal.{i}.gutta", f"gutta-percha into the {name}", branch.gutta),
        ]
    return (
        *items,
        Item("fill.gutta", "gutta-percha in the filling", percent(fill.gutta), 0),
        Item("fill.void", "voids in the filling", percent(fill.void)),
        Item("fill.puff", "sealer beyond the root", fill.puff, 2),
        Item("fill.beyond", "gutta-percha past the terminus", plan.extrusion.length),
        Item("fill.beyond_chance", "chance of that", percent(plan.extrusion.chance), 0),
        Item("fill.root_ratio", "stress in the wall, of its strength", percent(fill.root_ratio), 0),
    )


def _trim(plan: Plan) -> Table:
    rows = tuple(
        (
            f"{r.trim:.1f}", f"{r.tip:.2f}", Item(f"trim.{i}.seat", "seats at", r.seat),
            Item(f"trim.{i}.chance", "within 0.5 mm of WL", percent(r.chance), 0),
        )
        for i, r in enumerate(plan.cone.table)
    )  # fmt: skip
    return Table("trim", "Trim table", ("cut mm", "tip mm", "seats at mm", "within 0.5, %"), rows)


def _pluggers(plan: Plan) -> Table:
    rows = tuple(
        (
            p.part, p.plugger.name, Item(f"plugger.{p.part}.stop", "deepest stop", p.stop),
            Item(f"plugger.{p.part}.short_of_end", "short of WL", p.short_of_end),
            Item(f"plugger.{p.part}.reach", "reach", p.reach),
        )
        for p in plan.pluggers
    )  # fmt: skip
    return Table("pluggers", "Pluggers", ("part", "plugger", "deepest stop mm", "short of WL mm", "reach mm"), rows)


def _rounds(plan: Plan) -> Table:
    rows = tuple(
        (
            str(r.number),
            Item(f"round.{r.number}.carrier_stop", "carrier stop", r.carrier_stop),
            Item(f"round.{r.number}.activation", "heat", r.activation, chosen=True),
            Item(f"round.{r.number}.bite", "bite", r.bite),
            r.plugger.name,
            Item(f"round.{r.number}.plugger_stop", "plugger stop", r.plugger_stop),
            Item(f"round.{r.number}.hold", "hold", r.hold, _digits(r.hold), chosen=True),
            Item(f"round.{r.number}.front", "soft down to", r.front),
            Item(f"round.{r.number}.surface_rise", "root surface rise", r.surface_rise),
        )
        for r in plan.rounds
    )
    columns = (
        "",
        "carrier stop mm",
        "heat s",
        "bite mm",
        "plugger",
        "plugger stop mm",
        "hold s",
        "soft to mm",
        "rise K",
    )
    return Table("rounds", "Downpack", columns, rows)


def _portions(plan: Plan) -> Table:
    rows = tuple(
        (
            str(p.number),
            Item(f"portion.{p.number}.resoften", "softened below", p.resoften),
            Item(f"portion.{p.number}.needle_stop", "needle stop", p.needle_stop),
            Item(f"portion.{p.number}.bottom", "fill from", p.bottom),
            Item(f"portion.{p.number}.top", "up to", p.top),
            Item(f"portion.{p.number}.volume", "volume", p.volume),
            p.plugger.name,
            Item(f"portion.{p.number}.hold", "hold", p.hold, _digits(p.hold), chosen=True),
        )
        for p in plan.portions
    )
    columns = ("", "softens below mm", "needle stop mm", "from mm", "up to mm", "volume mm³", "plugger", "hold s")
    return Table("portions", "Backfill", columns, rows)


def _digits(seconds: Quantity) -> int:
    """Digits of a time that is usually set in whole seconds: as many as the clock at the chair counts from."""
    return 0 if float(seconds.value).is_integer() else 1


def _setting(plan: Plan) -> tuple[str, ...]:
    lines = [plan.carrier.name]
    settings = sorted({act.temperature for act in plan.protocol.acts if isinstance(act, Heat)})
    if settings:
        lines.append(f"set to {' / '.join(f'{t:.0f}' for t in settings)} °C")
    lines.append(f"press with {plan.choices.force:.0f} N")
    if plan.sealer:
        lines.append(plan.sealer.name)
    return tuple(lines)


def _provenance(plan: Plan) -> tuple[str, ...]:
    lines = [
        f"Length {plan.canal.length.source}.",
        f"{100 * plan.supposed:.0f} % of the doubt in these numbers rests on averages or assumptions.",
    ]
    if plan.leading:
        shares = ", ".join(f"{_input_words(name)} {100 * share:.0f} %" for name, share in plan.leading[:4])
        lines.append(f"Most of it comes from: {shares}.")
    groups: dict[str, list[str]] = {}
    for key, source in plan.canal.sources.items():
        groups.setdefault(source.origin.value, []).append(_input_words(key))
    lines += [f"{origin.capitalize()}: {', '.join(names)}." for origin, names in _ranked(groups)]
    return tuple(lines)


def _input_words(key: str) -> str:
    """The words of an input by its key in case file or sample."""
    bare = key.removesuffix("_mm")
    return said(bare)


def _ranked(groups: dict[str, list[str]]) -> Sequence[tuple[str, list[str]]]:
    order = ("assumed", "published average", "computed", "standard", "read from scan", "measured")
    return sorted(groups.items(), key=lambda item: order.index(item[0]))


def act_words(act: Act, canal: Canal) -> str:
    """What is being done, in a few words."""
    match act:
        case Place(tip=tip):
            return f"cone placed at {canal.depth(tip):.1f} mm"
        case Sear(level=level):
            return f"cone seared off at {canal.depth(level):.1f} mm"
        case Heat(stop=stop, temperature=temperature):
            return f"carrier at {temperature:.0f} °C down to {canal.depth(stop):.1f} mm"
        case Bite(level=level):
            return f"carrier out, gutta-percha gone down to {canal.depth(level):.1f} mm"
        case Press(plugger=plugger, force=force):
            return f"{plugger.name} plugger pressing with {force:.0f} N"
        case Inject(top=top):
            return f"backfill up to {canal.depth(top):.1f} mm"
        case Pause():
            return "pause"
