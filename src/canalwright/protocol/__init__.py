"""The timed list of acts that a filling is made of.

Depths are stations `z` (mm from the terminus) of the instrument's tip; times s; temperatures
deg C; forces N. A `Protocol` is what the planner writes, the heat and compaction models run and the
chair mode shows. Acts follow each other without overlap, in the order of the list.
"""

from canalwright.protocol.acts import Act, Bite, Heat, Inject, Pause, Place, Press, Protocol, Sear

__all__ = ["Act", "Bite", "Heat", "Inject", "Pause", "Place", "Press", "Protocol", "Sear"]
