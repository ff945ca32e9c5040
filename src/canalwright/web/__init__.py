"""The page: a thin shell on this machine alone. It reads, calls and shows; no arithmetic.

    serve(case, tray, place, show, store)

Follow a change of a control: `pages.plan` hears it, `latest.Refiner` asks `bench.Bench` for a preview and then the whole plan, `markup`
makes HTML of it. What was chosen stands in the address (`choosing`), open cases on the `shelf`. `film` is what the player plays.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from canalwright.casefile import Case
    from canalwright.instruments import Tray
    from canalwright.records import Store
    from canalwright.web.place import Place


def serve(case: "Case | None", tray: "Tray", place: "Place", show: bool, store: "Store | None" = None) -> None:
    """Serve the page at `place` until it is stopped; `case` opens with it, `show` opens the browser too.

    With a `store` of records everybody signs in first, and `case` is left out: what is open belongs to a reader. What serves is loaded here
    and not with this room, since every process that works for the page loads the room too. Raises PlaceError where it cannot listen.
    """
    from canalwright.web.server import serve as run

    run(case, tray, place, show, store)


__all__ = ["serve"]
