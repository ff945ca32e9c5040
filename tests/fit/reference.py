"""Random curves, and the minimax pose by a general-purpose linear-programming solver."""

import numpy as np
from scipy.optimize import linprog


def bent(rng: np.random.Generator) -> np.ndarray:
    """A centreline curved in two planes, stations 0.1 mm apart along it (n, 3)."""
    fine = np.linspace(0, 13, 2601)
    size = rng.uniform(0.0, 0.12, 2)
    tilt = [np.interp(fine, np.linspace(0, 13, 5), np.r_[rng.normal(0, 3 * s, 4), 0.0]) for s in size]
    direction = np.column_stack([tilt[0], tilt[1], np.ones_like(fine)])
    direction /= np.linalg.norm(direction, axis=1)[:, None]
    path = np.vstack([np.zeros(3), np.cumsum((direction[1:] + direction[:-1]) / 2 * 0.005, axis=0)])
    return path[::20]


def fits_by_linear_programme(p, s, radius):
    """min t: u.(p_i - a - b s_i) - radius_i <= t for 72 directions u round the clock; a pose, and whether t <= 0."""
    angles = np.arange(72) * 2 * np.pi / 72
    u = np.column_stack([np.cos(angles), np.sin(angles)])
    k, n = len(u), len(s)
    rows = np.column_stack([
        np.tile(-u[:, 0], n), np.tile(-u[:, 1], n), -np.repeat(s, k) * np.tile(u[:, 0], n),
        -np.repeat(s, k) * np.tile(u[:, 1], n), -np.ones(n * k),
    ])  # fmt: skip
    right = np.repeat(radius, k) - (p @ u.T).ravel()
    result = linprog([0, 0, 0, 0, 1], A_ub=rows, b_ub=right, bounds=[(None, None)] * 5, method="highs")
    return result.x[4], result.x[:4]


def pose_at(tip_index, minor, centre, profile):
    """Margin and pose of the instrument with its tip at a station, in the frame of its chord."""
    c = centre[tip_index:] - centre[tip_index]
    e = c[-1] / np.linalg.norm(c[-1])
    u = np.cross(e, [0.3, 0.9, 0.1])
    u /= np.linalg.norm(u)
    v = np.cross(e, u)
    s = c @ e
    p = np.column_stack([c @ u, c @ v])
    radius = (minor[tip_index:] - profile(np.maximum(s, 0))) / 2
    margin, x = fits_by_linear_programme(p[::2], s[::2], radius[::2])
    return margin, (c, e, u, v, x)
