"""`Workings`: what a plan was made from."""

from dataclasses import dataclass

from canalwright.anatomy.canal import Canal
from canalwright.planning.doubt import Draws
from canalwright.planning.fitting import Tools
from canalwright.planning.moved import Moved
from canalwright.planning.thermal import Thermal


@dataclass(frozen=True)
class Workings:
    """What a plan was made from, kept to answer a what-if at once: the canal before the what-if, draws, tools, models' answers."""

    canal: Canal
    draws: Draws
    tools: Tools
    result: Thermal
    pressed: Moved
