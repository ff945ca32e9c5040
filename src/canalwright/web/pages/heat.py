"""The heat of the filling in the root's own shape: run it, play it, see where it hurts and what another choice would do."""

from fastapi import Request
from nicegui import ui

from canalwright.web.choosing import to_query
from canalwright.web.markup.heat import panel
from canalwright.web.markup.html import el
from canalwright.web.office import Office
from canalwright.web.pages.frame import asked, frame, html

STYLE = '<link rel="stylesheet" href="/static/heat.css">'


def register(office: Office) -> None:
    """`/case/<key>/<canal>/heat`; choices in the address are the plan's."""

    @ui.page("/case/{key}/{index}/heat")
    def heat(request: Request, key: str, index: int) -> None:
        if (found := asked(office, request, key, index)) is None:
            return
        prefs, case, choices = found
        words, canal = prefs.words, case.canals[index]
        title = f"{prefs.tooth(case.tooth)} {words(canal.name)}, {words('Heat')}"
        with frame(
            prefs, title, "heat", "grid", office=office, case=case, key=key, index=index, stage="heat", kind="heat"
        ):
            ui.add_head_html(STYLE)
            html(panel(words), kind="flow")
            carried = to_query(choices)
            html(
                el(
                    "div", id="heat-told", data_query=carried, data_none=words("given up"), data_done=words("done"),
                    data_planning=words("Planning…"), data_lost=words("The server does not answer; is the program still running?"),
                    data_level=words("mm from the terminus"), data_rise=words("greatest rise, K"),
                    data_now=words("temperature now, °C"), data_above=words("time above 47 °C, s"), data_cem=words("CEM43, min"),
                ),
                kind="part",
            )  # fmt: skip
