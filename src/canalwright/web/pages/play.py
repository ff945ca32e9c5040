"""The downpack played over time. The server lays the stage and hands out the film; the browser plays it by itself."""

import json

from fastapi import Request
from nicegui import background_tasks, ui

from canalwright.casefile import Case
from canalwright.planning import Choices, PlanError
from canalwright.web.bench import Cancelled
from canalwright.web.markup import waiting
from canalwright.web.markup.html import el
from canalwright.web.markup.picture import stage_picture
from canalwright.web.markup.player import cursor, player
from canalwright.web.markup.zoom import zoom
from canalwright.web.office import Office
from canalwright.web.pages.frame import asked, frame, html
from canalwright.web.prefs import Prefs

LOOK = 0.3
"""Seconds between two looks at how far the plan is."""


def register(office: Office) -> None:
    """`/case/<key>/<canal>/play`."""

    @ui.page("/case/{key}/{index}/play")
    def play(request: Request, key: str, index: int) -> None:
        if (found := asked(office, request, key, index)) is not None:
            prefs, case, choices = found
            _build(office, prefs, case, key, index, choices)


def _build(office: Office, prefs: Prefs, case: Case, key: str, index: int, choices: Choices) -> None:
    words, canal = prefs.words, case.canals[index]
    title = f"{prefs.tooth(case.tooth)} {words(canal.name)}, {words('Play')}"
    with frame(
        prefs,
        title,
        "play",
        "zoom",
        "moving",
        office=office,
        case=case,
        key=key,
        index=index,
        stage="play",
        kind="play",
    ):
        with ui.element("section").classes("side").props(f'aria-label="{words("Section")}"'):
            picture = html(waiting.box(waiting.under_way(words, words("Simulating…"))), kind="picture stage")
            html(zoom(words, cursor=False))
            html(cursor(words))
        html(player(words), kind="flow")

    def look() -> None:
        """How far the plan is, which takes most of the time."""
        text = waiting.done_so_far(words, *office.bench.progress(case, index, choices))
        picture.client.run_javascript(f"window.canalwright?.progress?.({json.dumps(text)})")

    watch = ui.timer(LOOK, look)

    async def lay() -> None:
        try:
            plan, _ = await office.bench.story(case, index, choices)
        except Cancelled:
            picture.content = waiting.box(waiting.stopped(words, words("Cancelled: nothing to play yet")))
            return
        except PlanError as error:
            picture.content = el("p", words(str(error)), class_="state refused")
            return
        finally:
            watch.cancel()
        picture.content = stage_picture(plan, words)

    ui.on("cw-cancel", lambda: office.bench.cancel(case, index, choices))
    ui.on("cw-again", lambda: ui.navigate.reload())
    background_tasks.create(lay(), name="stage")
