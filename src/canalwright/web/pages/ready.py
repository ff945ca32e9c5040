"""Is the canal ready? The verdict with its notes, and the pad for paper points and gauging files."""

from collections.abc import Mapping
from typing import Any

from nicegui import background_tasks, ui
from nicegui.events import GenericEventArguments

from canalwright.anatomy import Canal
from canalwright.irrigation import SOLUTIONS, SequenceError, budget, checked
from canalwright.readiness import Readiness, Record, gauge, judge, next_steps, read_points, trade_off
from canalwright.web.markup import ready, readybath, readylength, readypoints, readyshape
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, hear, html, opened
from canalwright.web.pages.ready_notes import NoteView


def register(office: Office) -> None:
    """`/case/<key>/<canal>/ready` and `/case/<key>/<canal>/points`."""

    @ui.page("/case/{key}/{index}/ready")
    def verdict(key: str, index: int) -> None:
        if (found := opened(office, key, index)) is not None:
            prefs, case = found
            ReadyView(office, prefs, case, key, index).build()

    @ui.page("/case/{key}/{index}/points")
    def points(key: str, index: int) -> None:
        if (found := opened(office, key, index)) is not None:
            prefs, case = found
            PointsView(office, prefs, case, key, index).build()


class ReadyView(NoteView):
    """One window on one verdict."""

    laid: Mapping[str, Any] | None = None

    def build(self) -> None:
        """Lay the page out and judge."""
        words = self.prefs.words
        head: dict[str, Any] = {"office": self.office, "case": self.notes.case, "key": self.key, "index": self.index}
        with frame(self.prefs, words("Ready?"), "ready", **head, stage="ready", kind="ready"):
            with ui.element("section").classes("side").props(f'aria-label="{words("Verdict")}"'):
                self.verdict = html(Safe(""), kind="rd-box", marks="aria-live=polite")
                self.more = html(Safe(""), kind="downloads")
            with ui.element("div").classes("flow"):
                self._length_part()
                self._shape_part()
                self._bath_part()
                with ui.element("section").classes("part").props('aria-labelledby="h-dry" id="dry"'):
                    html(el("h2", words("Dry and gauge"), id="h-dry"))
                    self.dry = html(Safe(""))
        self.listen()
        hear(self, "cw-solution", self._solution)
        self._lay()

    def _length_part(self) -> None:
        words = self.prefs.words
        with ui.element("section").classes("part").props('aria-labelledby="h-length" id="length"'):
            html(el("h2", words("Length"), id="h-length"))
            self.length = html(Safe(""))
            self.lengths = html(Safe(""))
            html(readylength.form(words))
            age = "" if self.notes.age is None else f"{self.notes.age:g}"
            field = el(
                "div",
                el("label", words("Age of the patient, years"), for_="n-age"),
                el("input", type="text", id="n-age", value=age, inputmode="decimal", autocomplete="off", data_age=True),
                class_="field",
            )
            html(join(el("div", field, class_="fields rd-fields"), el("p", id="e-age", class_="wrong", role="alert")))

    def _shape_part(self) -> None:
        words = self.prefs.words
        with ui.element("section").classes("part").props('aria-labelledby="h-shape" id="shape"'):
            html(el("h2", words("Shape and file"), id="h-shape"))
            self.shape = html(el("p", words("Laying every file into the canal…"), class_="quiet"))
            html(el("h3", words("Files used, in order")))
            self.files = html(Safe(""))
            html(readyshape.form(words))

    def _bath_part(self) -> None:
        words = self.prefs.words
        with ui.element("section").classes("part").props('aria-labelledby="h-bath" id="bath"'):
            html(el("h2", words("Irrigation"), id="h-bath"))
            html(readybath.form(self.notes.bath, words))
            self.budget = html(Safe(""))
            html(el("h3", words("Solutions, in order")))
            self.order = html(Safe(""))
            self.refused = html(Safe(""))
            html(readybath.adders(words))

    async def show(self) -> None:
        """Judge anew."""
        canal, record, words = self.canal, self.record, self.prefs.words
        found: Readiness = await self.office.bench.aside(judge, canal, self.office.tray, record)
        steps = next_steps(found.length) if found.length is not None else ()
        self.verdict.content = ready.verdict(found, words)
        self.more.content = join(
            el("a", words("Plan this canal"), href=f"/case/{self.key}/{self.index}/plan", class_="button main"),
            self.ways(),
        )
        self.length.content = readylength.together(found.length, canal.working_length, steps, words)
        none = words("Nothing noted yet.")
        self.lengths.content = ready.noted("lengths", readylength.rows(self.notes.rows("lengths"), words), words, none)
        files = ready.noted("files_used", readyshape.rows(self.notes.rows("files_used"), words), words, none)
        self.files.content = join(files, readyshape.passes(record.passes(canal), canal, words))
        bath = record.irrigated.bath if record.irrigated else None
        self.budget.content = readybath.budget(budget(canal, bath), canal, words)
        self.order.content = readybath.order(self._done, words)
        self.dry.content = self._dry(record)
        self._lay()

    def _dry(self, record: Record) -> Safe:
        words = self.prefs.words
        way = el(
            "a", words("Open the pad for paper points"), href=f"/case/{self.key}/{self.index}/points", class_="button"
        )
        found = gauge(record.trials) if record.trials else None
        points = readypoints.dry(read_points(record.points), None, words)
        return join(points, readypoints.width(found, words), el("p", way, class_="rd-ways"))

    def _lay(self) -> None:
        """Lay every file into the canal, anew where the canal itself was changed."""
        if self.laid != self.notes.measured:
            self.laid = self.notes.measured
            background_tasks.create(self._curve(self.laid), name="trade-off")

    async def _curve(self, laid: Mapping[str, Any]) -> None:
        curve = await self.office.bench.aside(trade_off, self.canal, self.office.tray)
        if laid is self.laid:
            self.shape.content = readyshape.trade_off(curve, self.prefs.words)

    @property
    def canal(self) -> Canal:
        """The canal as it stands."""
        return self.notes.case.canals[self.index]

    @property
    def record(self) -> Record:
        """What is noted of it."""
        return self.notes.case.record(self.canal.name) or Record()

    @property
    def _done(self) -> list[str]:
        return list(self.notes.bath.get("order") or [])

    async def _solution(self, event: GenericEventArguments) -> None:
        """Add a solution; one that must not follow is refused with the reason, until the reader says what was done."""
        how, name, at = (event.args.get(k) for k in ("how", "name", "at"))
        order = self._done
        if how == "drop":
            order = [s for i, s in enumerate(order) if i != int(at)]
        elif name in SOLUTIONS:
            order = [*order, "saline", name] if how == "between" else [*order, name]
            if how == "add":
                try:
                    checked(order[-2:])
                except SequenceError as error:
                    self.refused.content = readybath.refusal(name, str(error), self.prefs.words)
                    return
        self.refused.content = Safe("")
        await self.put(self.notes.with_order(order))


class PointsView(NoteView):
    """One window on the pad."""

    def build(self) -> None:
        """Lay the pad out."""
        words, case = self.prefs.words, self.notes.case
        canal = case.canals[self.index]
        self.fitted = round(canal.working_length * 4) / 4
        head: dict[str, Any] = {"office": self.office, "case": case, "key": self.key, "index": self.index}
        with frame(self.prefs, words("Paper points"), "ready", "points", **head, stage="points", kind="points"):
            with ui.element("section").classes("part").props('aria-labelledby="h-points"'):
                html(el("h2", words("Paper points"), id="h-points"))
                html(readypoints.point_form(self.fitted, words))
            with ui.element("section").classes("part").props(f'aria-label="{words("What they say")}"'):
                self.dry = html(Safe(""), kind="pp-said", marks="aria-live=polite")
                html(el("div", readypoints.trim_field(self.fitted, words), class_="pp-form", data_fitted=True))
                self.points = html(Safe(""))
                self.more = html(Safe(""), kind="downloads")
            with ui.element("section").classes("part").props('aria-labelledby="h-gauge"'):
                html(el("h2", words("Apical gauging"), id="h-gauge"))
                html(readypoints.gauge_form(canal.file.size or 30, words))
            with ui.element("section").classes("part").props(f'aria-label="{words("What the files say")}"'):
                self.width = html(Safe(""), kind="pp-said", marks="aria-live=polite")
                self.gauges = html(Safe(""))
        self.listen()
        hear(self, "cw-fitted", self._fit)

    def changed(self, what: str, kind: str, values: Mapping[str, Any], at: Any) -> Any:
        """As for all notes; what the tip shows is one key on the pad and two in the file."""
        shows = str(values.get("shows") or "")
        return super().changed(what, kind, {**values, shows: "yes"} if shows else values, at)

    async def show(self) -> None:
        """Read the points and the gauges anew."""
        case, words = self.notes.case, self.prefs.words
        record = case.record(case.canals[self.index].name) or Record()
        found = read_points(record.points)
        trim = found.trim(self.fitted) if found.cone_end is not None else None
        self.dry.content = readypoints.dry(found, trim, words)
        none = words("Nothing noted yet.")
        rows = readypoints.point_rows(self.notes.rows("paper_points"), found.used, words)
        self.points.content = ready.noted("paper_points", rows, words, none)
        width = gauge(record.trials) if record.trials else None
        self.width.content = readypoints.width(width, words)
        self.gauges.content = ready.noted(
            "gauges", readypoints.gauge_rows(self.notes.rows("gauges"), words), words, none
        )
        self.more.content = self.ways()
        if width is not None and width.next_size is not None:
            self.client.run_javascript(f"window.canalwright?.size?.({width.next_size})")

    async def _fit(self, event: GenericEventArguments) -> None:
        try:
            self.fitted = min(max(float(str(event.args["value"]).replace(",", ".")), 0.0), 60.0)
        except (KeyError, ValueError):
            return
        await self.refresh()
