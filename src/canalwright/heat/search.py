"""The longest activation that keeps the root surface within the limit, found by search."""

from collections.abc import Callable
from dataclasses import replace

from canalwright.anatomy.lumen import Lumen
from canalwright.heat.injury import RISE_LIMIT
from canalwright.heat.layout import PEAK
from canalwright.heat.materials import Materials, Surroundings
from canalwright.heat.resolution import Resolution
from canalwright.heat.simulation import prepare
from canalwright.protocol import Heat, Protocol

AFTERMATH = 15.0
"""The surface is followed for this long after the activation, s: its rise peaks some seconds after the heat."""


def longest_safe_activation(
    lumen: Lumen,
    protocol: Protocol,
    act: int,
    *,
    limit: float = RISE_LIMIT,
    longest: float = 20.0,
    accuracy: float = 0.05,
    materials: Materials | None = None,
    surroundings: Surroundings | None = None,
    resolution: Resolution | None = None,
) -> float:
    """Seconds that `protocol.acts[act]`, a `Heat`, may last with a rise of at most `limit` K at the root surface.

    Everything else stays as the protocol says, up to the act and for 15 s after it. Between 0 (the limit is passed
    without it) and `longest`; to `accuracy` s. Raises ValueError when the act is no `Heat`.
    """
    heat = protocol.acts[act]
    if not isinstance(heat, Heat):
        raise ValueError(f"act {act} is a {type(heat).__name__}: only a Heat has an activation to search")
    grid, around = resolution or Resolution.quick(), surroundings or Surroundings.tissue()

    def excess(seconds: float) -> float:
        plunge = min(heat.plunge, seconds)
        acts = (*protocol.acts[:act], replace(heat, seconds=seconds, plunge=plunge), *protocol.acts[act + 1 :])
        tried = Protocol(acts)
        end = list(tried.timed())[act][1]
        run = prepare(lumen, tried, materials or Materials(), around, grid)
        log = run.go(min(end + AFTERMATH, max(tried.seconds, end)), 1e9, 0, False)
        return float(log.row[PEAK].max()) - limit

    return last_safe(excess, accuracy, longest, accuracy)


def last_safe(excess: Callable[[float], float], low: float, high: float, accuracy: float) -> float:
    """The last place from `low` to `high` at which a growing `excess` is not above 0 (Illinois); 0 where there is none."""
    below, above = excess(low), excess(high)
    if below > 0:
        return 0.0
    if above <= 0:
        return high
    side = 0
    while high - low > accuracy:
        middle = low + (high - low) * min(max(below / (below - above), 0.05), 0.95)
        value = excess(middle)
        if value > 0:
            high, above = middle, value
            below, side = (below / 2, 1) if side == 1 else (below, 1)
        else:
            low, below = middle, value
            above, side = (above / 2, -1) if side == -1 else (above, -1)
    return low
