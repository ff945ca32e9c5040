"""Cooling under press: how much of the contraction the plugger can still take up, and how long that needs.

From the start of a press until the next heat (or until all is cool) a piece loses v(start) - v(then). Material follows
from the plugger while the pressure there is at least twice the shear yield (plastic flow of a confined column,
Tresca); under less pressure only p / (2 tau_y) of the loss is made good. What is left at the end is a gap at
the wall. The hold needed is the time by which 90 % of the loss has come, whether or not the pressure
reaches: `reached` says so.

Left out: the slow volume loss of the hours after (J Endod 1997;23:579-82), elastic recovery. Checked against
the volume curve itself and a linear cooling ramp.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.compaction.materials import BODY, WARMTH
from canalwright.compaction.rheology import lag, specific_volume
from canalwright.kernels import compiler
from canalwright.protocol import Inject, Press

njit = compiler("canalwright.compaction")

Array = NDArray[np.float64]
SHARE = 0.9
WORTH = 1e-3  # a loss of less than 0.1 % of volume needs no hold


@dataclass(frozen=True)
class PressStory:
    """One press of the protocol; arrays by draw (d,) or draw and station (d, n).

    `pressure` under the plugger [MPa]; `slipped` share of the time in which material slipped past; `beside` volume
    that rose beside the plugger [mm3]; `loss` contraction still to come at its start (share of volume); `taken_up`
    share of it that the press made good; `hold_needed` s until 90 % of it has come (0 where there is none to
    speak of); `reached`: the pressure could move the
    material there; `binds`: stations (n,) at which the plugger touches dentine.
    """

    act: Press
    start: float
    end: float
    surface: Array
    pressure: Array
    slipped: Array
    beside: Array
    loss: Array
    taken_up: Array
    hold_needed: Array
    reached: NDArray[np.bool_]
    binds: NDArray[np.bool_]

    def hold_at(self, low: float, high: float, z: Array) -> Array:
        """Longest hold needed between two stations that lie under the plugger and are reached, shape (d,), s."""
        inside = (z >= low - 1e-9) & (z <= min(high, self.act.stop) + 1e-9)
        if not inside.any():
            return np.zeros(len(self.pressure))
        held = np.where(self.reached, self.hold_needed, 0.0)
        return np.asarray(held[:, inside].max(1))


@dataclass(frozen=True)
class PortionStory:
    """One portion of the backfill by draw (d,): volume at delivery, its contraction to 37 C, and what is still missing.

    `to_add` [mm3] is the gap left where it lies (bubbles apart), `taken_up` what presses made good of the contraction.
    """

    act: Inject
    volume: Array
    contraction: Array
    taken_up: Array
    to_add: Array


@njit
def hold_needed(time, steps, heat, base, soft, material, last):  # type: ignore[no-untyped-def]
    """Seconds from `steps[0]` until 90 % of the loss has come, and the loss itself, (d, n) each.

    The loss is that until the last of `steps`, when the next heat comes or all has cooled. `heat` (h, m, n); `soft` (d, n)
    at the start; 0 above station `last`.
    """
    draws, stations = soft.shape
    needed = np.zeros((draws, stations))
    losses = np.zeros((draws, stations))
    course = np.empty(len(steps))
    for k in range(draws):
        m = material[k]
        h = np.int64(k) if heat.shape[0] > 1 else 0
        for i in range(last + 1):
            s = soft[k, i]
            for c in range(len(steps)):
                t = base + m[WARMTH] * (heat[h, steps[c], i] - base)
                if c > 0 and t < 62.0:
                    s = lag(s, t, m)
                course[c] = specific_volume(t, s, m)
            loss = course[0] - course[-1]
            losses[k, i] = max(loss, 0.0)
            if loss < WORTH:
                continue
            for c in range(1, len(steps)):
                over = course[0] - course[c] - SHARE * loss
                if over >= 0.0:
                    back = over / max(course[c - 1] - course[c], 1e-12) * (time[steps[c]] - time[steps[c - 1]])
                    needed[k, i] = time[steps[c]] - back - time[steps[0]]
                    break
    return needed, losses


def contraction(temperature: float, material: Array) -> Array:
    """Share of volume lost from molten at `temperature` to the cooled state at 37 C, by draw, shape (d,)."""
    columns = material.T
    frozen = lag(np.ones(len(material)), BODY, columns)
    return np.asarray(
        1.0 - specific_volume(BODY, frozen, columns) / specific_volume(temperature, np.ones(len(material)), columns)
    )
