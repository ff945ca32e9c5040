"""One window on the notes of one canal: what every page of notes does with a note, an undo and the address."""

import json
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from nicegui import background_tasks, ui
from nicegui.events import GenericEventArguments

from canalwright.casefile import Case, CaseError
from canalwright.readiness import combine
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.noting import Notes, said
from canalwright.web.office import Office
from canalwright.web.pages.frame import hear
from canalwright.web.prefs import Prefs
from canalwright.web.shelf import CaseGone

MOVED = 5.0
"""Seconds that a note waits for the address of its window to follow before it is shown there."""


class NoteView:
    """Takes notes; a page says in `show` what they come to. Each note makes another case, and the address follows it."""

    def __init__(self, office: Office, prefs: Prefs, case: Case, key: str, index: int) -> None:
        self.office, self.prefs, self.key, self.index = office, prefs, key, index
        self.notes, self.turn, self.busy = Notes.of(case, index), 0, False

    async def refresh(self) -> None:
        """Show anew, one at a time: what changes meanwhile is shown by one more turn, so the newest always stands last."""
        self.turn += 1
        if self.busy:
            return
        self.busy, shown = True, 0
        try:
            while shown != self.turn:
                shown = self.turn
                await self.show()
        finally:
            self.busy = False

    async def show(self) -> None:
        """Show what the notes come to."""
        raise NotImplementedError

    def listen(self) -> None:
        """Take the events of the page, and show what the notes come to once it stands: nobody waits for a sum with an empty page."""
        self.client = ui.context.client
        ui.add_head_html('<link rel="stylesheet" href="/static/ready.css">')
        hear(self, "cw-note", self._note)
        hear(self, "cw-undo", self._undo)
        background_tasks.create(self.refresh(), name="notes")

    def ways(self) -> Safe:
        """Undo, and the case file with the notes in it."""
        words = self.prefs.words
        return join(
            el("button", words("Undo"), type="button", class_="button", data_undo=True, disabled=not self.notes.before),
            el("a", words("Case file"), href=f"/case/{self.key}/case.toml", class_="button", download=True),
        )

    async def _note(self, event: GenericEventArguments) -> None:
        told: dict[str, Any] = event.args
        await self.take(str(told.get("what")), str(told.get("kind", "")), told.get("values") or {}, told.get("at"))

    async def take(self, what: str, kind: str, values: Mapping[str, Any], at: Any = None) -> None:
        """Change the notes; what cannot be is told beside its form in one line, and nothing changes."""
        try:
            made = self.changed(what, kind, values, at)
        except CaseError as error:
            self.refuse(kind, self.prefs.words(said(error)))
            return
        except (KeyError, ValueError, TypeError):
            return
        await self.put(made, kind if what == "add" else "")

    def changed(self, what: str, kind: str, values: Mapping[str, Any], at: Any) -> Notes:
        """The notes after a change; raises CaseError, KeyError, ValueError."""
        match what:
            case "add":
                return self.notes.with_row(kind, values)
            case "drop":
                return self.notes.without_row(kind, int(at))
            case "bath":
                return self.notes.with_bath(str(at), values.get("value"))
            case "age":
                return self.notes.with_age(values.get("value"))
            case "length":
                record = self.notes.case.record(self.notes.case.canals[self.index].name)
                if record is None or not record.all_soundings:
                    return self.notes
                return self.notes.with_length(combine(record.all_soundings, self.notes.case.tooth, record.age))
            case _:
                raise KeyError(what)

    async def put(self, made: Notes, cleared: str = "") -> None:
        """Keep the notes, lay the case on the shelf, let the address follow, then show what they come to: whoever sees a note and loads
        the page anew finds it there."""
        try:
            old, self.key = self.key, self.office.put(made.case, instead_of=self.key)
        except CaseGone:
            ui.navigate.reload()
            return
        self.notes = made
        told = json.dumps([old, self.key, cleared])
        with suppress(TimeoutError):  # a window that went away shows nothing
            await self.client.run_javascript(f"window.canalwright?.noted?.(...{told})", timeout=MOVED)
        await self.refresh()

    async def _undo(self) -> None:
        if self.notes.before:
            await self.put(self.notes.undone())

    def refuse(self, kind: str, told: str) -> None:
        """Say beside a form what is wrong with what stands in it."""
        self.client.run_javascript(f"window.canalwright?.refused?.({json.dumps(kind)}, {json.dumps(told)})")
