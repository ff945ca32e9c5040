"""What is known of a canal while it is traced: its line, the tube fitted to it, the root's surface, its exit, step by step.

Each step gives a new state; none changes an old one.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from canalwright.imaging.refusal import refusal
from canalwright.imaging.tracing.apart import Apart
from canalwright.imaging.tracing.barrier import Barrier
from canalwright.imaging.tracing.block import Block
from canalwright.imaging.tracing.blurred_ellipse import share
from canalwright.imaging.tracing.ending import Ending
from canalwright.imaging.tracing.frame import Frame, on_map
from canalwright.imaging.tracing.noise import correlation, quiet
from canalwright.imaging.tracing.path import Tones, second_line
from canalwright.imaging.tracing.profile_fit import Fit, Samples, Start, fit, residual
from canalwright.imaging.tracing.quality import Seen
from canalwright.imaging.tracing.terminus import Exit, find_exit
from canalwright.imaging.tracing.wall import DIRECTIONS, REACH, Rays, Surface, coarse, fit_surface

Array = NDArray[np.float64]
BEYOND = 1.5
"""How far past the given terminus the canal's exit is looked for, mm."""
GUESSED_SPREAD, GUESSED_SPREAD_ERROR = 0.8, 0.4
"""Spread before it was measured, in voxels, and the standard deviation of its logarithm."""
NEAR, WIDEST = 1.6, 2.5
"""How far from the line a canal's width is first guessed, and fitted at most, mm."""
CORRELATED = 4.0
"""How many voxels the noise of one counts for before it was measured."""
SURFACE_STEP = 0.2
STRAIGHT_FROM, SEEN_FROM, FITTED_FROM = 0.5, 3.0, 2.0
"""Below this height over the given terminus the line goes straight on, mm, and once the exit is known below this many spreads over it,
if that is lower: nearer to the root's end the tube is not seen well. The last: voxels nearer to the exit than this, in spreads, are left
out of the second fit.
"""
SOFTER = 1.5
"""Doubt of soft tissue's grey outside the root over that of the lumen's (chosen as the wall's other errors)."""


@dataclass(frozen=True)
class State:
    """What is known so far: the line, the terminus' station on it, greys, and the fit when there is one."""

    block: Block
    frame: Frame
    tones: Tones
    at: float
    correlation: float
    barriers: tuple[Barrier, ...] = ()
    fitted: Fit | None = None
    grain: float = 1.0
    """The same where the fit leaves no more than noise: what makes a canal stand out or not."""
    painted: bool = False
    """The greys are a mask's steps: what a fit leaves over is their rounding, no noise to be learned from."""
    apart: Apart | None = None
    """Other canals near by."""
    lowest: float = np.inf
    """Lowest station at which the tube's centre is believed, where the exit was known when it was fitted."""

    @property
    def straight(self) -> float:
        """Station below which the line goes straight on."""
        return min(self.at + STRAIGHT_FROM, self.lowest)

    @property
    def _ending(self) -> Ending:
        """The tube as the search for the exit sees it."""
        return Ending(self.frame, self.fit, self.straight, self.straight - (SEEN_FROM - FITTED_FROM) * self.fit.spread)

    @property
    def fit(self) -> Fit:
        """The tube; only asked for once there is one."""
        assert self.fitted is not None
        return self.fitted

    def first_fit(self) -> "State":
        """The tube, from voxels that lie safely in dentine."""
        spread = GUESSED_SPREAD * self.block.voxel
        stations = np.arange(0.0, self.frame.line.s[-1], SURFACE_STEP)
        end = self._first_edges(stations, np.full(len(stations), 0.3), np.zeros((2, len(stations))))
        # fine voxels are millions: no more of them are taken than the canal's first guess is wide
        s, u, v, grey, index = self.frame.voxels(self.block, NEAR)
        rho, limit = np.hypot(u, v), on_map(end, stations, s, np.arctan2(v, u)) - 2.0 * spread
        start = self._start(s, rho, limit, grey, spread)
        wide = 2.0 * float(start.half.max()) + 5 * spread
        if wide > NEAR:
            s, u, v, grey, index = self.frame.voxels(self.block, min(wide, WIDEST))
            rho, limit = np.hypot(u, v), on_map(end, stations, s, np.arctan2(v, u)) - 2.0 * spread
        half = np.interp(s, start.s, start.half)
        keep = (rho < np.maximum(limit, 0.25)) & (rho < 2.0 * half + 5 * spread) & (s > self.at + 0.4)
        keep[keep] = self._open(s[keep], u[keep], v[keep])
        return self._fitted(Samples(s[keep], u[keep], v[keep], grey[keep]), start, index[keep])

    def relined(self, end: Array) -> "State":
        """A line through the fitted centres, carried on where they lie too near the root's end to be trusted."""
        found_exit = self.exit()
        low = max(found_exit.s if found_exit else self.at, self.at - 0.3) + 0.6
        s = np.arange(low, self.frame.line.s[-1], 0.1)
        points, _, one, two = self.frame.at(s)
        centres = points + self.fit.value("cu", s)[:, None] * one + self.fit.value("cv", s)[:, None] * two
        frame = Frame(second_line(centres, BEYOND + 0.9))
        at = float(frame.place(end[None])[0][0])
        return replace(self, frame=frame, at=at, fitted=None, lowest=np.inf)

    def second_fit(self, surface: Surface, stations: Array) -> "State":
        """The tube again, with what lies outside the root taken off the greys near its surface."""
        old = self.fit
        found_exit = self.exit()
        lowest = found_exit.s if found_exit else self.at
        grid = np.arange(0.0, self.frame.line.s[-1], 0.1)
        short, wide, _ = old.half_widths(grid)
        aside = np.hypot(old.value("cu", grid), old.value("cv", grid))
        reach = float((wide + aside).max()) + 5 * old.spread
        s, u, v, grey, index = self.frame.voxels(self.block, min(reach, WIDEST))
        x, y = u - old.value("cu", s), v - old.value("cv", s)
        _, long, _ = old.half_widths(s)
        # what is too far for the fit is left out before more is reckoned of each
        near = (np.hypot(x, y) < long + 4.5 * old.spread) & (s > lowest + FITTED_FROM * old.spread)
        s, u, v, grey, index, x, y = s[near], u[near], v[near], grey[near], index[near], x[near], y[near]
        turn, rho = np.arctan2(y, x), np.hypot(x, y)
        radius, width, beyond = (on_map(m, stations, s, turn) for m in (surface.edge, surface.ligament, surface.beyond))
        dentine = old.value("d", s)
        z = (rho - radius) / old.spread
        outside = (surface.soft - dentine) * ndtr(z) + (beyond - surface.soft) * ndtr(z - width / old.spread)
        other = on_map(self._first_edges(stations, *self._where(stations)), stations, s, turn)
        limit = np.where(other < radius - 0.3, other - 2.0 * old.spread, radius - 0.8 * old.spread)
        keep = rho < np.maximum(limit, 0.2)
        keep[keep] = self._open(s[keep], u[keep], v[keep])
        start = Start(
            grid, np.sqrt(short * wide), self.tones.dentine, self.tones.soft, self.tones.soft_error, old.spread,
            GUESSED_SPREAD_ERROR, self.tones.noise, self.correlation,
        )  # fmt: skip
        again = self._fitted(Samples(s[keep], u[keep], v[keep], (grey - outside)[keep]), start, index[keep])
        return replace(again, lowest=lowest + SEEN_FROM * old.spread)

    def surface(self) -> tuple[Surface, Array]:
        """The root's surface about the fitted centre, every `SURFACE_STEP` mm; and those stations."""
        f = self.fit
        low = max(self.at - 0.2, 0.0)
        stations = np.arange(low, self.frame.line.s[-1], SURFACE_STEP)
        rays = self._rays(stations, *self._where(stations), filled=True)
        dentine = f.value("d", stations)
        guess, _ = coarse(rays, float(np.median(dentine)), f.lumen)
        guess = self._cut(guess, stations)
        seen = np.isfinite(guess)
        if seen.mean() < 0.3:
            raise refusal(
                self.block.name,
                f"dentine ends in only {100 * seen.mean():.0f} % of the directions about the way found",
                allowed="30 % or more",
                remedy="the points may lie outside a root, or the scan is no tooth: pick them again",
            )
        surface = fit_surface(
            rays, guess, dentine=dentine, lumen=f.lumen, spread=f.spread, noise=self.tones.noise,
            correlation=self.correlation, step=SURFACE_STEP, unsure=(SOFTER * f.lumen_error, f.spread_error), voxel=self.block.voxel,
        )  # fmt: skip
        return surface, stations

    def exit(self) -> Exit | None:
        """Where the canal leaves the root, looked for from 1 mm above the given terminus."""
        return find_exit(
            self.block, self._ending, self.at + 1.0, limits=(self.at - BEYOND + 0.1, self.at + 0.95),
            first=self.at + STRAIGHT_FROM, noise=self.tones.noise, correlation=self.correlation,
        )  # fmt: skip

    def seen(self) -> Seen:
        """How well the scan shows the canal, station by station, for the judgement."""
        f = self.fit
        s, u, v, grey, _ = self.frame.voxels(self.block, 1.0 + 3 * f.spread)
        clear = self._open(s, u, v)
        s, u, v, grey = s[clear], u[clear], v[clear], grey[clear]
        x, y = u - f.value("cu", s), v - f.value("cv", s)
        stations = np.arange(self.at + 0.3, self.frame.line.s[-1], 0.5)
        rays = self._rays(stations, *self._where(stations), filled=True)
        dentine = f.value("d", stations)
        level = (dentine - 0.35 * (dentine - f.lumen))[:, None, None]
        edge = rays.clear[..., None]
        window = (rays.r > edge) & (rays.r < edge + 1.2)
        walled = np.any((rays.grey > level) & window, axis=-1).mean(axis=1)
        return Seen(stations, s, x, y, grey, f, self.tones, self.grain, walled)

    def _fitted(self, samples: Samples, start: Start, index: NDArray[np.int_]) -> "State":
        """The tube fitted, and noise and its correlation taken anew from what the fit leaves over."""
        fitted = fit(samples, start)
        if self.painted:
            return replace(self, fitted=fitted)
        noise = max(self.tones.noise, 0.5 * (1 + fitted.misfit) * self.tones.noise) if fitted.misfit < 2 else None
        tones = self.tones if noise is None else replace(self.tones, noise=noise)
        rest = residual(fitted, samples)
        shared, grain = correlation(rest, index), quiet(rest, index, samples.s)
        return replace(self, fitted=fitted, tones=tones, correlation=shared, grain=grain)

    def _open(self, s: Array, u: Array, v: Array) -> NDArray[np.bool_]:
        """Places (n,) that no barrier parts from the line and that are no other canal's."""
        out = self._unbarred(s, u, v)
        if self.apart is not None:
            centre, place = self._across(s, u, v)
            out &= ~self.apart.takes(centre, place)
        return out

    def _unbarred(self, s: Array, u: Array, v: Array) -> NDArray[np.bool_]:
        """Places (n,) that no barrier parts from the line."""
        if not self.barriers:
            return np.ones(len(s), bool)
        centre, place = self._across(s, u, v)
        return np.asarray(~np.any([b.blocks(centre, place) for b in self.barriers], axis=0))

    def _across(self, s: Array, u: Array, v: Array) -> tuple[Array, Array]:
        """The line's points at stations, and the places across them, each (n, 3)."""
        centre, _, one, two = self.frame.at(s)
        return centre, centre + u[:, None] * one + v[:, None] * two

    def _cut(self, guess: Array, stations: Array) -> Array:
        """The surface's first guess (S, K) without the rays that a barrier cuts: their neighbours speak for them."""
        if not self.barriers:
            return guess
        turn = np.linspace(0, 2 * np.pi, DIRECTIONS, endpoint=False)
        _, (cu, cv) = self._where(stations)
        far = np.where(np.isfinite(guess), guess, 0.0)
        s = np.repeat(stations, DIRECTIONS)
        u, v = (far * np.cos(turn) + cu[:, None]).ravel(), (far * np.sin(turn) + cv[:, None]).ravel()
        return np.where(self._unbarred(s, u, v).reshape(guess.shape), guess, np.nan)

    def _where(self, stations: Array) -> tuple[Array, Array]:
        """Half width and centre (2, k) at stations."""
        _, long, _ = self.fit.half_widths(stations)
        return long, np.vstack([self.fit.value("cu", stations), self.fit.value("cv", stations)])

    def _rays(self, stations: Array, half: Array, centre: Array, *, filled: bool) -> Rays:
        r = np.arange(0.05, REACH, max(0.5 * self.block.voxel, 0.05))
        grey = self.frame.rays(self.block, stations, (centre[0], centre[1]), r, DIRECTIONS)
        turn = np.linspace(0, 2 * np.pi, DIRECTIONS, endpoint=False)
        clear = np.broadcast_to(half[:, None], grey.shape[:2]).copy()
        if filled:
            f = self.fit
            short, long, angle = f.half_widths(stations)
            shape = (len(stations), DIRECTIONS, len(r))
            x, y, a, b, t = (
                np.broadcast_to(w, shape).ravel()
                for w in (r * np.cos(turn)[:, None], r * np.sin(turn)[:, None], *_columns(long, short, angle))
            )
            hole = share(x, y, a, b, t, f.spread).reshape(shape)
            grey += (f.value("d", stations) - f.lumen)[:, None, None] * hole
            c, s = np.cos(turn - angle[:, None]), np.sin(turn - angle[:, None])
            clear = 1 / np.sqrt((c / long[:, None]) ** 2 + (s / short[:, None]) ** 2)
        return Rays(r, grey, clear)

    def _first_edges(self, stations: Array, half: Array, centre: Array) -> Array:
        """Where dentine first ends along each ray (S, K)."""
        rays = self._rays(stations, half, centre, filled=self.fitted is not None)
        lumen = self.tones.lumen if self.fitted is None else self.fit.lumen
        return coarse(rays, self.tones.dentine, lumen)[1]

    def _start(self, s: Array, rho: Array, limit: Array, grey: Array, spread: float) -> Start:
        """Half widths from the grey missing in each slab: area = sum of (D - g)/(D - L) times the voxel's volume."""
        grid = np.arange(0.0, self.frame.line.s[-1], 0.1)
        dark = np.clip((self.tones.dentine - grey) / self.tones.contrast, -0.3, 1.2)
        near = rho < np.clip(limit, 0.3, NEAR)
        slab = np.round(s / 0.1).astype(int)
        sums = np.bincount(slab[near], dark[near], minlength=len(grid) + 2)[: len(grid)]
        area = np.convolve(sums, np.ones(7) / 7, mode="same") * float(np.prod(self.block.spacing)) / 0.1
        half = np.sqrt(np.clip(area, 0.008, 7.0) / np.pi)
        half[grid < self.at + 0.5] = half[int(np.searchsorted(grid, self.at + 0.5))]
        return Start(
            grid, half, self.tones.dentine, self.tones.soft, self.tones.soft_error, spread,
            GUESSED_SPREAD_ERROR, self.tones.noise, self.correlation,
        )  # fmt: skip


def _columns(*arrays: Array) -> tuple[Array, ...]:
    """Each (k,) as (k, 1, 1)."""
    return tuple(a[:, None, None] for a in arrays)
