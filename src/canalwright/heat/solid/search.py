"""Longest safe activation and shortest safe pause in this root, found by search on the model itself, not from a table."""

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from canalwright.heat.injury import RISE_LIMIT
from canalwright.heat.materials import Materials, Surroundings
from canalwright.heat.search import AFTERMATH, last_safe
from canalwright.heat.solid.simulation import simulate
from canalwright.heat.solid.space import Array
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
        tried, until = _longer(protocol, act, heat, seconds)
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


def rise_by_activation(
    solid: Solid, protocol: Protocol, act: int, seconds: Sequence[float], materials: Materials | None = None,
    voxels: Voxels | None = None,
) -> tuple[Array, Array]:  # fmt: skip
    """Greatest rise [K] up to 15 s after `protocol.acts[act]`, a `Heat` (ValueError), lasts `seconds`, several runs at once; (k,), (k,).

    The first of both is 0 s, or rather a tenth of one: what the rest of the protocol does.
    """
    heat = protocol.acts[act]
    if not isinstance(heat, Heat):
        raise ValueError(f"act {act} is a {type(heat).__name__}: only a Heat has an activation to search")
    tried = [_longer(protocol, act, heat, s) for s in (0.1, *seconds)]
    return np.array([0.0, *seconds]), _rises(solid, tried, materials, voxels)


def rise_by_pause(
    solid: Solid, protocol: Protocol, act: int, seconds: Sequence[float], materials: Materials | None = None,
    voxels: Voxels | None = None,
) -> tuple[Array, Array]:  # fmt: skip
    """Greatest rise [K] of the whole protocol when `protocol.acts[act]`, a `Pause` (ValueError), lasts `seconds`; (k,), (k,)."""
    pause = protocol.acts[act]
    if not isinstance(pause, Pause):
        raise ValueError(f"act {act} is a {type(pause).__name__}: only a Pause has a length to search")
    tried = [_with(protocol, act, replace(pause, seconds=s))[0] for s in seconds]
    return np.asarray(seconds, float), _rises(solid, [(p, p.seconds) for p in tried], materials, voxels)


def _longer(protocol: Protocol, act: int, heat: Heat, seconds: float) -> tuple[Protocol, float]:
    """The protocol with that activation, and until when to follow it."""
    tried, end = _with(protocol, act, replace(heat, seconds=seconds, plunge=min(heat.plunge, seconds)))
    return tried, min(end + AFTERMATH, max(tried.seconds, end))


def _rises(
    solid: Solid, tried: Sequence[tuple[Protocol, float]], materials: Materials | None, voxels: Voxels | None
) -> Array:
    """Rises of several protocols, one to a core."""
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return np.array(list(pool.map(lambda p: _rise(solid, p[0], p[1], materials, None, voxels), tried)))


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
        until=max(until, 1e-3), every=1e9, wide=False,
    )  # fmt: skip
    return story.surface_rise


def deepest(protocol: Protocol) -> tuple[int | None, int | None]:
    """Indices of the activation that goes deepest, and of the last pause before it; None where there is none."""
    heats = [i for i, a in enumerate(protocol.acts) if isinstance(a, Heat)]
    act = min(heats, key=lambda i: getattr(protocol.acts[i], "stop", 0.0), default=None)
    pauses = [i for i, a in enumerate(protocol.acts[:act]) if isinstance(a, Pause)] if act is not None else []
    return act, pauses[-1] if pauses else None
