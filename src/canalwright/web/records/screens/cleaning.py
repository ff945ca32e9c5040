"""The screens that take identity out of DICOM files: what to send, and what was removed."""

from collections import Counter

from canalwright.exchange.deid import Report
from canalwright.records.caseview import CaseView
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.records.cleaned import KEEP
from canalwright.web.records.screens.page import button, field, form, table, told
from canalwright.web.words import Words

SHOWN = 40


def form_of(words: Words, token: str, view: CaseView, problem: str) -> Safe:
    """Choose files or a folder."""
    files = el("input", type="file", id="f-files", name="files", multiple=True)
    folder = el("input", type="file", id="f-folder", name="folder", multiple=True, webkitdirectory=True)
    dates = el("input", type="checkbox", id="f-dates", name="dates", value="yes")
    inside = (
        el("div", el("label", words("DICOM files"), for_="f-files"), files, class_="field"),
        el("div", el("label", words("or the folder of a study"), for_="f-folder"), folder, class_="field"),
        field(
            words("Pseudonym for all files"),
            "pseudonym",
            autocomplete="off",
            hint=words("left empty, one is made for each patient"),
        ),
        el("p", dates, " ", el("label", words("move dates back by one span instead of removing them"), for_="f-dates")),
        button(words("Take identity out")),
    )
    return join(
        _head(words, view),
        told(words(problem)) if problem else "",
        el("p", words("Names, numbers, dates and free text go; the picture stays as it is. Up to 512 MB at a time. What is sent is "
                      "cleaned in memory and kept nowhere."), class_="quiet"),
        form(f"/records/case/{view.case_id}/share/clean", token, *inside, files=True, kind="stack wide"),
    )  # fmt: skip


def told_of(words: Words, token: str, view: CaseView, report: Report) -> Safe:
    """What was removed, what was left out, what to look at by eye, and the files."""
    said = report.as_json()
    changed = Counter[tuple[str, str]]()
    for each in said["attributes"]:
        keyword = words(each["path"].rsplit(" > ", 1)[-1])
        changed[f"{keyword} {each['tag']}", each["what"]] += each["count"]
    rows = [(name, words(what), str(n)) for (name, what), n in changed.most_common(SHOWN)]
    left = [el("li", f"{each['source']}: {each['why']}") for each in said["left_out"][:SHOWN]]
    eye = [el("li", f"{each['file']}: {'; '.join(each['why'])}") for each in said["suspected_text"][:SHOWN]]
    fetch = form(f"/records/case/{view.case_id}/clean/fetch", token, button(words("Save the files (zip)")))
    return join(
        _head(words, view),
        el("p", words("{n} files cleaned, {changed} attributes removed or replaced, {left} files left out.", n=said["written"],
                      changed=sum(changed.values()), left=len(said["left_out"])), class_="lead", role="status"),
        fetch,
        el("p", words("They wait in memory for {n} minutes, or until you sign out; then they have to be sent again.", n=round(KEEP / 60)),
           class_="quiet"),
        join(el("h2", words("Left out")), el("ul", *left)) if left else "",
        join(el("h2", words("Look at these by eye")), el("ul", *eye)) if eye else "",
        el("h2", words("Not done")), el("ul", *(el("li", words(line)) for line in said["not_done"])),
        el("h2", words("What was removed")),
        table([words("Attribute"), words("What was done"), words("Times")], rows, words("Attributes, the most frequent first")),
        el("p", words("report.json in the zip lists every one."), class_="quiet"),
    )  # fmt: skip


def _head(words: Words, view: CaseView) -> Safe:
    back = el("a", words("Back to sharing"), href=f"/records/case/{view.case_id}/share", class_="button")
    return join(el("h1", words("Files without identity")), el("p", back))
