"""When the server starts and every night while it runs: a backup, where something was recorded since the last; old sessions forgotten."""

import threading
import time
from datetime import datetime, timedelta

from canalwright.records.errors import RecordsError
from canalwright.web.records.erasing import erased_before
from canalwright.web.records.house import House

HOUR = 2
EVERY = timedelta(hours=20)


def back_up(house: House) -> None:
    """Make a backup if one is due; what went wrong stands on the screens until one succeeds."""
    try:
        erased_before(house)
        house.store.backups.make_if_due(EVERY)
        house.trouble = ""
        house.book.forget_old(time.time())
        house.office.radiographs.book.forget_old(time.time())
        house.shelf.forget_old(time.time())
        house.office.begun.forget_old(time.time())
    except (RecordsError, OSError) as error:
        house.trouble = f"No backup could be made: {error}"


def until_night(now: datetime) -> float:
    """Seconds from `now` (local) to the next 02:00, at least one."""
    night = now.replace(hour=HOUR, minute=0, second=0, microsecond=0)
    return max(1.0, ((night if night > now else night + timedelta(days=1)) - now).total_seconds())


class Nightly:
    """A quiet thread that backs up at night until it is stopped."""

    def __init__(self, house: House) -> None:
        self._house, self._stop = house, threading.Event()
        self._thread = threading.Thread(target=self._run, name="nightly", daemon=True)

    def start(self) -> None:
        """Back up now if due, then each night."""
        back_up(self._house)
        self._thread.start()

    def stop(self) -> None:
        """Stop; a backup under way is finished first."""
        self._stop.set()
        self._thread.join(timeout=60)

    def _run(self) -> None:
        while not self._stop.wait(until_night(datetime.now())):
            back_up(self._house)
