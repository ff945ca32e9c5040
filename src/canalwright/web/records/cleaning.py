"""Taking identity out of DICOM files from the page: sent, cleaned in memory by the same rules as on the command line, fetched as a zip.

What is sent never touches a disk, and nothing of it is kept: neither its names nor its content. What comes out waits in memory (see
`cleaned`) until it is fetched, once. That it was done is recorded with the case.
"""

import json
from io import BytesIO
from zipfile import ZIP_STORED, ZipFile

from starlette.datastructures import UploadFile
from starlette.responses import Response
from starlette.routing import Route

from canalwright.exchange import ExchangeError
from canalwright.exchange.deid import Options, deidentify_held
from canalwright.records.errors import BadEntry, NotFound
from canalwright.web.records.asking import CLEAN, Ask, change, content_of, look
from canalwright.web.records.cases import download
from canalwright.web.records.house import House
from canalwright.web.records.screens import cleaning as screens


def routes(house: House) -> list[Route]:
    """Sending and fetching."""
    return [
        look(house, "/case/{case}/clean", screen),
        change(house, f"/case/{{case}}{CLEAN}", clean),
        change(house, "/case/{case}/clean/fetch", fetch),
    ]


def screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """The form."""
    view, _ = ask.desk.case(ask.request.path_params["case"])
    return ask.page("Files without identity", screens.form_of(ask.words, ask.csrf, view, problem), status=status)


def clean(ask: Ask) -> Response:
    """Clean what was sent, and tell what was removed."""
    name = ask.request.path_params["case"]
    sent = [f for key in ("files", "folder") for f in ask.form.getlist(key) if isinstance(f, UploadFile) and f.size]
    try:
        if not sent:
            raise BadEntry("choose DICOM files, or the folder of a study")
        report, made = deidentify_held(
            [content_of(f) for f in sent], None, Options(ask.text("pseudonym"), ask.text("dates") == "yes")
        )
        told = report.as_json()
        ask.desk.hand_over(
            name, {"what": "DICOM files without identity", "files": told["written"], "identity": False}, names=False
        )
    except (ExchangeError, BadEntry) as error:
        return screen(ask, str(error), 422)
    out = BytesIO()
    with ZipFile(out, "w", ZIP_STORED) as archive:
        for file, content in made.items():
            archive.writestr(file, content)
        archive.writestr("report.json", json.dumps(told, indent=1))
    ask.house.cleaned.put(ask.token, ask.session.name, out.getvalue())
    view, _ = ask.desk.case(name)
    return ask.page("Files without identity", screens.told_of(ask.words, ask.csrf, view, report))


def fetch(ask: Ask) -> Response:
    """The cleaned files, once."""
    name = ask.request.path_params["case"]
    ask.desk.case(name)
    made = ask.house.cleaned.take(ask.token)
    if made is None:
        raise NotFound(
            "these files have been fetched already, have waited too long, or others took their place: send them again"
        )
    return download(made, "application/zip", "without-identity.zip")
