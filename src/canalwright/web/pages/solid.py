"""The canal of a case in three dimensions, its filling over time. Shapes come at once, the film when it has been simulated."""

import json

from fastapi import Request
from nicegui import background_tasks, ui
from nicegui.events import GenericEventArguments

from canalwright.casefile import Case
from canalwright.planning import Choices, Plan, PlanError
from canalwright.web.choosing import to_query
from canalwright.web.markup import planview
from canalwright.web.markup.html import Safe, el
from canalwright.web.markup.numbers import described
from canalwright.web.markup.solid import controls, stage, tools
from canalwright.web.markup.where import where_from
from canalwright.web.office import Office
from canalwright.web.pages.frame import asked, frame, html
from canalwright.web.pages.scan import STYLE
from canalwright.web.prefs import Prefs

SHOWN = ("heat.surface_rise", "heat.longest_activation")


def register(office: Office) -> None:
    """`/case/<key>/<canal>/solid`."""

    @ui.page("/case/{key}/{index}/solid")
    def solid(request: Request, key: str, index: int) -> None:
        if (found := asked(office, request, key, index)) is not None:
            prefs, case, choices = found
            _build(office, prefs, case, key, index, choices)


def _build(office: Office, prefs: Prefs, case: Case, key: str, index: int, choices: Choices) -> None:
    words, canal = prefs.words, case.canals[index]
    title = f"{prefs.tooth(case.tooth)} {words(canal.name)}, {words('Three dimensions')}"
    with frame(prefs, title, "casesolid", office=office, case=case, key=key, index=index, stage="solid", kind="play"):
        ui.add_head_html(STYLE)
        with ui.element("section").classes("side").props(f'aria-label="{words("Three dimensions")}"'):
            html(stage(words), kind="picture solid-box")
        with ui.element("div").classes("flow"):
            numbers = html(Safe(""), kind="part")
            html(controls(words, f"/case/{key}/{index}/heat?{to_query(choices)}"), kind="flow")
    made: list[Plan] = []

    async def lay() -> None:
        try:
            plan = await office.bench.plan(case, index, choices)
        except PlanError as error:
            numbers.content = el("p", words(str(error)), class_="state refused")
            return
        made.append(plan)
        items = planview.all_items(plan)
        numbers.content = described(tuple(items[name] for name in SHOWN if name in items), words)
        numbers.client.run_javascript(f"window.canalwright.tools = {json.dumps(tools(plan, words))}")

    def where(event: GenericEventArguments) -> None:
        item = planview.all_items(made[0]).get(str(event.args["key"])) if made else None
        if item is not None:
            ui.run_javascript(f"window.canalwright.where({json.dumps(where_from(item, made[0], words))})")

    ui.on("cw-where", where)
    background_tasks.create(lay(), name="plan beside three dimensions")
