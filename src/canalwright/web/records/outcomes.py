"""What the recalls teach: pictures, tables, what goes with the outcome."""

from dataclasses import replace

from starlette.responses import Response
from starlette.routing import Route

from canalwright.records.errors import BadEntry, NotFound, TooFew
from canalwright.records.outcomes import CoxModel, summarise
from canalwright.records.outcomes.summary import hazards_by
from canalwright.report.options import Options
from canalwright.report.outcomes import charts, outcome_files, pictures, tables
from canalwright.web.records.asking import Ask, look
from canalwright.web.records.cases import download
from canalwright.web.records.house import House
from canalwright.web.records.screens import outcomes as screens

OPTIONS = Options(background=True, font="system-ui, sans-serif", text_factor=1.25)


def routes(house: House) -> list[Route]:
    """Outcomes and their files."""
    return [look(house, "/outcomes", screen), look(house, "/outcomes/{name}", file)]


def screen(ask: Ask) -> Response:
    """The whole picture; factors of the Cox model as the address says."""
    rows = ask.desk.outcomes(ask.today)
    summary = summarise(rows)
    known = sorted({name for row in rows for name in row.factors})
    asked = [f for f in ask.request.query_params.getlist("factor") if f in known]
    of = "healing" if ask.request.query_params.get("of") == "healing" else "loss"
    model: CoxModel | str = ""
    if asked:
        try:
            model = hazards_by(rows, asked, "healing" if of == "healing" else "loss")
        except (TooFew, BadEntry) as error:
            model = str(error)
    content = screens.outcomes(
        ask.words,
        summary,
        pictures(rows, summary, options=replace(OPTIONS, say=ask.words)),
        set(tables(rows, summary)),
        known,
        asked,
        of,
        model,
        charts(rows),
    )
    return ask.page("Outcomes", content, here="outcomes")


def file(ask: Ask) -> Response:
    """A picture or a table to keep."""
    name = ask.request.path_params["name"]
    rows = ask.desk.outcomes(ask.today)
    found = outcome_files(rows, summarise(rows))
    if name not in found:
        raise NotFound("there is no such picture or table")
    return download(found[name].encode(), "image/svg+xml" if name.endswith(".svg") else "text/csv", name)
