"""The radiograph tool of one canal: a film, its marks, what they say, and one key that sends the length to the measurements."""

import asyncio
import json
from typing import Any

from fastapi import Request
from nicegui import ui
from nicegui.events import GenericEventArguments

from canalwright.casefile import CaseError
from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.marks import FilmReading, read_marks, second_canal
from canalwright.readiness import film_sounding
from canalwright.web.markup import filmtable, ready, readylength
from canalwright.web.markup.html import Safe, el
from canalwright.web.noting import Notes, said
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, hear, html, opened
from canalwright.web.pages.ready_notes import NoteView
from canalwright.web.radiographs import Open, Use, marks_of


def register(office: Office) -> None:
    """`/case/<key>/<canal>/radiograph`; `films` in the address names the films that are open in it."""

    @ui.page("/case/{key}/{index}/radiograph")
    def radiograph(request: Request, key: str, index: int) -> None:
        if (found := opened(office, key, index)) is None:
            return
        prefs, case = found
        keys = request.query_params.get("films", "").split(",")[:2]
        FilmView(office, prefs, case, key, index).build([*keys, "", ""][:2])


class FilmView(NoteView):
    """One window on up to two films."""

    reading: FilmReading | None = None
    unkept: str = ""

    def build(self, keys: list[str]) -> None:
        """Lay the tool out; films that are still open come back with their marks."""
        words = self.prefs.words
        films, line, self.canal = (
            self.office.radiographs,
            self.office.shelf.line(self.key),
            self.notes.case.canals[self.index].name,
        )
        if not any(keys):
            keys = [films.last(line, self.canal, "measure", slot)[0] for slot in (0, 1)]
        self.keys, self.changes = keys, [0, 0]
        second = self._film(1)
        self.angle, self.towards = (second.use.angle, second.use.towards) if second else ("20", "right")
        head: dict[str, Any] = {"office": self.office, "case": self.notes.case, "key": self.key, "index": self.index}
        with frame(
            self.prefs, words("Radiograph"), "ready", "radiograph", **head, stage="radiograph", kind="radiograph"
        ):
            with ui.element("section").classes("rg-film").props(f'aria-label="{words("Film")}"'):
                html(filmtable.opening(words))
                html(filmtable.stage(words))
            with ui.element("div").classes("flow"):
                with ui.element("section").classes("part").props('aria-labelledby="h-marks"'):
                    html(el("h2", words("Marks"), id="h-marks"))
                    html(filmtable.tools(words))
                with ui.element("section").classes("part").props('aria-labelledby="h-told"'):
                    html(el("h2", words("What they say"), id="h-told"))
                    html(el("p", id="e-film", class_="wrong", role="alert"))
                    self.told = html(Safe(""), marks="aria-live=polite")
                    self.lengths = html(Safe(""))
                    self.more = html(Safe(""), kind="downloads")
                with ui.element("section").classes("part").props('aria-labelledby="h-pair"'):
                    html(el("h2", words("A second canal, from two films"), id="h-pair"))
                    html(filmtable.pair_form(words, self.angle, self.towards))
                    html(el("p", id="e-pair", class_="wrong", role="alert"))
                    self.beside = html(Safe(""), marks="aria-live=polite")
        self.listen()
        hear(self, "cw-marks", self._marked)
        hear(self, "cw-films", self._loaded)
        hear(self, "cw-tube", self._tube)
        hear(self, "cw-film-away", self._away)
        hear(self, "cw-film-use", self._use)
        told = [found.told(k) if (found := self._film(i)) else None for i, k in enumerate(self.keys)]
        self.client.run_javascript(f"window.cwFilms = {json.dumps(told)}; window.canalwright?.films?.()")

    async def show(self) -> None:
        """Read the marks anew."""
        words, changes = self.prefs.words, tuple(self.changes)
        self.more.content = self.ways()
        rows = readylength.rows(self.notes.rows("lengths"), words)
        noted = ready.noted("lengths", rows, words, words("Nothing noted yet."))
        self.lengths.content = Safe(el("h3", words("Measurements noted so far")) + noted)
        first = self._film(0)
        if first is None:
            self.reading = None
            self.told.content = el("p", words("Load a film to begin."), class_="quiet")
        else:
            try:
                self.reading = await self.office.bench.aside(read_marks, first.film, first.marks)
                self.told.content = filmtable.told(self.reading, words)
                self._wrong("film", words(self.unkept))
            except ScanError as error:
                self.reading = None
                self._wrong("film", words(str(error)))
        await self._beside()
        for slot, change in enumerate(changes):
            self.client.run_javascript(f"window.canalwright?.filmAnswered?.({slot}, {change})")

    async def _beside(self) -> None:
        first, second = self._film(0), self._film(1)
        self._wrong("pair", "")
        if first is None or second is None:
            self.beside.content = el(
                "p", self.prefs.words("Load a second film, taken from another angle."), class_="quiet"
            )
            return
        self.beside.content = Safe("")
        if len(first.marks.pair) < 2 or len(second.marks.pair) < 2:
            told = self.prefs.words(
                "Mark both canals at one level on each film: the one that is known first, then the other."
            )
            self.beside.content = el("p", told, class_="quiet")
            return
        try:
            angle = float(self.angle.replace(",", "."))
        except ValueError:
            self._wrong("pair", self.prefs.words("angle: give a number of degrees"))
            return
        films, marks = (first.film, second.film), (first.marks, second.marks)
        try:
            found = second_canal(films, marks, angle=angle, towards="left" if self.towards == "left" else "right")
            self.beside.content = filmtable.beside(found, self.prefs.words)
        except ScanError as error:
            self._wrong("pair", self.prefs.words(str(error)))

    async def _marked(self, event: GenericEventArguments) -> None:
        slot = 1 if event.args.get("slot") else 0
        self.changes[slot] = int(event.args.get("change", 0))
        try:
            self.office.radiographs.mark(self.keys[slot], marks_of(event.args.get("marks") or {}))
        except ScanError as error:
            self._wrong("film", self.prefs.words(str(error)))
            return
        except (ValueError, TypeError, KeyError):
            return
        await self._keep(slot)
        await self.refresh()

    async def _loaded(self, event: GenericEventArguments) -> None:
        slot = 1 if event.args.get("slot") else 0
        self.keys[slot], self.changes[slot] = str(event.args.get("id", "")), int(event.args.get("change", 0))
        self.client.run_javascript(
            f"history.replaceState(null, '', location.pathname + '?films=' + {json.dumps(','.join(self.keys))})"
        )
        self._belongs(slot)
        await self._keep(slot)
        found = self._film(slot)
        notes = [self.prefs.words(w) for w in found.film.warnings] if found else []
        self.client.run_javascript(f"window.canalwright?.filmNotes?.({slot}, {json.dumps(notes)})")
        await self.refresh()

    async def _tube(self, event: GenericEventArguments) -> None:
        self.angle, self.towards = str(event.args.get("angle", "20"))[:8], str(event.args.get("towards", "right"))
        for slot in (0, 1):
            self._belongs(slot)
            await self._keep(slot)
        await self._beside()

    async def _away(self, event: GenericEventArguments) -> None:
        slot = 1 if event.args.get("slot") else 0
        gone, self.keys[slot] = self.keys[slot], ""  # at once: another may be loaded while it is erased
        await asyncio.to_thread(self.office.radiographs.drop, gone)
        await self.refresh()

    async def _use(self, event: GenericEventArguments) -> None:
        found = self.reading
        if found is None or self._film(0) is None:
            return
        try:
            made = self._with_curve(found) if event.args.get("what") == "curve" else self._with_length(found)
        except CaseError as error:
            self._wrong("film", self.prefs.words(said(error)))
            return
        if made is not None:
            await self.put(made)
            self._say(self.prefs.words("Noted."))

    def _with_length(self, found: FilmReading) -> Notes | None:
        if found.length is None:
            return None
        if not found.corrected:
            return self.notes.with_row(
                "lengths", {"method": "radiograph, not corrected", "value_mm": round(found.length.value, 2)}
            )
        sounding = film_sounding(found.length)
        row: dict[str, Any] = {"method": sounding.method, "value_mm": round(sounding.value, 2)}
        if sounding.error is not None:
            row["error_mm"] = round(sounding.error, 2)
        return self.notes.with_row("lengths", row)

    def _with_curve(self, found: FilmReading) -> Notes | None:
        curve = found.curve
        return None if curve is None else self.notes.with_curve(curve.pruett, curve.radius, curve.start)

    def _belongs(self, slot: int) -> None:
        """A film stays with the case: it comes back when the page is opened again, and goes along in an archive."""
        use = Use(self.canal, "measure", slot, self.angle, "left" if self.towards == "left" else "right")
        self.office.radiographs.belongs(self.keys[slot], self.key, use)

    async def _keep(self, slot: int) -> None:
        """Write the film and its marks down; where that fails the page says so until it succeeds."""
        self.unkept = await self.office.film_unkept(self.keys[slot])

    def _film(self, slot: int) -> Open | None:
        return self.office.radiographs.get(self.keys[slot]) if self.keys[slot] else None

    def _wrong(self, kind: str, told: str) -> None:
        self.client.run_javascript(f"window.canalwright?.filmWrong?.({json.dumps(kind)}, {json.dumps(told)})")

    def _say(self, told: str) -> None:
        self.client.run_javascript(f"document.getElementById('told').textContent = {json.dumps(told)}")
