"""Write or change a case: the section grows while the fields are filled in."""

import json
import secrets

from nicegui import ui
from nicegui.events import GenericEventArguments

from canalwright import shaping
from canalwright.anatomy import Tooth, averages
from canalwright.casefile import Case, CaseError
from canalwright.report.stations import stations
from canalwright.web.draft import BY_KEY, Draft, sorted_problems
from canalwright.web.held import KEY
from canalwright.web.markup.form import form, missing
from canalwright.web.markup.html import Safe, el
from canalwright.web.markup.picture import canal_picture
from canalwright.web.markup.zoom import sources, zoom
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, head, hear, html, opened, page_prefs
from canalwright.web.prefs import Prefs
from canalwright.web.shelf import CaseGone, ShelfFull
from canalwright.web.usual import usual

OVER = "This form was made a case, or closed, in another window: what is written here is not kept any more."


def register(office: Office) -> None:
    """`/measure` for a new case, `/case/<key>/<canal>/measure` to change an open one."""

    @ui.page("/measure")
    def new() -> None:
        prefs = page_prefs()
        View(office, prefs, Draft.new().with_label(prefs.words("My case")), 0).build(None, "")

    @ui.page("/measure/{name}")
    def begun(name: str) -> None:
        prefs, draft = page_prefs(), office.begun.get(name)
        view = View(office, prefs, draft or Draft.new().with_label(prefs.words("My case")), 0)
        view.name = name if draft is not None else ""
        view.build(None, "")

    @ui.page("/case/{key}/{index}/measure")
    def change(key: str, index: int) -> None:
        if (found := opened(office, key, index)) is not None:
            prefs, case = found
            View(office, prefs, Draft.of(case), index).build(case, key)


class View:
    """One window on one draft."""

    def __init__(self, office: Office, prefs: Prefs, draft: Draft, index: int) -> None:
        self.office, self.prefs, self.draft, self.index = office, prefs, draft, index
        self.case: Case | None = None
        self.key = self.full = self.name = ""

    def build(self, case: Case | None, key: str) -> None:
        """Lay the page out."""
        self.key = key
        words = self.prefs.words
        with frame(
            self.prefs,
            words("Measure"),
            "measure",
            "zoom",
            office=self.office,
            case=case,
            key=key,
            index=self.index,
            stage="measure",
            kind="measure",
        ) as self.head:
            with ui.element("section").classes("side").props(f'aria-label="{words("Section")}"'):
                self.picture = html(Safe(""), kind="picture")
                html(zoom(words))
                self.ways = html(Safe(""), kind="downloads")
                self.problems = html(Safe(""))
            with ui.element("div").classes("flow"):
                if case is None:
                    html(el("h1", words("Write a case")))
                self.form = html(form(self.draft, self.index, self.prefs))
        hear(self, "cw-form", self._form)
        hear(self, "cw-field", self._field)
        hear(self, "cw-method", self._method)
        hear(self, "cw-use", self._use)
        self._answer()

    def _form(self, event: GenericEventArguments) -> None:
        what, value = str(event.args["what"]), event.args.get("value")
        if what == "tooth":
            self.draft = self.draft.with_tooth(Tooth(int(value)).code)
        elif what == "label":
            self.draft = self.draft.with_label(str(value)[:80])
            self._changed()
            return
        elif what == "canal":
            self.index = min(max(int(value), 0), len(self.draft.canals) - 1)
        elif what == "add":
            self.draft = self.draft.with_canal(self._next_name())
            self.index = len(self.draft.canals) - 1
        elif what == "remove":
            self.draft = self.draft.without_canal(self.index)
            self.index = max(self.index - 1, 0)
        self.form.content = form(self.draft, self.index, self.prefs)
        self._changed()

    def _field(self, event: GenericEventArguments) -> None:
        key, index = str(event.args["key"]), self._asked_of(event)
        if key in BY_KEY:
            self.draft = self.draft.with_text(index, key, str(event.args["value"])[:400])
            self._changed()

    def _method(self, event: GenericEventArguments) -> None:
        key, index = str(event.args["key"]), self._asked_of(event)
        if key in BY_KEY:
            self.draft = self.draft.with_method(index, key, str(event.args["value"]))
            self._changed()

    def _asked_of(self, event: GenericEventArguments) -> int:
        """The canal that the form showed when a field was changed: another may have been chosen meanwhile."""
        return min(max(int(event.args.get("at", self.index)), 0), len(self.draft.canals) - 1)

    def _use(self, event: GenericEventArguments) -> None:
        if self.case is None:
            return
        self._keep()
        if self.full:
            self._answer()
        elif event.args["what"] == "plan":
            ui.navigate.to(f"/case/{self.key}/{self.index}/plan")
        else:
            ui.navigate.to(f"/case/{self.key}/case.toml")

    def _changed(self) -> None:
        """Show what a change comes to; where it makes a case, that case is open and kept from now on, and the address follows it."""
        if self.name and self.office.begun.over(self.name):
            self.full = OVER
        self._answer()
        self._keep()

    def _begun(self) -> None:
        """What is typed is kept before it makes a case, and the address says under which name."""
        if not self.name:
            self.name = secrets.token_hex(8)
            ui.run_javascript(f"history.replaceState(null, '', '/measure/{self.name}')")
        self.office.begun.keep(self.name, self.draft)

    def _keep(self) -> None:
        if self.full == OVER:
            return
        if self.case is None and not self.key:
            self._begun()
        if self.case is None or self.case.digest[:KEY] == self.key:
            return
        before = self.key
        try:
            self.key = self.office.put(self.case, instead_of=before) if before else self.office.take(self.case)
        except ShelfFull as error:
            self.full = str(error)
            return
        except CaseGone:
            ui.navigate.reload()
            return
        self.full = ""
        if self.name:
            self.office.begun.drop(self.name)
            self.name = ""
        self.head.content = head(self.prefs, self.office, self.case, self.key, self.index, "measure")
        ui.run_javascript(f"window.canalwright?.moved?.({json.dumps(before)}, {json.dumps(self.key)})")

    def _next_name(self) -> str:
        """The next canal that this tooth usually has and the draft lacks."""
        table = self.draft.table["tooth"]
        number = int(table["number"])
        tooth = Tooth.from_universal(number) if table.get("notation") == "universal" else Tooth(number)
        known, there = averages.tooth_averages(tooth), {str(c.get("name")) for c in self.draft.canals}
        return next((n for n in (*known.usual, *known.possible) if n not in there), "")

    def _answer(self) -> None:
        """Show the section, the averages that fill the gaps, and what is wrong."""
        words = self.prefs.words
        wrong: dict[str, str] = {}
        hints: dict[str, dict[str, str]] = {}
        others: list[str] = []
        try:
            self.case = self.draft.case()
        except CaseError as error:
            self.case = None
            by_canal, rest = sorted_problems(error, self.draft.canals)
            told = by_canal[self.index] | self.draft.impossible(self.index)
            wrong = {k: "; ".join(words(part) for part in said.split("; ")) for k, said in told.items()}
            others = [str(problem) for problem in rest]
            others += [
                words("Canal {n} needs something too", n=i + 1)
                for i, found in enumerate(by_canal)
                if found and i != self.index
            ]
            self.picture.content = missing(wrong, words)
            ui.run_javascript("window.canalwright?.stations?.(null)")
        else:
            canal = self.case.canals[self.index]
            self.picture.content = canal_picture(canal, shaping.shaped(canal), words)
            told = stations(canal) | {"sources": sources(canal, words)}
            ui.run_javascript(f"window.canalwright?.stations?.({json.dumps(told)})")
            hints = {
                k: {"text": u.text, "source": words("used: {value}, {source}", value=u.text, source=words(u.source))}
                for k, u in usual(canal).items()
            }
            others = [f"{words(n.message)}: {words(n.action)}" for n in canal.notes] + [
                f"{words(d.message)}: {words(d.action)}" for d in self.case.doubts
            ]
        if self.full:
            others = [words(self.full), *others]
        ready = self.case is not None
        self.ways.content = Safe(
            el(
                "button",
                words("Plan this canal"),
                type="button",
                class_="button main",
                data_use="plan",
                disabled=not ready,
            )
            + el(
                "button",
                words("Save the case file"),
                type="button",
                class_="button",
                data_use="save",
                disabled=not ready,
            )
        )
        title = words("Worth a second look") if ready else words("Not a case yet")
        listed = el(
            "div", el("h2", title), el("ul", *(el("li", line) for line in others), class_="rests"), class_="part"
        )
        self.problems.content = listed if others else Safe("")
        ui.run_javascript(f"window.canalwright?.hints?.({json.dumps(wrong)}, {json.dumps(hints)})")
