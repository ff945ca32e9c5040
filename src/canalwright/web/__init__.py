"""The page: a thin shell on this machine alone. It reads, calls and shows; no arithmetic.

    serve(case, tray, place, show, store)

Follow a change of a control: `pages.plan` hears it, `latest.Refiner` asks `bench.Bench` for a preview and then the whole plan, `markup`
makes HTML of it. What was chosen stands in the address (`choosing`), open cases on the `shelf`. `film` is what the player plays.
"""

from canalwright.web.serve import serve

__all__ = ["serve"]
