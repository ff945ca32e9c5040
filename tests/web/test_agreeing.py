"""One plan says the same number everywhere: on the card, on the page, in the plan's file and at the chair, to the last digit shown."""

import re
from collections.abc import Iterator
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import pytest

from canalwright import casefile, planning
from canalwright.casefile import Case
from canalwright.guide import Step, fold, steps_of
from canalwright.planning import Choices, Plan
from canalwright.quantities import Quantity
from canalwright.report import Item, plan_json, section_svg, sheet
from canalwright.report.card import card_data
from canalwright.report.words import figure
from canalwright.web.chair import Chair
from canalwright.web.chairbook import Head
from canalwright.web.chairsaid import state
from canalwright.web.markup import planview
from canalwright.web.prefs import Prefs

PREFS = Prefs()
NUMBER = re.compile(
    r'<button[^>]*data-key="([^"]+)"[^>]*><b class="value">([^<]*)</b>(?:<span class="unit">[^<]*</span>)?<span class="interval">([^<]*)<'
)


def browser_writes(value: float) -> str:
    """A number with one decimal as the chair's script writes it: a half goes up."""
    return str(Decimal(value).quantize(Decimal("0.1"), ROUND_HALF_UP))


@pytest.fixture(scope="module", params=["planned", "loose"])
def one(request: pytest.FixtureRequest, plan: Plan, case: Case) -> Plan:
    """A canal as it is planned, its cone left whole, and one whose cone is too thin and was cut too little, so that it would pass the
    terminus."""
    if request.param == "planned":
        return plan
    return planning.plan(case.canals[2], casefile.generic_tray(), Choices(draws=64, cone="35/0.06", trim=0.5))


def items(plan: Plan) -> dict[str, Item]:
    """What is predicted; what is only set (a row of the trim table, a temperature) has no interval."""
    set_ = re.compile(r"setting\..*|trim\.\d+\.(cut|tip)")
    return {key: item for key, item in planview.all_items(plan).items() if not set_.fullmatch(key)}


def printed(data: Any) -> Iterator[tuple[str, str, str]]:
    """Key, number and interval of all that the card prints."""
    if isinstance(data, dict):
        if "key" in data and "value" in data:
            yield data["key"], data["value"], data["interval"]
        for inside in data.values():
            yield from printed(inside)
    elif isinstance(data, list):
        for inside in data:
            yield from printed(inside)


def chair_steps(plan: Plan, case: Case) -> list[dict[str, Any]]:
    """What the chair's screen is told of each step."""
    session = fold(steps_of(plan), 0.0, [])
    found = []
    for index, tried in ((0, False), *((i, True) for i in range(len(session.steps)))):
        chair = Chair("0" * 16, Head("", 2, "", 0.0), case, plan, replace(session, index=index, tried=tried))
        found.append(state(chair, PREFS)["step"])
    return found


def test_card_page_and_file_say_what_the_plan_says(one: Plan) -> None:
    known = items(one)
    card = list(printed(card_data(one, None, label="", date="")))
    assert {"cone.trim", "cone.seat", "heat.margin", "plugger.apical.stop", "round.1.carrier_stop"} <= {
        key for key, _, _ in card
    }
    for key, value, interval in card:
        assert (value, interval) == (known[key].value, known[key].interval), key
    shown = NUMBER.findall(str(planview.headline(one, PREFS.words)) + str(planview.tables(one, PREFS.words)))
    assert {key for key, _, _ in shown} >= known.keys() - {"working_length"}
    for key, value, interval in shown:
        assert (value, interval) == (known[key].value, known[key].interval), key
    told = plan_json(one)
    pairs = [(told["cone"][k], known[f"cone.{k}"]) for k in ("trim", "seat", "short", "tug_back")]
    pairs += [(told["heat"][k.removeprefix("heat.")], item) for k, item in known.items() if k.startswith("heat.")]
    pairs += [(p["stop"], known[f"plugger.{p['part']}.stop"]) for p in told["pluggers"]]
    for name in ("round", "portion"):
        pairs += [
            (row[k.rsplit(".")[-1]], item)
            for row in told[f"{name}s"]
            for k, item in known.items()
            if k.startswith(f"{name}.{row['number']}.")
        ]
    assert len(pairs) > 30
    for number, item in pairs:
        assert (figure(number["value"], item.digits), number["low"], number["high"]) == (
            item.value,
            item.quantity.low,
            item.quantity.high,
        ), item.key


def test_the_cut_that_is_marked_is_the_planned_one(one: Plan) -> None:
    """In the card's table, in the page's, and in the words beside the cone; and no two rows read alike."""
    cut = items(one)["cone.trim"].value
    rows = card_data(one, None, label="", date="")["trim"]["rows"]
    assert [r["cells"][0]["text"] for r in rows if r["chosen"]] == [cut]
    marked = re.findall(
        r'<tr[^>]*aria-current="true"[^>]*><td class="word">.*?<b class="value">([^<]*)<',
        str(planview.tables(one, PREFS.words)),
    )
    assert marked == [cut]
    said = f"after cutting {cut} mm" if one.cone.trim.value > 0 else "tip left whole"
    assert said in str(planview.headline(one, PREFS.words))
    columns = [row[0] for row in sheet(one).trim.rows]
    assert len(columns) == len(set(columns))


def test_a_cut_longer_than_the_drawing_has_room_for_ends_in_a_torn_edge(plan: Plan) -> None:
    """The dashes stop at the terminus; unmarked they would be read against the ruler as a smaller cut."""
    seat = plan.canal.length.value - plan.cone.seat.value
    for cut, torn in ((seat + 1.0, True), (seat / 2, False)):
        drawn = section_svg(replace(plan, cone=replace(plan.cone, trim=Quantity.exact(cut, "mm"))))
        assert ("cw-torn" in drawn) == torn


def test_the_chair_says_what_the_card_says(one: Plan, case: Case) -> None:
    known, steps = items(one), chair_steps(one, case)
    cut = known["cone.trim"]
    for place, kind in zip(steps, ("try", "place"), strict=False):
        assert place["kind"] == kind and place["tool"] == one.cone.cone.name
        check(place, known["cone.seat"])
        said = (f"cut {cut.value} mm off its tip", f"({cut.interval})") if one.cone.trim.value > 0 else ("", "")
        assert (place["cut"], place["cut_between"]) == said
    heats, presses, injections = ([s for s in steps if s["kind"] == kind] for kind in ("heat", "press", "inject"))
    assert (
        len(heats) == len(one.rounds)
        and len(presses) == len(one.rounds) + len(one.portions)
        and len(injections) == len(one.portions)
    )
    for n, (heat, press) in enumerate(zip(heats, presses, strict=False), 1):
        check(heat, known[f"round.{n}.carrier_stop"])
        check(press, known[f"round.{n}.plugger_stop"])
        assert browser_writes(heat["seconds"]) == known[f"round.{n}.activation"].value
        assert seconds(press) == known[f"round.{n}.hold"].value
    for n, (inject, press) in enumerate(zip(injections, presses[len(one.rounds) :], strict=True), 1):
        check(inject, known[f"portion.{n}.needle_stop"])
        check(press, known[f"portion.{n}.top"])
        assert seconds(press) == known[f"portion.{n}.hold"].value
        assert press["tool"] == one.portions[n - 1].plugger.name


def test_a_half_tenth_ends_in_the_same_digit_at_the_chair_as_on_the_card(plan: Plan, case: Case) -> None:
    """A browser writes 20.25 as 20.3, the card as 20.2: so the chair is told the card's."""
    session = fold((Step(0, "press", "plugger", None, 20.25, 19.75, 20.75, 5.0),), 0.0, [])
    told = state(Chair("0" * 16, Head("", 2, "", 0.0), case, plan, session), PREFS)["step"]
    assert [browser_writes(told[k]) for k in ("depth", "low", "high")] == [figure(v) for v in (20.25, 19.75, 20.75)]


def check(step: dict[str, Any], item: Item) -> None:
    assert browser_writes(step["depth"]) == item.value, item.key
    low, high = (figure(item.quantity.low), figure(item.quantity.high))
    assert (browser_writes(step["low"]), browser_writes(step["high"])) == (low, high), item.key


def seconds(step: dict[str, Any]) -> str:
    """The time that the clock counts from."""
    return f"{step['seconds']:.0f}" if float(step["seconds"]).is_integer() else browser_writes(step["seconds"])
