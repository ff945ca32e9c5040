"""The plan of one canal, with its controls alive."""

import json
from dataclasses import replace
from typing import Any

from fastapi import Request
from nicegui import background_tasks, ui
from nicegui.events import GenericEventArguments

from canalwright.casefile import Case
from canalwright.planning import Choices, Plan
from canalwright.web import hands, way
from canalwright.web.choosing import changed, to_query
from canalwright.web.latest import FAULT, Refiner
from canalwright.web.markup import planview, shell, waiting
from canalwright.web.markup.controls import controls, values
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.picture import plan_picture
from canalwright.web.markup.zoom import zoom
from canalwright.web.office import Office
from canalwright.web.pages.frame import asked, frame, hear, html
from canalwright.web.prefs import Prefs
from canalwright.web.reader import reader

LOOK = 0.3
"""Seconds between two looks at how far a plan is."""


def register(office: Office) -> None:
    """`/case/<key>/<canal>/plan`."""

    @ui.page("/case/{key}/{index}/plan")
    def plan(request: Request, key: str, index: int) -> None:
        if (found := asked(office, request, key, index)) is not None:
            prefs, case, choices = found
            View(office, prefs, case, key, index, choices).build()


class View:
    """One window on one plan."""

    def __init__(self, office: Office, prefs: Prefs, case: Case, key: str, index: int, choices: Choices) -> None:
        self.office, self.prefs, self.case, self.key, self.index = office, prefs, case, key, index
        self.choices = choices
        self.shown: Plan | None = None
        self.quick, self.told, self.heard = False, "", 0  # heard: how many choices of this window
        self.base: Plan | None = office.bench.there(case, index, choices)
        self.refiner = Refiner(self._preview, self._whole, self._show, self._refuse)

    def build(self) -> None:
        """Lay the page out and ask for the first plan."""
        words, canal = self.prefs.words, self.case.canals[self.index]
        title = f"{self.prefs.tooth(self.case.tooth)} {words(canal.name)}"
        with frame(
            self.prefs,
            title,
            "zoom",
            office=self.office,
            case=self.case,
            key=self.key,
            index=self.index,
            stage="plan",
            kind="plan",
        ):
            with ui.element("section").classes("verdict").props('aria-labelledby="h-findings"'):
                self.state = html(waiting.under_way(words, words("Planning…")), kind="state-line")
                self.headline = html(Safe(""), kind="headline-box")
                self.findings = html(Safe(""), kind="worst")
            with ui.element("section").classes("side").props(f'aria-label="{words("Section")}"'):
                self.picture = html(waiting.box(el("p", words("Planning…"))), kind="picture")
                html(self._downloads(), kind="downloads")
                html(el("p", id="download-told", class_="wrong", role="alert"))
                html(zoom(words))
            with ui.element("div").classes("flow"):
                html(
                    controls(self.base, self.choices, self.office.tray, words),
                    tag="section",
                    kind="controls",
                    marks='aria-labelledby="h-controls"',
                )
                self.more = html(Safe(""), kind="rest")
                self.tables = html(Safe(""), kind="tables")
        hear(self, "cw-choose", self._choose)
        hear(self, "cw-where", self._where)
        hear(self, "cw-cancel", self._cancel)
        hear(self, "cw-again", self._again)
        self.watch = ui.timer(LOOK, self._progress, active=False)
        ui.context.client.on_delete(self.refiner.stop)  # not on a line that is lost for a moment
        if self.base is not None:
            self._show(self.base, True)
        else:
            self.watch.active = True
            background_tasks.create(self.refiner.change(self.choices), name="first plan")

    async def _choose(self, event: GenericEventArguments) -> None:
        key, value = str(event.args["key"]), event.args["value"]
        try:
            self.choices = self._changed(key, value)
        except (KeyError, ValueError, TypeError):
            return
        finally:
            self.heard = int(event.args.get("made", self.heard))
        self._refining()
        ui.run_javascript(f"history.replaceState(null, '', location.pathname + {json.dumps(self._query())})")
        await self.refiner.change(self.choices)

    def _cancel(self) -> None:
        """Stop the plan that is being made; the last one stays, marked as older than the choice."""
        words = self.prefs.words
        self.refiner.stop()
        self.office.bench.cancel(self.case, self.index, self.choices)
        if self.shown is None:
            self.picture.content = waiting.box(el("p", words("Not planned yet")))
            said = words("Cancelled: nothing was planned yet")
        elif self.quick:
            said = words("Cancelled: what is shown is the quick answer, not the whole plan")
        else:
            said = words("Cancelled: what is shown is older than your choice")
        self.watch.active = False
        self.state.content = waiting.stopped(words, said)

    async def _again(self) -> None:
        self._refining()
        await self.refiner.change(self.choices)

    def _refining(self) -> None:
        words = self.prefs.words
        self.state.content = waiting.under_way(words, words("Refining…") if self.shown else words("Planning…"))
        self.watch.active, self.told = True, ""

    def _progress(self) -> None:
        """What is being done for the whole plan, and the share of it that is done."""
        text = waiting.done_so_far(self.prefs.words, *self.office.bench.progress(self.case, self.index, self.choices))
        if text != self.told:  # of many windows most wait their turn, and have nothing to tell
            self.told = text
            self.picture.client.run_javascript(f"window.canalwright?.progress?.({json.dumps(text)})")

    def _changed(self, key: str, value: Any) -> Choices:
        if not key.startswith("plugger."):
            return changed(self.choices, key, value)
        if value is None or self.shown is None:
            return replace(self.choices, pluggers=None)
        names = [p.plugger.name for p in self.shown.pluggers]
        names[int(key.removeprefix("plugger."))] = str(value)
        return replace(self.choices, pluggers=(names[0], names[1], names[2]))

    def _where(self, event: GenericEventArguments) -> None:
        if self.shown is None:
            return
        content = planview.answer(self.shown, str(event.args["key"]), self.prefs.words)
        if content is not None:
            ui.run_javascript(f"window.canalwright.where({json.dumps(content)})")

    async def _preview(self, choices: Choices) -> Plan | None:
        return await self.office.bench.preview(self.base, choices) if self.base is not None else None

    async def _whole(self, choices: Choices) -> Plan:
        plan = await self.office.bench.plan(self.case, self.index, choices)
        self.base = plan
        return plan

    def _show(self, plan: Plan, final: bool) -> None:
        words = self.prefs.words
        self.shown, self.quick = plan, not final
        self.picture.content = plan_picture(plan, words)
        self.headline.content = planview.headline(plan, words)
        self.findings.content, self.more.content = planview.worst(plan, words), planview.other_findings(plan, words)
        self.tables.content = planview.tables(plan, words)
        if final:
            self.watch.active = False
            self.state.content = waiting.line(words("Whole plan"), "whole")
        else:
            self._refining()
        told = planview.spoken(plan, words, final) if final else ""
        state = values(plan, self.choices)
        if final:
            self.office.shelf.looked(self.key, f"{self.index}/plan{self._query()}")
            mark = shell.told(self.prefs, way.planned(plan))
            self.picture.client.run_javascript(f"window.canalwright?.mark('plan', {json.dumps(mark)})")
        said = ", ".join(json.dumps(part) for part in (state, told, self.heard))
        self.picture.client.run_javascript(f"window.canalwright?.shown({said})")

    def _refuse(self, message: str) -> None:
        words = self.prefs.words
        self.watch.active = False
        again = message in (FAULT, hands.FAULT, hands.LOST, hands.MEMORY)  # nothing is wrong with what was asked
        self.state.content = (
            waiting.stopped(words, words(message)) if again else waiting.line(words(message), "refused")
        )

    def _query(self) -> str:
        query = to_query(self.choices)
        return f"?{query}" if query else ""

    def _downloads(self) -> Safe:
        words, base = self.prefs.words, f"/case/{self.key}/{self.index}"
        return join(
            el(
                "a",
                words("Card (PDF)"),
                href=f"{base}/card.pdf",
                class_="button main",
                data_carry=True,
                data_fetch=words("Setting the card…"),
                data_lost=words("The program does not answer; is the page still running?"),
                download=True,
                id="card",
            ),
            el("a", words("Plan (JSON)"), href=f"{base}/plan.json", class_="button", data_carry=True, download=True),
            el("a", words("Case file"), href=f"/case/{self.key}/case.toml", class_="button", download=True),
            el(
                "a",
                words("All of the case (ZIP)"),
                href=f"/case/{self.key}/case.zip",
                class_="button",
                download=True,
                data_fetch=words("Packing…"),
            ),
            el(
                "a",
                words("Keep in the records"),
                href=f"/records/keep/{self.key}/{self.index}",
                class_="button",
                data_carry=True,
            )
            if reader()
            else "",
        )
