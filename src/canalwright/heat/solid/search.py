"""Longest safe activation and shortest safe pause in this root, found by search on the model itself, not from a table."""

from dataclasses import replace

from canalwright.heat.injury import RISE_LIMIT
from canalwright.heat.materials import Materials, Surroundings
from canalwright.heat.search import AFTERMATH, last_safe
from canalwright.heat.solid.simulation import simulate
from canalwright.heat.solid.tissue import Solid
from canalwright.heat.solid.voxels import Voxels
from canalwright.protocol import Act, Heat, Pause, Protocol


def longest_safe_activation(
    solid: Solid, protocol: Protocol, act: int, *, limit: float = RISE_LIMIT, longest: float = 20.0, accuracy: float = 0.1,
    materials: Materials | None = None, surroundings: Surroundings | None = None, voxels: Voxels | None = None,
) -> float:  # fmt: skip
    """Seconds that `protocol.acts[act]`, a `Heat`, may last with a rise of at most `limit` K anywhere on the root surface.

    All else stays as the protocol says, up to 15 s after the act. Between 0 (the limit is passed without it) and `longest`. Raises
    ValueError when the act is no `Heat`.
    """
    heat = protocol.acts[act]
    if not isinstance(heat, Heat):
        raise ValueError(f"act {act} is a {type(heat).__name__}: only a Heat has an activation to search")

    def excess(seconds: float) -> float:
        changed = replace(heat, seconds=seconds, plunge=min(heat.plunge, seconds))
        tried, end = _with(protocol, act, changed)
        until = min(end + AFTERMATH, max(tried.seconds, end))
        return _rise(solid, tried, until, materials, surroundings, voxels) - limit

    return last_safe(excess, accuracy, longest, accuracy)


def shortest_safe_pause(
    solid: Solid, protocol: Protocol, act: int, *, limit: float = RISE_LIMIT, longest: float = 60.0, accuracy: float = 0.5,
    materials: Materials | None = None, surroundings: Surroundings | None = None, voxels: Voxels | None = None,
) -> float:  # fmt: skip
    """Seconds that `protocol.acts[act]`, a `Pause`, must last for the rest of the protocol to stay within `limit` K.

    0: no pause is needed; infinite: even `longest` is not enough. Raises ValueError when the act is no `Pause`.
    """
    pause = protocol.acts[act]
    if not isinstance(pause, Pause):
        raise ValueError(f"act {act} is a {type(pause).__name__}: only a Pause has a length to search")

    def room(seconds: float) -> float:
        tried, _ = _with(protocol, act, replace(pause, seconds=longest - seconds))
        return _rise(solid, tried, tried.seconds, materials, surroundings, voxels) - limit

    if room(0.0) > 0:
        return float("inf")
    if room(longest) <= 0:
        return 0.0
    return longest - last_safe(room, 0.0, longest, accuracy)


def _with(protocol: Protocol, index: int, act: Act) -> tuple[Protocol, float]:
    """The protocol with another act in that place, and when that act ends."""
    tried = Protocol((*protocol.acts[:index], act, *protocol.acts[index + 1 :]))
    return tried, list(tried.timed())[index][1]


def _rise(
    solid: Solid, protocol: Protocol, until: float, materials: Materials | None, surroundings: Surroundings | None,
    voxels: Voxels | None,
) -> float:  # fmt: skip
    story = simulate(
        solid, protocol, materials=materials, surroundings=surroundings, voxels=voxels or Voxels.quick(),
        until=max(until, 1e-3), every=1e9,
    )  # fmt: skip
    return story.surface_rise
