"""Handing a case over from its page: letter and leaflet in words that can be edited, casebook, DICOM, FHIR.

Making a file records that it was handed over, and with which words; looking at the screen does not.
"""

from datetime import UTC, datetime
from io import BytesIO
from urllib.parse import parse_qs
from zipfile import ZIP_DEFLATED, ZipFile

import anyio.from_thread
from starlette.responses import Response
from starlette.routing import Route

from canalwright.exchange import Dossier, ExchangeError, dossier_of, fhir
from canalwright.exchange.dicom import sr
from canalwright.exchange.dicom.pdf import encapsulated, saved
from canalwright.exchange.dicom.study import Study
from canalwright.planning import Plan, PlanError
from canalwright.records.accounts import Act
from canalwright.records.errors import BadEntry, IdentityLocked, StoreDamaged
from canalwright.records.events import Kind
from canalwright.records.patients import Identity
from canalwright.report import wording
from canalwright.report.again import case_of
from canalwright.report.casebook import Verified, casebook_pdf
from canalwright.report.handover import FIELDS, Given, values
from canalwright.report.leaflet import leaflet_pdf
from canalwright.report.letter import letter_pdf
from canalwright.report.wording import DOCUMENTS, LANGUAGES, Filled, WordingError
from canalwright.web.choosing import from_query
from canalwright.web.records.asking import Ask, change, look
from canalwright.web.records.cases import download
from canalwright.web.records.house import House
from canalwright.web.records.screens import sharing as screens
from canalwright.web.words import words_of


def routes(house: House) -> list[Route]:
    """The screen and what it makes."""
    return [
        look(house, "/case/{case}/share", screen),
        change(house, "/case/{case}/share", write),
        change(house, "/case/{case}/share/casebook", casebook),
        change(house, "/case/{case}/share/fhir", bundle),
        change(house, "/case/{case}/share/dicom", dicom),
    ]


def screen(ask: Ask, problem: str = "", status: int = 200, filled: Filled | None = None) -> Response:
    """The screen: which document, its words, and the other forms."""
    name = ask.request.path_params["case"]
    view, _ = ask.desk.case(name)
    query = ask.request.query_params
    document, language = _asked(
        ask.text("document") or query.get("document", ""), ask.text("language") or query.get("language", ""), ask
    )
    words = ask.text("text") or _words(ask, document, language)
    given = {k: ask.text(k) for k in ("colleague", "clinic", "phone")} | {"identity": ask.text("identity")}
    may = frozenset(act for act in Act if ask.desk.allowed(act))
    content = screens.share(ask.prefs, ask.csrf, view, document, language, words, FIELDS, given, filled, problem, may)
    return ask.page("Share", content, status=status)


def write(ask: Ask) -> Response:
    """Letter or leaflet: shown as it would read, or made."""
    name = ask.request.path_params["case"]
    try:
        document, language = _asked(ask.text("document"), ask.text("language"), ask)
        text = ask.form.get("text", "")
        words = text.replace("\r\n", "\n") if isinstance(text, str) else ""
        given = Given(
            ask.text("colleague"), ask.text("clinic").replace(" / ", "\n"), ask.text("phone"), ask.today.isoformat()
        )
        say = words_of(language)
        if ask.text("act") == "preview":
            found = _bare(ask, name)
            if ask.text("identity") == "yes":
                found = _bare(ask, name, ask.desk.identity(found.view.patient))
            return screen(ask, filled=wording.fill(words, values(found, given, say, language)))
        wording.fill(words, values(_bare(ask, name), given, say, language))  # refused before anything is recorded
        dossier = _handed(ask, name, {"what": document, "language": language, "text": words})
        make = letter_pdf if document == "letter" else leaflet_pdf
        pdf, _ = make(dossier, words, given, say=say, language=language)
    except (WordingError, ExchangeError, BadEntry, IdentityLocked) as error:
        return screen(ask, str(error), 422)
    if ask.text("act") == "dicom":
        content = saved(encapsulated(Study(dossier, datetime.now(UTC)), pdf, document))  # type: ignore[arg-type]
        return download(content, "application/dicom", f"{document}-{name}.dcm")
    return download(pdf, "application/pdf", f"{document}-{name}.pdf")


def casebook(ask: Ask) -> Response:
    """The casebook, with the chain verified now."""
    name = ask.request.path_params["case"]
    try:
        language = _asked("", ask.text("language"), ask)[1]
        dossier = _handed(ask, name, {"what": "casebook", "language": language})
        plans = _plans(ask, dossier) if ask.text("drawings") == "yes" else {}
        given = Given(on=ask.today.isoformat())
        pdf = casebook_pdf(dossier, _verified(ask), plans, given, say=words_of(language), language=language)
    except (ExchangeError, BadEntry, IdentityLocked) as error:
        return screen(ask, str(error), 422)
    return download(pdf, "application/pdf", f"casebook-{name}.pdf")


def bundle(ask: Ask) -> Response:
    """The case as a FHIR R4 bundle."""
    name = ask.request.path_params["case"]
    try:
        content = fhir.bundle(_handed(ask, name, {"what": "FHIR R4 bundle"}), datetime.now(UTC))
    except (ExchangeError, BadEntry, IdentityLocked) as error:
        return screen(ask, str(error), 422)
    return download(content, "application/fhir+json", f"{name}.fhir.json")


def dicom(ask: Ask) -> Response:
    """Casebook and measurements as DICOM, in one zip."""
    name = ask.request.path_params["case"]
    try:
        dossier = _handed(ask, name, {"what": "DICOM"})
        study = Study(dossier, datetime.now(UTC))
        document = encapsulated(study, casebook_pdf(dossier, _verified(ask)), "casebook")
        made = {"document.dcm": document, "measurements.dcm": sr.measurements(study, [document])}
    except (ExchangeError, BadEntry, IdentityLocked) as error:
        return screen(ask, str(error), 422)
    out = BytesIO()
    with ZipFile(out, "w", ZIP_DEFLATED) as archive:
        for file, dataset in made.items():
            archive.writestr(file, saved(dataset))
    return download(out.getvalue(), "application/zip", f"{name}.dicom.zip")


def _asked(document: str, language: str, ask: Ask) -> tuple[str, str]:
    """Document and language, the reader's own where none is asked for. Raises BadEntry for what there is not."""
    document, language = document or DOCUMENTS[0], language or ask.prefs.language
    if document not in DOCUMENTS or language not in LANGUAGES:
        raise BadEntry(f"{document[:40]!r} in {language[:10]!r}: there is no such document")
    return document, language


def _words(ask: Ask, document: str, language: str) -> str:
    """The words last used for this case, else the clinic's own, else those that come along."""
    for event in reversed(ask.desk.history(ask.request.path_params["case"])):
        if event.kind is Kind.EXPORT and (event.field("what"), event.field("language")) == (document, language):
            text = event.field("text")
            if isinstance(text, str) and text.strip():
                return text
    return wording.wording(document, language, ask.house.store.vault.home / "wordings")


def _bare(ask: Ask, name: str, who: Identity | None = None) -> Dossier:
    """The case to look at, before anything is handed over."""
    view, _ = ask.desk.case(name)
    return dossier_of(ask.house.store.vault.key_file.store, view, ask.desk.history(name), who)


def _handed(ask: Ask, name: str, what: dict[str, object]) -> Dossier:
    """The case, after it was recorded that it is handed over; with who it is where that was ticked."""
    names = ask.text("identity") == "yes"
    view, events, who = ask.desk.hand_over(name, what | {"identity": names}, names=names)
    return dossier_of(ask.house.store.vault.key_file.store, view, events, who)


def _verified(ask: Ask) -> Verified:
    """How the chain is, where the reader may look."""
    if not ask.desk.allowed(Act.BACK_UP):
        return Verified()
    at = f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    try:
        head = ask.desk.verify()
    except StoreDamaged as error:
        return Verified(False, found=str(error), at=at)
    return Verified(True, head.seq, head.hash, at=at)


def _plans(ask: Ask, dossier: Dossier) -> dict[int, Plan]:
    """Each kept plan made again for its section; one that cannot be is left out of the drawings."""
    plans = {}
    for canal in dossier.canals:
        if canal.plan is None:
            continue
        try:
            case, index = case_of(dossier, canal)
            choices = from_query(parse_qs(canal.choices), ask.house.office.tray)
            plans[canal.plan_seq] = anyio.from_thread.run(ask.house.office.bench.plan, case, index, choices)
        except (ExchangeError, PlanError):
            continue
    return plans
