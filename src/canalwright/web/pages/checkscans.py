"""Check the filling of one canal on two scans, before and after: read behind the page, stretch by stretch, and kept like any check."""

import asyncio
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

from fastapi import Request
from nicegui import background_tasks, ui
from nicegui.events import GenericEventArguments

from canalwright.assessment import compare, restoration
from canalwright.assessment.criteria import BANDS
from canalwright.casefile import Case
from canalwright.imaging.errors import ScanError
from canalwright.planning import Plan, PlanError
from canalwright.web.atchair import done_at_chair
from canalwright.web.checks import Check
from canalwright.web.choosing import from_query
from canalwright.web.hands import Work
from canalwright.web.markup import check, checkpost, checkscans, waiting
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.office import Office
from canalwright.web.pages.frame import frame, hear, html, opened
from canalwright.web.prefs import Prefs
from canalwright.web.reader import reader
from canalwright.web.scan import filled
from canalwright.web.scan.filled import Filled
from canalwright.web.scan.store import OpenScan
from canalwright.web.scan.uploads import plain_name

LOOK = 0.3
"""Seconds between two looks at work that goes on."""


def register(office: Office) -> None:
    """`/case/<key>/<canal>/checkscans`."""

    @ui.page("/case/{key}/{index}/checkscans")
    async def checked(request: Request, key: str, index: int) -> None:
        if (found := opened(office, key, index)) is None:
            return
        prefs, case = found
        view = ScanCheckView(office, prefs, case, key, index, dict(parse_qs(request.url.query)))
        view.build()


@dataclass
class ScanCheckView:
    """One window on one check."""

    office: Office
    prefs: Prefs
    case: Case
    key: str
    index: int
    query: dict[str, list[str]]
    work: Work | None = None
    reads: bool = False
    stopped: bool = False
    said: str = ""

    def build(self) -> None:
        """Lay the page out."""
        words = self.prefs.words
        scans = self.office.scans
        self.choices = from_query(self.query, self.office.tray)
        listed = [(s.key, s.name) for s in scans.listed(reader()) if s.phase in ("ready", "reading")]
        head: dict[str, Any] = {"office": self.office, "case": self.case, "key": self.key, "index": self.index}
        shell = frame(
            self.prefs, words("Check, two scans"), "checkscans", "grid", **head, stage="checkscans", kind="check"
        )
        with shell, ui.element("div").classes("flow"):
            self._part("scans", words("Two scans"), checkscans.form(words, listed, paths=scans.paths))
            self.state = html(Safe(""), marks="aria-live=polite")
            self.wrong = html(Safe(""), marks="aria-live=assertive")
            self.grade = self._part("grade", words("What came of it"))
            self.numbers, self.stations = html(Safe("")), html(Safe(""))
            self.portals = self._part("portals", words("Side branches"))
            self.unseen = html(Safe(""))
            self.against = self._part("against", words("Against the plan"))
            self.post = self._part("post", words("Restoration"))
            self.keep = html(Safe(""), kind="downloads")
        ui.add_head_html('<link rel="stylesheet" href="/static/ready.css">')
        hear(self, "cw-scans", self._asked)
        hear(self, "cw-cancel", self._cancel)
        self._empty()
        scans.hands.warm()

    def _part(self, ident: str, title: str, content: Safe | None = None) -> ui.html:
        with ui.element("section").classes("part").props(f'aria-labelledby="h-{ident}" id="{ident}"'):
            html(el("h2", title, id=f"h-{ident}"))
            if content:
                html(content)
            return html(Safe(""))

    def _empty(self) -> None:
        self.grade.content = el("p", self.prefs.words("Nothing read yet."), class_="quiet")
        for place in (self.numbers, self.stations, self.portals, self.unseen, self.against, self.post, self.keep):
            place.content = Safe("")

    def _asked(self, event: GenericEventArguments) -> None:
        if not self.reads:
            self.reads = True  # at once: a second press while scans are opened begins nothing more
            said = {str(k): str(v)[:1000].strip() for k, v in dict(event.args or {}).items()}
            background_tasks.create(self._read(said), name="check of two scans")

    def _cancel(self) -> None:
        self.stopped = True
        if self.work is not None:
            self.work.cancel()

    async def _read(self, said: dict[str, str]) -> None:
        try:
            await self._reading(said)
        finally:
            self.reads = False

    async def _reading(self, said: dict[str, str]) -> None:
        words = self.prefs.words
        self.stopped, self.work, self.wrong.content = False, None, Safe("")
        self._empty()
        self.said, self.state.content = "", waiting.under_way(words, "")
        try:
            before, after = [await self._scan(said, name) for name in ("before", "after")]
            plan = await self._plan()
            found = None if self.stopped else await self._filled(before, after, said, plan)
        except ScanError as error:
            found, plan = None, None
            self.wrong.content = Safe("") if self.stopped else el("p", words(str(error)), class_="wrong")
        self.state.content = el("p", words("Stopped; nothing was kept."), class_="quiet") if self.stopped else Safe("")
        if found is not None and not self.office.why_gone(self.key):
            self._draw(found, plan)

    async def _scan(self, said: dict[str, str], name: str) -> OpenScan:
        """The scan that was chosen, or the one at a path of this machine, once it is read. Raises ScanError."""
        scans, path = self.office.scans, said.get(f"{name}_path", "").strip("\"'")
        if path and scans.paths:
            whole = Path(path).expanduser()
            if not whole.is_absolute():
                raise ScanError(f"{whole}: give the whole path, from the root of the disk on")
            opened_ = await asyncio.to_thread(scans.receive, plain_name(whole.name), reader())
            await asyncio.to_thread(scans.read, opened_, whole)
        else:
            chosen = scans.get(said.get(name, ""), reader())
            if chosen is None:
                raise ScanError("choose both scans: the one before and the one after the filling")
            opened_ = chosen
        while opened_.phase == "reading" and opened_.work is not None and not self.stopped:
            self._told(opened_.work)
            await asyncio.sleep(LOOK)
            scans.get(opened_.key, reader())
        if opened_.phase != "ready":
            raise ScanError(opened_.error or f"{opened_.name}: not read; open it again")
        return opened_

    async def _plan(self) -> Plan | None:
        try:
            return await self.office.bench.plan(self.case, self.index, self.choices)
        except PlanError:
            return None

    async def _filled(
        self, before: OpenScan, after: OpenScan, said: dict[str, str], plan: Plan | None
    ) -> Filled | None:
        """Read both in a process of its own, and tell how far it is. Raises ScanError."""
        canal, made = self.case.canals[self.index], list[Filled]()
        band = said.get("band", "two")
        self.work = self.office.scans.hands.do(
            "check", filled.read, before.ready(), after.ready(), filled.line_of(canal, before),
            said.get("basis", "cone-beam scan"), self.case.tooth.code, canal.name, plan, band if band in BANDS else "two",
            done=made.append,
        )  # fmt: skip
        while not self.work.over:
            self._told(self.work)
            await asyncio.sleep(LOOK)
        if self.work.state == "failed":
            raise ScanError(self.work.error)
        return made[0] if made else None

    def _told(self, work: Work) -> None:
        words = self.prefs.words
        share = "" if work.share is None else f" {100 * work.share:.0f} %"
        text = words(work.told or "waiting its turn") + share
        if text != self.said:  # the words alone: a button that is drawn anew would lose the press that is on it
            self.said = text
            self.state.client.run_javascript(f"window.canalwright?.progress?.({json.dumps(text)})")

    def _draw(self, read: Filled, plan: Plan | None) -> None:
        words, found = self.prefs.words, read.reading.assessment
        canal = self.case.canals[self.index]
        habits: tuple[tuple[str, float], ...] = ()
        if plan is not None:
            done = done_at_chair(self.office, self.case, self.index, self.choices, plan)
            found = compare.against(found, plan, done)
            habits = compare.learned_from(found, plan, done)
        self.office.checks.put(
            self.key, self.index, Check(found, None, {}, habits, read.labels, read.segmentation, read.scans)
        )
        self.grade.content = check.grade(found, words)
        self.numbers.content = check.numbers(found, words)
        self.stations.content = checkscans.stations(found, words)
        self.portals.content = checkscans.portals(found, words)
        self.unseen.content = check.unseen(found, words)
        self.against.content = check.against(found, words)
        bottom = found.to_terminus.value
        told = restoration.restoration(canal, bottom, filled_top=bottom + found.length_filled.value)
        self.post.content = checkpost.told(told, words)
        ways = check.ways(self.key, self.index, self.choices, words, kept=bool(reader()), labels=True)
        self.keep.content = join(ways, checkscans.segmented(self.key, self.index, words, read.without))
