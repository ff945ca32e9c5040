"""Work of seconds to minutes in processes of its own: it tells how far it is, can be cancelled, and leaves no memory behind.

A process that has finished its work waits for the next one; one that is cancelled is ended, whatever it is doing. Measuring yields to
everything else, so that slices come while it runs; reading does not, since then there is nothing else to look at. Plans, stories
and moving pictures are made here too.
"""

import contextlib
import logging
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any

from canalwright.imaging import ImagingError
from canalwright.planning import PlanError

log = logging.getLogger(__name__)
Told = Callable[[str, float | None], None]
FAULT = "a fault in the program: this could not be done; what was there before is unchanged"
AT_ONCE = 2


class Work:
    """One piece of work: `state` is waiting, running, done, failed or cancelled; `told` and `share` (0 to 1, or None) say how far it is.

    `refused` where `error` is an answer to what was asked, not a fault of the program.
    """

    def __init__(self, kind: str, yields: bool, ended: "Callable[[Work], None] | None" = None) -> None:
        self.kind, self.yields, self.state, self.told, self.error = kind, yields, "waiting", "", ""
        self.refused = False
        self._on_end = ended
        self.left: Callable[[], None] | None = None
        self.share: float | None = None
        self.began = time.monotonic()
        self.ended: float | None = None
        self._process: Any = None
        self._lock = threading.Lock()

    @property
    def over(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state in ("done", "failed", "cancelled")

    @property
    def seconds(self) -> float:
        """How long it has taken so far."""
        return (self.ended or time.monotonic()) - self.began

    def cancel(self) -> None:
        """End it; what it has not handed over is lost."""
        with self._lock:
            if self.over:
                return
            self._end("cancelled")
            if self._process is not None:
                self._process.terminate()

    def _end(self, state: str, error: str = "") -> None:
        self.state, self.error, self.ended = state, error, time.monotonic()
        if self.left is not None:
            self.left()
        if self._on_end is not None:
            self._on_end(self)


class Turns:
    """Who goes next when a place is free: who came first, or with `newest_first` who came last, since that one is being looked at."""

    def __init__(self, places: int, *, newest_first: bool = False) -> None:
        self._free, self._next = places, -1 if newest_first else 0
        self._changed = threading.Condition()
        self._waiting: list[Work] = []

    @contextlib.contextmanager
    def taken(self, work: Work) -> Iterator[None]:
        """A place while the block runs; what is over before its turn does not stand in the way of others."""
        with self._changed:
            self._waiting.append(work)
            self._changed.wait_for(lambda: work.over or (self._free > 0 and self._waiting[self._next] is work))
            self._waiting.remove(work)
            self._free -= 1
        try:
            yield
        finally:
            with self._changed:
                self._free += 1
                self._changed.notify_all()

    def look(self) -> None:
        """Something that waits may be over."""
        with self._changed:
            self._changed.notify_all()


class Hands:
    """Some processes of one server, `at_once` of them at work."""

    def __init__(self, at_once: int = AT_ONCE, *, newest_first: bool = False) -> None:
        self._context = multiprocessing.get_context("spawn")
        self._idle: dict[bool, tuple[Any, Connection]] = {}
        self._lock = threading.Lock()
        self._turns = Turns(at_once, newest_first=newest_first)
        self._closed = False

    def do(
        self,
        kind: str,
        task: Callable[..., Any],
        *arguments: Any,
        done: Callable[[Any], None],
        ended: Callable[[Work], None] | None = None,
        yields: bool = False,
    ) -> Work:
        """Begin `task(told, *arguments)`; `done(result)` is called in a thread when it has succeeded, `ended` however it ended."""
        work = Work(kind, yields, ended)
        work.left = self._turns.look
        threading.Thread(target=self._run, args=(work, task, arguments, done), daemon=True, name=kind).start()
        return work

    def warm(self, *, yields: bool = False) -> None:
        """Have one process ready, so that the first work does not wait for it."""
        with self._lock:
            if yields not in self._idle and not self._closed:
                self._idle[yields] = self._start(yields)

    def close(self) -> None:
        """End the processes that wait; those at work go with the server."""
        with self._lock:
            self._closed = True
            for process, pipe in self._idle.values():
                pipe.close()
                process.terminate()
            self._idle.clear()

    def _start(self, yields: bool) -> tuple[Any, Connection]:
        here, there = self._context.Pipe()
        process = self._context.Process(target=_serve, args=(there, yields), daemon=True)
        process.start()
        there.close()
        return process, here

    def _run(
        self, work: Work, task: Callable[..., Any], arguments: tuple[Any, ...], done: Callable[[Any], None]
    ) -> None:
        with self._turns.taken(work):
            if work.over:
                return
            with self._lock:
                ready = work.yields in self._idle
                process, pipe = self._idle.pop(work.yields) if ready else self._start(work.yields)
            with work._lock:
                if work.over:
                    self._put_back(work.yields, process, pipe, again=True)
                    return
                work._process, work.state = process, "running"
            lives = True
            try:
                pipe.send((task, arguments))
                self._follow(work, pipe, done)
            except (EOFError, OSError):  # it is dying, though it may still count as alive
                lives = False
                if not work.over:
                    work._end("failed", FAULT)
            lives = lives and work.state in ("done", "failed") and process.is_alive()
            self._put_back(work.yields, process, pipe, again=lives)

    def _follow(self, work: Work, pipe: Connection, done: Callable[[Any], None]) -> None:
        while True:
            kind, *content = pipe.recv()
            if kind == "told":
                work.told, work.share = content
                continue
            with work._lock:
                if work.over:
                    return
                work._process = None
            if kind == "done":
                try:
                    done(content[0])
                except Exception:
                    log.exception("what was done could not be taken in")
                    work._end("failed", FAULT)
                else:
                    work._end("done")
            else:
                if kind == "broken":
                    log.error("%s", content[0])
                work.refused = kind == "refused"
                work._end("failed", content[0] if work.refused else FAULT)
            return

    def _put_back(self, yields: bool, process: Any, pipe: Connection, *, again: bool) -> None:
        with self._lock:
            if again and yields not in self._idle and not self._closed:
                self._idle[yields] = process, pipe
                return
        pipe.close()
        process.terminate()
        process.join(5)


def _serve(pipe: Connection, yields: bool) -> None:
    """A process: takes work, tells, answers."""
    leave_with_parent()
    if yields and hasattr(os, "nice"):
        os.nice(10)
    with contextlib.suppress(EOFError, OSError):
        while True:
            task, arguments = pipe.recv()
            sending = threading.Lock()

            def send(*message: Any, lock: threading.Lock = sending) -> None:
                with lock:
                    pipe.send(message)

            try:
                send("done", task(lambda text, share: send("told", text, share), *arguments))
            except (ImagingError, PlanError) as error:
                send("refused", str(error))
            except Exception:
                send("broken", traceback.format_exc())


def leave_with_parent() -> None:
    """A process of the page: deaf to the keyboard, gone when the page is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_with, args=(parent.sentinel,), daemon=True).start()


def _leave_with(sentinel: int) -> None:
    multiprocessing.connection.wait([sentinel])
    os._exit(0)
