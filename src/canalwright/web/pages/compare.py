"""Two protocols for one canal, side by side and in step: the plan as it is, and the same with other choices."""

from dataclasses import replace

from fastapi import Request
from nicegui import background_tasks, ui

from canalwright.casefile import Case
from canalwright.planning import Choices, Plan, PlanError
from canalwright.web.choosing import from_query, query_of, to_query
from canalwright.web.markup import compare as markup
from canalwright.web.markup.html import Safe, el
from canalwright.web.markup.picture import stage_picture
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, html, opened
from canalwright.web.prefs import Prefs


def register(office: Office) -> None:
    """`/case/<key>/<canal>/compare`: the choices of the address on the right, all left to the planner on the left.

    `other.<choice>` in the address chooses for the left side.
    """

    @ui.page("/case/{key}/{index}/compare")
    def compare(request: Request, key: str, index: int) -> None:
        if (found := opened(office, key, index)) is None:
            return
        prefs, case = found
        query = query_of(request)
        other = {name.removeprefix("other."): v for name, v in query.items() if name.startswith("other.")}
        first, second = from_query(other, office.tray), from_query(query, office.tray)
        if first == second:
            second = _unlike(office, case, index, second)
        _build(office, prefs, case, key, index, (first, second))


def _unlike(office: Office, case: Case, index: int, choices: Choices) -> Choices:
    """Something to compare with when nothing was chosen: one round more than was planned, or three."""
    made = office.bench.there(case, index, choices)
    return replace(choices, rounds=min(len(made.rounds) + 1, 6) if made else 3)


def _build(office: Office, prefs: Prefs, case: Case, key: str, index: int, both: tuple[Choices, Choices]) -> None:
    words, canal = prefs.words, case.canals[index]
    title = f"{prefs.tooth(case.tooth)} {words(canal.name)}, {words('Compare')}"
    with frame(
        prefs, title, "compare", office=office, case=case, key=key, index=index, stage="compare", kind="compare"
    ):
        queries = [to_query(choices) for choices in both]
        html(markup.transport(words, queries), kind="compare-transport")
        with ui.element("div").classes("pair"):
            boxes = []
            for side, choices in zip("AB", both, strict=True):
                with ui.element("section").props(f'aria-label="{words("Protocol")} {side}"'):
                    html(markup.head(side, choices, words))
                    boxes.append(
                        html(
                            el("div", el("p", words("Planning…")), class_="waiting"), kind=f"picture stage stage-{side}"
                        )
                    )
        table = html(Safe(""), kind="part")

    async def lay() -> None:
        plans: list[Plan] = []
        for side, choices, box in zip("ab", both, boxes, strict=True):
            try:
                plan, _ = await office.bench.story(case, index, choices)
            except PlanError as error:
                box.content = el("p", words(str(error)), class_="state refused")
                return
            plans.append(plan)
            box.content = stage_picture(plan, words, f"stage-{side}")
        table.content = markup.table(plans[0], plans[1], words)

    background_tasks.create(lay(), name="both plans")
