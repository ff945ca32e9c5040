"""Work of seconds to minutes in processes of its own: it tells how far it is, can be cancelled, and leaves no memory behind.

A process that has finished its work waits for the next one, for some minutes; one that is cancelled is ended, whatever it is doing. One
that ends of itself, for want of memory perhaps, is replaced and the work done again, once; then its reader is told. Measuring yields to
everything else, so that slices come while it runs; reading does not, since then there is nothing else to look at. Plans, stories, heat
runs and moving pictures are made here too.
"""

import contextlib
import logging
import multiprocessing
import threading
import time
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any

from canalwright.web.memory import give_back
from canalwright.web.worker import serve

log = logging.getLogger(__name__)
FAULT = "a fault in the program: this could not be done; what was there before is unchanged"
LOST = "not done: its process ended twice, for want of memory perhaps; close other programs and try again"
MEMORY = "not done: there is not enough memory for it; close other programs and try again"
AT_ONCE = 2
TRIES = 2
REST = 300.0
"""Seconds after which a process that waits for work is ended: what it holds is worth more than the second that a new one takes."""


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

    def fail(self, error: str) -> None:
        """It has failed, unless it is over already."""
        with self._lock:
            if not self.over:
                self._end("failed", error)

    def succeed(self) -> None:
        """It is done, unless it is over already."""
        with self._lock:
            if not self.over:
                self._end("done")

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
    """Some processes of one server, `at_once` of them at work. What a task raises of `refuses` is an answer, any other a fault.

    `loads`: the module that a process loads before it is given anything to do.
    """

    def __init__(
        self,
        at_once: int = AT_ONCE,
        *,
        newest_first: bool = False,
        rest: float = REST,
        refuses: tuple[type[Exception], ...] = (),
        loads: str = "",
    ) -> None:
        self._context, self._rest = multiprocessing.get_context("spawn"), rest
        self._refuses, self._loads = refuses, loads
        self._idle: dict[bool, tuple[Any, Connection]] = {}
        self._timers: dict[bool, threading.Timer] = {}
        self._lock = threading.Lock()
        self._turns = Turns(at_once, newest_first=newest_first)
        self._closed = False

    def do(
        self,
        kind: str,
        task: Callable[..., Any],
        *arguments: Any,
        done: Callable[[Any], None],
        part: Callable[[Any], None] | None = None,
        ended: Callable[[Work], None] | None = None,
        yields: bool = False,
    ) -> Work:
        """Begin `task(teller, *arguments)`; `done(result)` is called in a thread when it has succeeded, `ended` however it ended.

        `part` is called in that thread with each piece that the task hands over before.
        """
        work = Work(kind, yields, ended)
        work.left = self._turns.look
        taken = {"done": done} | ({"part": part} if part is not None else {})
        threading.Thread(target=self._run, args=(work, (task, arguments), taken), daemon=True, name=kind).start()
        return work

    def warm(self, *, yields: bool = False) -> None:
        """Have one process ready, so that the first work does not wait for it."""
        with self._lock:
            if yields not in self._idle and not self._closed:
                self._wait(yields, *self._start(yields))

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
        process = self._context.Process(target=serve, args=(there, yields, self._loads), daemon=True)
        process.start()
        there.close()
        return process, here

    def _wait(self, yields: bool, process: Any, pipe: Connection) -> None:
        """Let a process wait for work, but not for ever; the lock is held."""
        self._idle[yields] = process, pipe
        timer = threading.Timer(self._rest, self._end, (yields, process))
        timer.daemon = True
        timer.start()
        self._timers[yields] = timer

    def _end(self, yields: bool, process: Any) -> None:
        """End a process that has waited long enough."""
        with self._lock:
            if self._idle.get(yields, (None,))[0] is not process:
                return
            _, pipe = self._idle.pop(yields)
        _ended(process, pipe)

    def _take(self, yields: bool) -> tuple[Any, Connection]:
        with self._lock:
            if yields not in self._idle:
                return self._start(yields)
            self._timers.pop(yields).cancel()
            return self._idle.pop(yields)

    def _run(
        self, work: Work, asked: tuple[Callable[..., Any], tuple[Any, ...]], taken: dict[str, Callable[[Any], None]]
    ) -> None:
        with self._turns.taken(work):
            self._try(work, asked, taken)
        give_back()

    def _try(
        self, work: Work, asked: tuple[Callable[..., Any], tuple[Any, ...]], taken: dict[str, Callable[[Any], None]]
    ) -> None:
        for _ in range(TRIES):
            if work.over:
                return
            process, pipe = self._take(work.yields)
            with work._lock:
                over = work.over
                if not over:
                    work._process, work.state = process, "running"
            lives = over or self._done(work, asked, taken, pipe)
            self._put_back(work.yields, process, pipe, again=lives and process.is_alive())
            if self._closed:
                work.cancel()
            if work.over:
                return
            log.warning("%s: its process has ended (%s)", work.kind, process.exitcode)
        work.fail(LOST)

    def _done(
        self,
        work: Work,
        asked: tuple[Callable[..., Any], tuple[Any, ...]],
        taken: dict[str, Callable[[Any], None]],
        pipe: Connection,
    ) -> bool:
        """Have it done; whether its process can be used again. Where the process was lost the work is not over."""
        try:
            pipe.send((*asked, self._refuses))
            while (said := pipe.recv())[0] in ("told", "part"):
                if said[0] == "told":
                    work.told, work.share = said[1:]
                elif not work.over:
                    taken["part"](said[1])
        except (EOFError, OSError):  # it is dying, though it may still count as alive
            return False
        except Exception:
            log.exception("what was asked could not be sent, or what was done not be taken in")
            work.fail(FAULT)
            return False
        with work._lock:
            if work.over:
                return False
            work._process = None
        how, content = said
        if how == "done":
            try:
                taken["done"](content)
            except Exception:
                log.exception("what was done could not be taken in")
                work.fail(FAULT)
            else:
                work.succeed()
        else:
            if how == "broken":
                log.error("%s", content)
            work.refused = how == "refused"
            work.fail({"broken": FAULT, "short": MEMORY}.get(how, content))
        return True

    def _put_back(self, yields: bool, process: Any, pipe: Connection, *, again: bool) -> None:
        with self._lock:
            if again and yields not in self._idle and not self._closed:
                self._wait(yields, process, pipe)
                return
        _ended(process, pipe)


def _ended(process: Any, pipe: Connection) -> None:
    pipe.close()
    process.terminate()
    process.join(5)
