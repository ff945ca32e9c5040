"""Labels that never overlap: how wide a text is, and where a column of labels goes.

Widths are upper bounds for common fonts: the advance widths of a metric-compatible sans serif (1/1000 em),
with an allowance of 8 %.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

_ALLOWANCE, _BOLD, _OTHER, _WIDE = 1.08, 1.05, 0.75, 1.0
_WIDTHS = (
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556, 556, 556, 556, 556,
    556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833,
    722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556,
    556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334,
    260, 334, 584,
)  # fmt: skip


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """An upper bound of the width of `text` set at `size`, in the unit of `size`."""
    ems = sum(
        _WIDTHS[ord(c) - 32] / 1000 if 32 <= ord(c) < 127 else (_WIDE if ord(c) > 0x2E80 else _OTHER) for c in text
    )
    return ems * size * _ALLOWANCE * (_BOLD if bold else 1.0)


def shortened(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """`text`, cut with an ellipsis when it is wider than `room`."""
    if text_width(text, size, bold=bold) <= room:
        return text
    while text and text_width(text + "…", size, bold=bold) > room:
        text = text[:-1]
    return text.rstrip() + "…"


def spread(wanted: Sequence[float], heights: Sequence[float], low: float, high: float) -> NDArray[np.float64]:
    """Centres of labels, as near to `wanted` as can be without overlap, in the same order down the column.

    `wanted` must be sorted. Least squares under the constraint that label i ends before label i+1 begins
    (isotonic regression by pooling neighbours), held within `low` to `high`. Raises ValueError when the
    labels together are taller than the room.
    """
    if not wanted:
        return np.zeros(0)
    tall = np.asarray(heights, dtype=float)
    if tall.sum() > high - low + 1e-9:
        raise ValueError(f"labels {tall.sum():.2f} tall do not fit into {high - low:.2f}")
    offsets = np.concatenate([[0.0], np.cumsum((tall[:-1] + tall[1:]) / 2)])
    pools: list[tuple[float, int]] = []
    for target in np.asarray(wanted, dtype=float) - offsets:
        mean, count = float(target), 1
        while pools and pools[-1][0] > mean:
            above, number = pools.pop()
            mean, count = (above * number + mean * count) / (number + count), number + count
        pools.append((mean, count))
    shifts = np.repeat([mean for mean, _ in pools], [count for _, count in pools])
    kept: NDArray[np.float64] = np.clip(shifts, low + tall[0] / 2, high - tall[-1] / 2 - offsets[-1])
    return offsets + kept
