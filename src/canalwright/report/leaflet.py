"""The leaflet for the patient, as PDF: large plain words; the numbers, if the text asks for them, small at the end."""

from canalwright.exchange import Dossier
from canalwright.report.handover import IN_LEAFLET, Given, Say, head, plain, tables, values
from canalwright.report.typeset import typeset
from canalwright.report.wording import Filled, fill


def leaflet_pdf(
    dossier: Dossier, text: str, given: Given | None = None, *, say: Say = plain, language: str = "en",
    paper: str = "a4",
) -> tuple[bytes, Filled]:  # fmt: skip
    """The leaflet as PDF bytes, and its words with what was left out; arguments and errors as for `letter_pdf`."""
    given = given or Given()
    filled = fill(text, values(dossier, given, say, language))
    data = head(dossier, given, say, language) | {
        "parts": [[p.kind, p.text] for p in filled.parts],
        "tables": tables(dossier, say, IN_LEAFLET),
        "columns": [say(c) for c in ("", "number", "interval", "comes from")],
        "numbers_title": say("Numbers of this treatment, for your dentist"),
    }
    return typeset("leaflet", data, paper), filled
