"""How many turns a file lives in a curve, with an interval as wide as the trade's knowledge of it.

Equation. Strain-life in its low-cycle form (Coffin 1954, Trans ASME 76:931-950; Manson 1953, NACA TN 2933): N = N0 (e0 / e)^2, e the
surface strain d / (2 R) where it is greatest. N0 = 500 turns at e0 = 0.055 (a superelastic file 0.55 mm thick in a curve of 5 mm, from
memory) times a factor for the alloy; a heat-treated one lasts 3 to 8 times as long (Shen et al. 2011, J Endod 37:997-1001, abstract).
Spread: tests scatter by up to 30 % in one set-up, but one instrument's life differed 123-fold between set-ups
(Hülsmann, Donnermeyer & Schäfer 2019, Int Endod J 52:1427-1445): 5-95 % is taken as 11-fold either way, so that the
whole band is 123-fold.

Turns count, not seconds: speed does not change N (Pruett, Clement & Carnes 1997, J Endod 23:77-85). Left out: torsion, the cross-section,
temperature (up to 5-fold), sterilising, damage that a look under magnification would show. It is never one number.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.instruments import File
from canalwright.quantities import Origin, Quantity, Source
from canalwright.shaping.envelope import envelope
from canalwright.shaping.strain import WINDOW, curvature

Array = NDArray[np.float64]
Z90 = 1.6448536269514722
TURNS, STRAIN, EXPONENT = 500.0, 0.055, 2.0
SPREAD = np.log(123.0) / 2 / Z90
"""Standard deviation of the natural logarithm of a life."""
ALLOYS: dict[str, float] = {"superelastic": 1.0, "heat-treated": 5.0}
"""Factor on the life; a steel file is not turned in a curve, so it has none."""
LEAST_STRAIN = 0.004
"""Below this strain a file does not tire in any use that counts here."""
SECONDS, SPEED = 15.0, 300.0
"""Time in the curve of one canal [s] and turns per minute that a count of uses supposes (common practice)."""
_SOURCE = Source(Origin.AVERAGE, "strain-life law, spread between published set-ups")


@dataclass(frozen=True)
class Life:
    """Life of one file in one canal: greatest strain and its level z [mm], turns to failure, canals like this one.

    `left` is the number of such canals still in it at the low end of the interval, after `uses`; `discard` where none
    is, or the tray's own count is full. `words` says so.
    """

    strain: float
    level: float
    turns: Quantity
    canals: Quantity
    uses: int
    left: int
    discard: bool
    words: str


def turns_to_failure(strain: float, alloy: str = "superelastic") -> Quantity:
    """Turns until a file breaks at a surface strain, with the 5-95 % interval between set-ups.

    Infinite under `LEAST_STRAIN`. Raises ValueError for a negative strain or an alloy without data.
    """
    if alloy not in ALLOYS:
        raise ValueError(f"no fatigue data for a {alloy!r} file; there are {', '.join(ALLOYS)}")
    if strain < 0 or not np.isfinite(strain):
        raise ValueError(f"strain must be 0 or more, not {strain}")
    if strain < LEAST_STRAIN:
        return Quantity(np.inf, np.inf, np.inf, "turns", _SOURCE)
    value = float(TURNS * ALLOYS[alloy] * (STRAIN / strain) ** EXPONENT)
    factor = float(np.exp(Z90 * SPREAD))
    return Quantity(value, value / factor, value * factor, "turns", _SOURCE, 1.0, "set-up of the test")


def life(canal: Canal, file: File | None = None, *, seconds: float = SECONDS, speed: float = SPEED) -> Life:
    """Life of a file (the finishing file without one) taken to the end of the preparation of this canal."""
    file = file or canal.file
    if seconds <= 0 or speed <= 0:
        raise ValueError("time in the curve and speed must be more than 0")
    native = canal.native
    bent = envelope(file, native.z, canal.end) * curvature(native.z, native.centre, WINDOW) / 2
    at = int(np.argmax(bent))
    strain, level = float(bent[at]), float(native.z[at])
    turns = turns_to_failure(strain, file.alloy)
    each = speed / 60 * seconds
    canals = Quantity(turns.value / each, turns.low / each, turns.high / each, "canals", _SOURCE, 1.0, turns.leading)
    uses = file.uses or 0
    left = 99 if not np.isfinite(canals.low) else max(int(canals.low) - uses, 0)
    full = file.most_uses is not None and uses >= file.most_uses
    if full:
        words = f"used {uses} times of {file.most_uses} that the tray allows: discard it"
    elif left == 0:
        words = (
            f"strain {100 * strain:.1f} % at {canal.depth(level):.1f} mm: after {uses} uses it may not outlast another "
            "canal like this one; take a new file and use it once"
        )
    else:
        words = f"strain {100 * strain:.1f} %: at the low end {left if left < 99 else 'many'} more canals like this one"
    return Life(strain, level, turns, canals, uses, left, full or left == 0, words)
