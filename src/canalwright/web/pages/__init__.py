"""The pages and where they live."""

from canalwright.web.office import Office
from canalwright.web.pages import (
    after,
    chair,
    check,
    checkscans,
    compare,
    evidence,
    filmpage,
    heat,
    lost,
    measure,
    plan,
    play,
    ready,
    scan,
    solid,
    start,
)


def register(office: Office) -> None:
    """Make every page known to the framework."""
    start.register(office)
    plan.register(office)
    play.register(office)
    heat.register(office)
    measure.register(office)
    ready.register(office)
    scan.register(office)
    solid.register(office)
    filmpage.register(office)
    chair.register(office)
    check.register(office)
    checkscans.register(office)
    compare.register(office)
    evidence.register(office)
    after.register(office)
    lost.register()
