"""Check the filling of one canal on a radiograph: marks, grade, voids, the plan laid over it, post and ferrule, keep it."""

import asyncio
import json
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qs

from fastapi import Request
from nicegui import background_tasks, ui
from nicegui.events import GenericEventArguments

from canalwright.assessment import Assessment, compare, criteria, film, restoration
from canalwright.casefile import Case
from canalwright.guide import Done
from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.marks import read_marks
from canalwright.planning import Plan, PlanError
from canalwright.report.density import density_svg
from canalwright.web.atchair import done_at_chair
from canalwright.web.checks import Check
from canalwright.web.choosing import from_query
from canalwright.web.markup import check, checkpost, filmtable, ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.picture import PAGE
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, hear, html, opened
from canalwright.web.prefs import Prefs
from canalwright.web.radiographs import Open, Use, marks_of, marks_told
from canalwright.web.reader import reader

REST = 0.3
"""Seconds of rest after a mark before the film is read."""


def register(office: Office) -> None:
    """`/case/<key>/<canal>/check`; `films` in the address names the film that is open in it."""

    @ui.page("/case/{key}/{index}/check")
    async def checked(request: Request, key: str, index: int) -> None:
        if (found := opened(office, key, index)) is None:
            return
        prefs, case = found
        view = CheckView(office, prefs, case, key, index)
        await view.build(dict(parse_qs(request.url.query)))


@dataclass
class CheckView:
    """One window on one check."""

    office: Office
    prefs: Prefs
    case: Case
    key: str
    index: int
    plan: Plan | None = None
    done: tuple[Done, ...] = ()
    film_key: str = ""
    band: str = "two"
    reading: film.FilmReading | None = None
    turn: int = 0
    change: int = 0
    unkept: str = ""

    async def build(self, query: dict[str, list[str]]) -> None:
        """Lay the page out."""
        words = self.prefs.words
        self.choices = from_query(query, self.office.tray)
        self.canal, films = self.case.canals[self.index].name, self.office.radiographs
        kept, use = films.last(self.office.shelf.line(self.key), self.canal, "check")
        self.film_key = query.get("films", [kept])[0]
        self.crown: dict[str, str] = dict(use.crown) if self.film_key == kept else {}
        if self.film_key == kept and use.band in criteria.BANDS:
            self.band = use.band
        head: dict[str, Any] = {"office": self.office, "case": self.case, "key": self.key, "index": self.index}
        with frame(self.prefs, words("Check"), "radiograph", "check", **head, stage="check", kind="radiograph check"):
            with ui.element("section").classes("rg-film").props(f'aria-label="{words("Film")}"'):
                html(filmtable.opening(words, 1))
                html(filmtable.stage(words))
            with ui.element("div").classes("flow"):
                self._part("marks", words("Marks"), filmtable.tools(words, filmtable.CHECKED))
                self.missing = html(Safe(""), marks="aria-live=polite")
                html(el("p", id="e-film", class_="wrong", role="alert"))
                self.grade = self._part("grade", words("What came of it"))
                self.numbers = html(Safe(""), marks="aria-live=polite")
                self.density = html(Safe(""), kind="ck-density")
                self.unseen = html(Safe(""))
                self.against = self._part("against", words("Against the plan"))
                self.post = self._part("post", words("Restoration"), checkpost.form(words, self.crown))
                self.keep = html(Safe(""), kind="downloads")
        ui.add_head_html('<link rel="stylesheet" href="/static/ready.css">')
        self.client = ui.context.client
        hear(self, "cw-marks", self._marked)
        hear(self, "cw-films", self._loaded)
        hear(self, "cw-check", self._told)
        hear(self, "cw-film-away", self._away)
        found = self._film()
        told = [found.told(self.film_key) if found else None, None]
        self._run(f"window.cwFilms = {json.dumps(told)}; window.canalwright?.films?.()")
        self._draw(None)
        background_tasks.create(
            self.show(), name="check of a film"
        )  # a page has to answer at once, a film takes longer
        background_tasks.create(self._make_plan(), name="plan for the check")

    def _part(self, ident: str, title: str, content: Safe | None = None) -> ui.html:
        with ui.element("section").classes("part").props(f'aria-labelledby="h-{ident}" id="{ident}"'):
            html(el("h2", title, id=f"h-{ident}"))
            if content:
                html(content)
            return html(Safe(""))

    async def show(self) -> None:
        """Read the film anew. Marks come faster than a film is read: only the newest reading counts."""
        self.turn += 1
        turn, change, words, found = self.turn, self.change, self.prefs.words, self._film()
        if found is None:
            self.missing.content = el("p", words("Load a film to begin."), class_="quiet")
            return self._draw(None)
        try:
            await asyncio.sleep(REST)
            made = await self._read(found, turn)
            wrong = words(self.unkept)
        except ScanError as error:
            made, wrong = None, words(str(error))
        if turn == self.turn:
            self._wrong("film", wrong)
            self._draw(made)
            self._run(f"window.canalwright?.filmAnswered?.(0, {change})")
        return None

    async def _read(self, found: Open, turn: int) -> film.FilmReading | None:
        """A reading, None where marks are missing. Raises ScanError."""
        words = self.prefs.words
        if turn != self.turn:
            return None
        told = await self.office.bench.aside(read_marks, found.film, found.marks)
        scale, wanted = told.scale, self._missing(told.scale is not None, found)
        if turn != self.turn:
            return None
        listed = el("ul", *(el("li", words(w)) for w in wanted), class_="rg-missing")
        self.missing.content = listed if wanted else Safe("")
        if wanted or scale is None:
            return None
        ends = (found.marks.terminus, found.marks.end, found.marks.reference)
        marks = film.Marks.of([*found.marks.canal, *((ends[0],) if ends[0] else ())], *ends)
        canal, plan, band = self.case.canals[self.index], self.plan, criteria.BANDS[self.band]
        tooth = self.case.tooth.code

        def read() -> film.FilmReading:
            return film.read(found.film, scale, marks, tooth=tooth, canal=canal.name, plan=plan, band=band)

        return await self.office.bench.aside(read)

    def _missing(self, scaled: bool, found: Open) -> list[str]:
        wanted = []
        if not scaled:
            wanted.append("mark the known instrument at its tip and at its stop, and give its length")
        if len(found.marks.canal) + (found.marks.terminus is not None) < 2:
            wanted.append("mark the canal from coronal, on the filling, to the root's end")
        return wanted

    def _draw(self, reading: film.FilmReading | None) -> None:
        words = self.prefs.words
        self.reading = reading
        choice = ready.choice(
            "ck-band", words("The filling should end"), "band", [(k, words(w)) for k, w in check.BANDS], self.band
        )
        if reading is None:
            self.grade.content = join(choice, el("p", words("Nothing read yet."), class_="quiet"))
            for place in (self.numbers, self.density, self.unseen, self.against, self.keep):
                place.content = Safe("")
            self._restore(None)
            self._run("window.canalwright?.filmFound?.(0, [])")
            return
        found = self._whole(reading.assessment)
        self.grade.content = join(choice, check.grade(found, words))
        self.numbers.content = check.numbers(found, words)
        titles = (words("Density along the filling"), words("mm from the terminus"), words("grey over dentine"))
        drawn = density_svg(
            reading.profile_z, reading.profile_grey, reading.profile_whole, found.voids, words=titles, palette=PAGE
        )
        self.density.content = join(
            Safe(drawn), el("p", words("Dashed: the same filling without voids."), class_="quiet")
        )
        self.unseen.content = check.unseen(found, words)
        self.against.content = check.against(found, words)
        self._restore(found)
        self.keep.content = check.ways(self.key, self.index, self.choices, words, kept=bool(reader()))
        self._run(f"window.canalwright?.filmFound?.(0, {json.dumps(_shapes(reading))})")

    def _whole(self, found: Assessment) -> Assessment:
        """With the plan beside it, and remembered."""
        habits: tuple[tuple[str, float], ...] = ()
        if self.plan is not None:
            found = compare.against(found, self.plan, self.done)
            habits = compare.learned_from(found, self.plan, self.done)
        opened_ = self._film()
        if opened_ is not None and not self.office.why_gone(self.key):
            made = Check(found, opened_.picture, marks_told(opened_.marks), habits)
            self.office.checks.put(self.key, self.index, made)
        return found

    def _restore(self, found: Assessment | None) -> None:
        words, canal = self.prefs.words, self.case.canals[self.index]
        bottom = found.to_terminus.value if found is not None else canal.end
        top = bottom + found.length_filled.value if found is not None else None
        try:
            given = {k: float(v.replace(",", ".")) for k, v in self.crown.items() if v}
            told = restoration.restoration(canal, bottom, filled_top=top, **given)
        except ValueError as error:
            self._wrong("restore", words("give lengths in mm") if "float" in str(error) else words(str(error)))
            return
        self._wrong("restore", "")
        self.post.content = checkpost.told(told, words)

    async def _make_plan(self) -> None:
        """The plan and what was done at the chair; the check is drawn anew with them."""
        try:
            self.plan = await self.office.bench.plan(self.case, self.index, self.choices)
        except PlanError:
            return
        self.done = done_at_chair(self.office, self.case, self.index, self.choices, self.plan)
        await self.show()  # also where the film is being read just now: that reading knows of no plan

    async def _marked(self, event: GenericEventArguments) -> None:
        self.change = int(event.args.get("change", 0))
        try:
            self.office.radiographs.mark(self.film_key, marks_of(event.args.get("marks") or {}))
        except ScanError as error:
            self._wrong("film", self.prefs.words(str(error)))
            return
        except (ValueError, TypeError, KeyError):
            return
        await self._keep()
        await self.show()

    async def _loaded(self, event: GenericEventArguments) -> None:
        self.film_key, self.change = str(event.args.get("id", "")), int(event.args.get("change", 0))
        self._belongs()
        await self._keep()
        self._run(f"window.canalwright?.checkFilm?.({json.dumps(self.film_key)})")
        found = self._film()
        notes = [self.prefs.words(w) for w in found.film.warnings] if found else []
        self._run(f"window.canalwright?.filmNotes?.(0, {json.dumps(notes)})")
        await self.show()

    async def _away(self) -> None:
        gone, self.film_key, self.reading = self.film_key, "", None  # at once: another may be loaded while it is erased
        await asyncio.to_thread(self.office.radiographs.drop, gone)
        await self.show()

    async def _told(self, event: GenericEventArguments) -> None:
        name, value = str(event.args.get("name")), str(event.args.get("value", ""))[:12].strip()
        if name == "band" and value in criteria.BANDS:
            self.band = value
            self._belongs()
            await self.show()
        elif name in dict(checkpost.FIELDS):
            self.crown[name] = value
            self._belongs()
            self._restore(self.reading.assessment if self.reading else None)
        else:
            return
        await self._keep()

    async def _keep(self) -> None:
        """Write the film and its marks down; where that fails the page says so until it succeeds."""
        self.unkept = await self.office.film_unkept(self.film_key)

    def _belongs(self) -> None:
        """The film stays with the case: it comes back when the page is opened again, and goes along in an archive."""
        use = Use(self.canal, "check", band=self.band, crown=dict(self.crown))
        self.office.radiographs.belongs(self.film_key, self.key, use)

    def _film(self) -> Open | None:
        return self.office.radiographs.get(self.film_key) if self.film_key else None

    def _run(self, script: str) -> None:
        """Run a script in this window, also from work that goes on behind it."""
        self.client.run_javascript(script)

    def _wrong(self, kind: str, told: str) -> None:
        self._run(f"window.canalwright?.filmWrong?.({json.dumps(kind)}, {json.dumps(told)})")


def _shapes(reading: film.FilmReading) -> list[dict[str, Any]]:
    """What was found, as lines over the film."""

    def line(kind: str, points: Any, every: int = 3) -> dict[str, Any]:
        return {"kind": kind, "points": [[round(float(x), 1), round(float(y), 1)] for x, y in points[::every]]}

    shapes = [line("root", reading.outline, 1), line("filling", reading.left), line("filling", reading.right)]
    shapes += [line("void", [place, place + 0.5], 1) for place in reading.void_places]
    shapes += [
        line("tip", [reading.end, reading.end + 0.5], 1),
        line("apex", [reading.terminus, reading.terminus + 0.5], 1),
    ]
    if reading.overlay is not None and not reading.overlay.poor:
        shapes += [line("planned", reading.overlay.left), line("planned", reading.overlay.right)]
    return shapes
