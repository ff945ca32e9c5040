"""The letter to the referring colleague, as PDF: the clinic's own words, every number from the records."""

from canalwright.exchange import Dossier
from canalwright.report.handover import IN_LETTER, Given, Say, head, plain, tables, values
from canalwright.report.typeset import typeset
from canalwright.report.wording import Filled, fill


def letter_pdf(
    dossier: Dossier, text: str, given: Given | None = None, *, say: Say = plain, language: str = "en",
    paper: str = "a4",
) -> tuple[bytes, Filled]:  # fmt: skip
    """The letter as PDF bytes, and its words with what was left out.

    `text` has the fields of `report.wording`. The caution and what the numbers leave out are printed whatever the text says.
    Raises WordingError for a text that cannot be used, ValueError for another paper.
    """
    given = given or Given()
    filled = fill(text, values(dossier, given, say, language))
    data = head(dossier, given, say, language) | {
        "parts": [[p.kind, p.text] for p in filled.parts],
        "tables": tables(dossier, say, IN_LETTER),
        "columns": [say(c) for c in ("", "number", "interval", "comes from")],
    }
    return typeset("letter", data, paper), filled
