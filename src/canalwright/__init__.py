"""canalwright: from one canal's own measurements to a plan, a simulated downpack, a card and a record.

    canal = Canal.from_measurements(tooth=46, canal="mesiobuccal", working_length=20.5, finishing_file=(35, 0.06))
    plan = canalwright.plan(canal, tray)
    story = canalwright.simulate(plan)
    report.card(plan, story, "card.pdf")

The names below load their rooms when they are first used, so that importing the package costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from canalwright.anatomy import Canal
    from canalwright.casefile import demo_case, generic_tray
    from canalwright.planning import Choices, simulate
    from canalwright.planning import plan as plan

_WHERE = {
    "Canal": "canalwright.anatomy",
    "Choices": "canalwright.planning",
    "demo_case": "canalwright.casefile",
    "generic_tray": "canalwright.casefile",
    "plan": "canalwright.planning",
    "simulate": "canalwright.planning",
}
_ROOMS = (
    "anatomy",
    "casefile",
    "compaction",
    "fit",
    "heat",
    "imaging",
    "instruments",
    "irrigation",
    "planning",
    "quantities",
    "readiness",
    "report",
    "shaping",
)

__all__ = ["Canal", "Choices", "demo_case", "generic_tray", "plan", "simulate"]


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    if name in _ROOMS:
        return import_module(f"canalwright.{name}")
    raise AttributeError(f"module 'canalwright' has no attribute {name!r}")
