"""letter, leaflet, casebook, export: a case of the records handed over. deidentify: files without identity."""

from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import parse_qs

import typer

from canalwright.cli import inputs, output
from canalwright.cli.records_keys import By, Home, Keyring, Names, Url, opened, whoever
from canalwright.cli.records_rules import Case

if TYPE_CHECKING:
    from canalwright.exchange import Dossier
    from canalwright.records import Store
    from canalwright.report.casebook import Verified
    from canalwright.report.handover import Given

Out = Annotated[Path, typer.Argument(metavar="FILE", help="File to write; it must not exist yet.", show_default=False)]
Identity = Annotated[
    bool, typer.Option("--identity", help="Put name, date of birth and number in; without it the pseudonym stands.")
]
Text = Annotated[
    Path | None,
    typer.Option("--text", metavar="FILE", help="Own words with named fields, instead of those that come along."),
]
Colleague = Annotated[str, typer.Option("--to", metavar="NAME", help="The colleague whom the letter goes to.")]
Clinic = Annotated[str, typer.Option("--clinic", metavar="TEXT", help="Who writes it.")]
Phone = Annotated[str, typer.Option("--phone", metavar="TEXT", help="Where the patient reaches you.")]
Paper = Annotated[str, typer.Option("--paper", help="a4 or letter.")]
export = typer.Typer(
    no_args_is_help=True,
    help="A case of the records for other programs: fhir (HL7 FHIR R4 bundle), dicom (encapsulated PDF and structured report).",
)


def letter(
    home: Home, case: Case, out: Out, identity: Identity = False, language: inputs.Language = "en", text: Text = None, to: Colleague = "",
    clinic: Clinic = "", phone: Phone = "", paper: Paper = "a4", names: Names = False, keyring: Keyring = None, url: Url = None,
    by: By = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Write the letter to the referring colleague (PDF), every number from the records; the words are kept with the case."""
    _document("letter", locals())


def leaflet(
    home: Home, case: Case, out: Out, identity: Identity = False, language: inputs.Language = "en", text: Text = None, to: Colleague = "",
    clinic: Clinic = "", phone: Phone = "", paper: Paper = "a4", names: Names = False, keyring: Keyring = None, url: Url = None,
    by: By = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Write the leaflet for the patient (PDF), in large plain words; the words are kept with the case."""
    _document("leaflet", locals())


def casebook(
    home: Home, case: Case, out: Out, identity: Identity = False, language: inputs.Language = "en",
    drawings: Annotated[bool, typer.Option("--drawings/--no-drawings", help="Make each plan again for its section.")] = True,
    tray: inputs.TrayPath = None, paper: Paper = "a4", names: Names = False, keyring: Keyring = None, url: Url = None,
    by: By = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Write all that is recorded of a case (PDF): every entry in order, with its hash, and how the chain was verified."""
    from canalwright.report.casebook import casebook_pdf

    say = inputs.words_in(language)
    _new(out)
    with _records(locals(), f"casebook of {case}") as store:
        dossier = _dossier(store, case, {"what": "casebook", "language": language}, identity, whoever(by))
        verified = _verified(store)
    plans, notes = _plans(dossier, tray) if drawings else ({}, [])
    pdf = casebook_pdf(dossier, verified, plans, _given(), say=say, language=language, paper=_paper(paper))
    _write(out, pdf)
    _told(json, out, {"entries": len(dossier.events), "verified": verified.good, "notes": notes}, notes)


@export.command("fhir")
def fhir(
    home: Home, case: Case, out: Out, identity: Identity = False,
    pdf: Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Put this letter (PDF) inside.")] = None,
    names: Names = False, keyring: Keyring = None, url: Url = None, by: By = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Write a case as an HL7 FHIR R4 bundle: Patient, Procedure, Observation, DiagnosticReport."""
    from canalwright.exchange import fhir as exchange

    _new(out)
    documents = {"letter": pdf.read_bytes()} if pdf else {}
    with _records(locals(), f"FHIR bundle of {case}") as store:
        dossier = _dossier(store, case, {"what": "FHIR R4 bundle"}, identity, whoever(by))
    content = exchange.bundle(dossier, datetime.now(UTC), documents)
    _write(out, content)
    _told(json, out, {"numbers": len(dossier.numbers), "identity": identity}, [])


@export.command("dicom")
def dicom(
    home: Home, case: Case, folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="New folder to write into.")],
    identity: Identity = False,
    pdf: Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Encapsulate this PDF instead of a casebook.")] = None,
    kind: Annotated[str, typer.Option("--kind", help="What that PDF is: letter, leaflet, casebook, card, document.")] = "letter",
    names: Names = False, keyring: Keyring = None, url: Url = None, by: By = None, json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Write a case as DICOM: a PDF encapsulated in the patient's study, and the measurements (structured report, TID 1500)."""
    from canalwright.exchange import ExchangeError
    from canalwright.exchange.dicom import pdf as encapsulating
    from canalwright.exchange.dicom import sr
    from canalwright.exchange.dicom.study import Study
    from canalwright.report.casebook import casebook_pdf

    if kind not in encapsulating.SERIES:
        raise typer.BadParameter(f"--kind = {kind!r}: one of {', '.join(encapsulating.SERIES)}")
    _new(folder)
    content = pdf.read_bytes() if pdf else b""
    with _records(locals(), f"DICOM of {case}") as store:
        dossier = _dossier(store, case, {"what": "DICOM"}, identity, whoever(by))
        verified = _verified(store)
    content = content or casebook_pdf(dossier, verified, {}, _given())
    study = Study(dossier, datetime.now(UTC))
    document = encapsulating.encapsulated(study, content, kind if pdf else "casebook")  # type: ignore[arg-type]
    made, notes = {"document.dcm": document}, []
    try:
        made["measurements.dcm"] = sr.measurements(study, [document])
    except ExchangeError as error:
        notes.append(str(error))
    folder.mkdir(parents=True)
    for name, dataset in made.items():
        encapsulating.write(dataset, folder / name)
    _told(json, folder, {"files": sorted(made), "identity": identity, "notes": notes}, notes)


def deidentify(
    sources: Annotated[list[Path], typer.Argument(metavar="SOURCE...", help="DICOM files, or folders of them.", show_default=False)],
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="New folder for the copies and report.json.")],
    pseudonym: Annotated[str, typer.Option("--pseudonym", metavar="NAME", help="For all files; else one is made for each patient.")] = "",
    shift_dates: Annotated[
        bool, typer.Option("--shift-dates", help="Move dates back by one span for each patient, instead of removing them.")
    ] = False,
    key: Annotated[
        Path | None, typer.Option("--key", metavar="FILE", help="Secret that makes later runs fit this one; made when it is not there.")
    ] = None,
    json: inputs.AsJson = False,
) -> None:  # fmt: skip
    """Write copies of DICOM files without identity (PS3.15 Basic Profile and stricter), and say what was removed."""
    from canalwright.exchange.deid import Key, Options
    from canalwright.exchange.deid import deidentify as run

    with output.progress("cleaning"):
        report = run(sources, out, Key.of_file(key) if key else None, Options(pseudonym, shift_dates))
    told = report.as_json()
    if json:
        output.print_json(told)
        return
    changed = sum(a["count"] for a in told["attributes"])
    output.line(f"wrote {told['written']} files and report.json to {out}: {changed} attributes removed or replaced")
    for number, why in report.left_out:
        output.line(f"  left out {report.sources[number - 1]}: {why}")
    for each in told["suspected_text"][:20]:
        output.line(f"  look at {each['file']} by eye: {'; '.join(each['why'])}")
    if len(told["suspected_text"]) > 20:
        output.line(f"  and at {len(told['suspected_text']) - 20} more, see report.json")
    for line in told["not_done"]:
        output.line(f"  not done: {line}")


def _document(kind: str, given: dict[str, Any]) -> None:
    """Letter or leaflet."""
    from canalwright.report import wording
    from canalwright.report.leaflet import leaflet_pdf
    from canalwright.report.letter import letter_pdf

    case, out, language, by = given["case"], given["out"], given["language"], whoever(given["by"])
    say = inputs.words_in(language)
    _new(out)
    words = (
        wording.read(given["text"]) if given["text"] else wording.wording(kind, language, given["home"] / "wordings")
    )
    make = letter_pdf if kind == "letter" else leaflet_pdf
    with _records(given, f"{kind} of {case}") as store:
        what = {"what": kind, "language": language, "text": words}
        dossier = _dossier(store, case, what, given["identity"], by)
        added = _given(given["to"], given["clinic"], given["phone"])
        pdf, filled = make(dossier, words, added, say=say, language=language, paper=_paper(given["paper"]))
    _write(out, pdf)
    notes = [f"left out, nothing recorded for {', '.join(fields)}: {text}" for text, fields in filled.left_out]
    notes += [f"typed by hand, not from the records: {number}" for number in filled.typed]
    _told(given["json"], out, {"language": language, "notes": notes}, notes)


def _records(given: dict[str, Any], act: str) -> Any:
    return opened(
        given["home"], act, keyring=given["keyring"], url=given["url"], names=given["names"], by=whoever(given["by"])
    )


def _dossier(store: "Store", case: str, what: dict[str, object], identity: bool, by: str) -> "Dossier":
    """The case, after it was recorded that it is handed over."""
    from canalwright.exchange import dossier_of

    view = store.cases.view(case)
    who = store.patients.identity(view.patient) if identity else None
    store.transfer.note(what, by, view.patient, case)
    return dossier_of(store.vault.key_file.store, store.cases.view(case), store.cases.events(case), who)


def _verified(store: "Store") -> "Verified":
    from canalwright.records.errors import StoreDamaged
    from canalwright.report.casebook import Verified

    at = f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    try:
        head = store.verify()
    except StoreDamaged as error:
        return Verified(False, found=str(error), at=at)
    return Verified(True, head.seq, head.hash, at=at)


def _plans(dossier: "Dossier", tray: Path | None) -> tuple[dict[int, Any], list[str]]:
    """Plans made again, by the number of their entry, and why some were not."""
    from canalwright.exchange import ExchangeError
    from canalwright.report.again import plan_again
    from canalwright.web.choosing import from_query

    tools, plans, notes = inputs.read_tray(tray), {}, []
    for canal in dossier.canals:
        if canal.plan is None:
            continue
        try:
            with output.progress(f"planning {canal.name} again"):
                plans[canal.plan_seq] = plan_again(dossier, canal, tools, from_query(parse_qs(canal.choices), tools))
        except ExchangeError as error:
            notes.append(str(error))
    return plans, notes


def _given(to: str = "", clinic: str = "", phone: str = "") -> "Given":
    from canalwright.report.handover import Given

    return Given(to, clinic.replace("\\n", "\n"), phone, date.today().isoformat())


def _paper(paper: str) -> str:
    from canalwright.report.typeset import PAPERS

    if paper not in PAPERS:
        raise typer.BadParameter(f"--paper = {paper!r}: one of {', '.join(PAPERS)}")
    return paper


def _new(path: Path) -> None:
    """Refuse before anything is recorded what would be written over."""
    from canalwright.exchange import ExchangeError

    if path.exists():
        raise ExchangeError(f"{path}: is there already; name another, nothing is written over")


def _write(path: Path, content: bytes) -> None:
    with path.open("xb") as file:
        file.write(content)


def _told(json: bool, out: Path, fields: dict[str, Any], notes: list[str]) -> None:
    if json:
        output.print_json({"file": str(out), **fields})
        return
    output.line(f"wrote {out}; it is not encrypted")
    for note in notes:
        output.line(f"  {note}")
