"""The acts, and the protocol that lists them."""

from collections.abc import Iterator
from dataclasses import dataclass

from canalwright.instruments import Carrier, Cone, Needle, Plugger


@dataclass(frozen=True)
class Place:
    """The cone, coated with sealer, is placed: its tip at `tip`; gutta-percha fills the lumen above it."""

    cone: Cone
    tip: float
    seconds: float = 20.0


@dataclass(frozen=True)
class Sear:
    """The hot carrier cuts the cone off at `level` (z of the orifice, say); what lies above is gone."""

    carrier: Carrier
    level: float
    temperature: float
    seconds: float = 1.0


@dataclass(frozen=True)
class Heat:
    """The carrier, switched on, plunges from the top of the filling to `stop`, then is switched off.

    `seconds` is the activation, plunge included; `plunge` the part of it spent moving. Afterwards
    the carrier dwells switched off for `dwell` seconds (a separation burst of `burst` seconds may follow
    when it is withdrawn, in the act `Bite`).
    """

    carrier: Carrier
    stop: float
    temperature: float
    seconds: float
    plunge: float
    dwell: float = 1.0


@dataclass(frozen=True)
class Bite:
    """The carrier is withdrawn with the gutta-percha that clings to it: the filling now ends at `level`."""

    level: float
    burst: float = 0.0
    seconds: float = 1.0


TOUCH = 0.25
"""How far above a surface a plugger's stop may lie, mm, and still count as on it: as well as a rubber stop is set (common practice)."""


@dataclass(frozen=True)
class Press:
    """A cold plugger presses with `force` on the softened surface, its tip at `stop`, for `seconds`."""

    plugger: Plugger
    stop: float
    force: float
    seconds: float


@dataclass(frozen=True)
class Inject:
    """A backfill portion from `bottom` to `top` is injected at `temperature` through a needle."""

    needle: Needle
    bottom: float
    top: float
    temperature: float
    seconds: float


@dataclass(frozen=True)
class Pause:
    """Nothing touches the filling for `seconds`: changing instruments, cooling."""

    seconds: float


Act = Place | Sear | Heat | Bite | Press | Inject | Pause
"""Anything that is done to a filling."""


@dataclass(frozen=True)
class Protocol:
    """Acts in the order in which they are done."""

    acts: tuple[Act, ...]

    def timed(self) -> Iterator[tuple[float, float, Act]]:
        """Each act with its start and end, s."""
        clock = 0.0
        for act in self.acts:
            length = act.seconds + (act.dwell if isinstance(act, Heat) else 0.0)
            yield clock, clock + length, act
            clock += length

    @property
    def seconds(self) -> float:
        """Length of the whole protocol, s."""
        return max((end for _, end, _ in self.timed()), default=0.0)
