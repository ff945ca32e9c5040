"""Widths finer than a voxel: a blurred elliptical tube fitted to the voxels themselves, all stations at once.

Each voxel within reach of the centreline has a station s and a place (u, v) in the cross plane; its grey is

    g = D(s) + Gu(s) u + Gv(s) v - (D(s) - L) F(u - cu(s), v - cv(s); A(s), B(s), theta(s), spread)

F being `blurred_ellipse`. D (dentine), its slopes Gu and Gv, the centre (cu, cv), the log of the mean half width
m = log(AB)/2 and the ovality (e1, e2) = log(A/B)/2 (cos 2 theta, sin 2 theta) are cubic B-splines in s; the lumen's
grey L and the spread (of scanner and voxel together) are single numbers. So the wide parts of a canal, where L can be
seen, give the contrast to the narrow ones, where only contrast times area can. Damped Gauss-Newton with Gaussian priors
(Nocedal & Wright 2006, ch. 10) and Huber's weights; the noise counts with its own correlation between voxels.

Leaves out: sections that are no ellipses, a spread that differs by direction, a lumen whose filling changes along it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline
from scipy.sparse import csr_array
from scipy.sparse import vstack as sparse_vstack

from canalwright.imaging.tracing.blurred_ellipse import share
from canalwright.imaging.tracing.cores import workers
from canalwright.imaging.tracing.fit_kernel import LEAST, MOST, Bases, equations, solve

Array = NDArray[np.float64]
ROUNDS = 25
HUBER = 2.5
MOST_SAMPLES = 60_000
"""More voxels than this (fine voxels, wide canals) are thinned at random: the rest say little new."""


@dataclass(frozen=True)
class Field:
    """One quantity along the canal: knot spacing (mm), prior spread of its value and of its second derivative."""

    knots: float
    value: float
    bend: float


FIELDS = {
    "cu": Field(0.6, 0.3, 0.12),
    "cv": Field(0.6, 0.3, 0.12),
    "m": Field(0.6, 1.5, 0.25),
    "e1": Field(0.8, 0.3, 0.25),
    "e2": Field(0.8, 0.3, 0.25),
    "d": Field(2.0, 0.12, 0.05),
    "gu": Field(3.0, 0.06, 0.02),
    "gv": Field(3.0, 0.06, 0.02),
}
"""Priors; those of the greys (d, gu, gv) in units of the contrast. Their order is that of the fields in `fit_kernel`."""


@dataclass(frozen=True)
class Samples:
    """Voxels to be fitted: station `s`, place `u`, `v` in the cross plane (mm), `grey`; all (n,)."""

    s: Array
    u: Array
    v: Array
    grey: Array

    def taken(self, which: NDArray[np.int64]) -> "Samples":
        """The voxels `which` (m,), in that order."""
        return Samples(self.s[which], self.u[which], self.v[which], self.grey[which])


@dataclass(frozen=True)
class Start:
    """First guess by station `s` (k,): mean half width, and the greys; `spread` with its prior's relative error."""

    s: Array
    half: Array
    dentine: float
    lumen: float
    lumen_error: float
    spread: float
    spread_error: float
    noise: float
    correlation: float


@dataclass(frozen=True)
class Fit:
    """The fitted tube: coefficients of every field, their covariance, and how well it fits."""

    knots: dict[str, Array]
    place: dict[str, slice]
    x: Array
    covariance: Array
    scale: float
    misfit: float

    def value(self, name: str, s: Array) -> Array:
        """A field at stations `s` (k,); greys come back in greys."""
        unit = self.scale if name in ("d", "gu", "gv") else 1.0
        return np.asarray(unit * (_basis(self.knots[name], s) @ self.x[self.place[name]]))

    @property
    def lumen(self) -> float:
        """Grey of the lumen."""
        return float(self.x[-2] * self.scale)

    @property
    def spread(self) -> float:
        """Standard deviation of the point spread, voxel included, mm."""
        return float(np.exp(self.x[-1]))

    @property
    def lumen_error(self) -> float:
        """Standard deviation of the lumen's grey."""
        return float(np.sqrt(max(self.covariance[-2, -2], 0.0)) * self.scale)

    @property
    def spread_error(self) -> float:
        """Standard deviation of the logarithm of the spread."""
        return float(np.sqrt(max(self.covariance[-1, -1], 0.0)))

    def half_widths(self, s: Array) -> tuple[Array, Array, Array]:
        """Half widths short, long, and the angle of the long one from u (radians), each (k,)."""
        m, e1, e2 = (self.value(name, s) for name in ("m", "e1", "e2"))
        e = np.hypot(e1, e2)
        return _width(m - e), _width(m + e), np.arctan2(e2, e1) / 2

    def errors(self, s: Array) -> tuple[Array, Array, Array]:
        """Standard deviations of the log of the mean, of log(A/B)/2 and of the centre (mm), each (k,)."""
        m = self._deviation({"m": np.ones(len(s))}, s)
        e1, e2 = self.value("e1", s), self.value("e2", s)
        e = np.maximum(np.hypot(e1, e2), 1e-6)
        ratio = self._deviation({"e1": e1 / e, "e2": e2 / e}, s)
        centre = np.hypot(*(self._deviation({n: np.ones(len(s))}, s) for n in ("cu", "cv"))) / np.sqrt(2)
        return m, ratio, centre

    def tilt(self, s: Array) -> Array:
        """Standard deviation (k,) of the line's direction, radians: as sure as its centre over a knot's length."""
        return np.asarray(np.sqrt(2) * self.errors(s)[2] / FIELDS["cu"].knots)

    def minor_error(self, s: Array) -> Array:
        """Standard deviation of the least width, mm."""
        short, _, _ = self.half_widths(s)
        e1, e2 = self.value("e1", s), self.value("e2", s)
        e = np.maximum(np.hypot(e1, e2), 1e-6)
        log = self._deviation({"m": np.ones(len(s)), "e1": -e1 / e, "e2": -e2 / e}, s)
        return np.asarray(2 * short * log)

    def edge_error(self, s: Array, angle: Array) -> tuple[Array, Array]:
        """Standard deviation (k,) of the half width at stations `s` towards `angle` (from u), mm, the centre's own doubt in
        it; and its covariance (k, 2) with the lumen's grey and the logarithm of the spread.
        """
        short, long, axis = self.half_widths(s)
        c2, s2 = np.cos(angle - axis) ** 2 / long**2, np.sin(angle - axis) ** 2 / short**2
        half = 1 / np.sqrt(c2 + s2)
        oval = (c2 - s2) * half**2
        e1, e2 = self.value("e1", s), self.value("e2", s)
        e = np.maximum(np.hypot(e1, e2), 1e-6)
        rows = self._rows(
            {
                "m": half, "e1": half * oval * e1 / e, "e2": half * oval * e2 / e,
                "cu": np.cos(angle), "cv": np.sin(angle),
            },
            s,
        )  # fmt: skip
        spread = np.sqrt(np.maximum(((rows @ self.covariance) * rows).sum(axis=1), 0.0))
        return spread, rows @ self.covariance[:, -2:] * np.array([self.scale, 1.0])

    def together(self, s: Array) -> Array:
        """Share (k,), 0 to 1, of the error of the mean half width that the lumen's grey and the spread make: all stations have
        it in common.
        """
        rows = self._rows({"m": np.ones(len(s))}, s)
        shared, both = rows @ self.covariance[:, -2:], self.covariance[-2:, -2:]
        made = np.einsum("ni,ij,nj->n", shared, np.linalg.pinv(both), shared)
        whole = ((rows @ self.covariance) * rows).sum(axis=1)
        return np.asarray(np.sqrt(np.clip(made / np.maximum(whole, 1e-18), 0.0, 1.0)))

    @property
    def common(self) -> Array:
        """Covariance (2, 2) of the lumen's grey and the logarithm of the spread, which move all places together."""
        unit = np.array([self.scale, 1.0])
        return np.asarray(self.covariance[-2:, -2:] * np.outer(unit, unit))

    def _deviation(self, weights: dict[str, Array], s: Array) -> Array:
        rows = self._rows(weights, s)
        return np.asarray(np.sqrt(np.maximum(((rows @ self.covariance) * rows).sum(axis=1), 0.0)))

    def _rows(self, weights: dict[str, Array], s: Array) -> Array:
        """What a sum of fields, each times its weight (k,), takes of every coefficient, (k, all)."""
        rows = np.zeros((len(s), len(self.x)))
        for name, weight in weights.items():
            rows[:, self.place[name]] = weight[:, None] * _basis(self.knots[name], s).toarray()
        return rows


def fit(samples: Samples, start: Start) -> Fit:
    """Fit the tube to the voxels. Stations outside the samples are held by the priors alone."""
    if len(samples.s) > MOST_SAMPLES:
        chosen = np.random.default_rng(0).choice(len(samples.s), MOST_SAMPLES, replace=False)
        samples = samples.taken(chosen)
    samples = samples.taken(np.argsort(samples.s, kind="stable"))
    scale = start.dentine - start.lumen
    knots = {name: _knots(start.s[0], start.s[-1], field.knots) for name, field in FIELDS.items()}
    place, at = {}, 0
    for name, k in knots.items():
        place[name] = slice(at, at + len(k) - 4)
        at += len(k) - 4
    x = np.zeros(at + 2)
    x[place["m"]] = _project(knots["m"], start.s, np.log(start.half))
    x[place["d"]] = start.dentine / scale
    x[-2], x[-1] = start.lumen / scale, np.log(start.spread)
    grey = samples.grey / scale
    # noise that neighbouring voxels share counts for less: the priors keep their due weight
    shared = np.sqrt(start.correlation)
    noise = start.noise * shared / scale
    bases = Bases.at(samples.s, knots, place)
    prior, centre = _priors(knots, place, x, start, scale)
    prior_normal = (prior.T @ prior).toarray()
    damping, cost = 1e-3, np.inf
    best: tuple[Array, Array, Array] | None = None
    with workers() as pool:
        for _ in range(ROUNDS):
            seen = equations(x, bases, samples.u, samples.v, grey, noise, shared, HUBER, pool)
            pull = prior @ (x - centre)
            now = seen.cost + float(pull @ pull)
            if now < cost:
                best, gain = (x, seen.normal + prior_normal, seen.right - prior.T @ pull), cost - now
                cost, damping = now, damping / 5
                if gain < 1e-4 * max(cost, 1.0):
                    break
            else:
                damping *= 8
                if damping > 1e8:
                    break
            assert best is not None
            base, normal, slope = best
            step = solve(normal + damping * np.diag(np.diag(normal)), slope)
            x = base + np.clip(step, -0.5, 0.5)
    assert best is not None
    x, normal, _ = best
    misfit = float(np.median(np.abs(seen.off)) / 0.6745 * shared)
    covariance: Array = np.asarray(np.linalg.inv(normal) * max(1.0, misfit**2), dtype=float)
    return Fit(knots, place, np.asarray(x, float), covariance, scale, misfit)


def residual(fitted: Fit, samples: Samples) -> Array:
    """Grey less model at the samples, (n,)."""
    s = samples.s
    values = {name: fitted.value(name, s) for name in fitted.knots}
    short, long, angle = fitted.half_widths(s)
    hole = share(samples.u - values["cu"], samples.v - values["cv"], long, short, angle, fitted.spread)
    model = values["d"] + values["gu"] * samples.u + values["gv"] * samples.v
    return np.asarray(samples.grey - model + (values["d"] - fitted.lumen) * hole)


def _width(log: Array) -> Array:
    """Half width of its logarithm, within what a canal can have."""
    return np.asarray(np.exp(np.clip(log, np.log(LEAST), np.log(MOST))))


def _priors(
    knots: dict[str, Array], place: dict[str, slice], x: Array, start: Start, scale: float
) -> tuple[csr_array, Array]:
    """Rows P and centre c of the prior |P (x - c)|^2: values and second derivatives of each field, L and the spread."""
    rows: list[csr_array] = []
    centre = x.copy()
    for name, field in FIELDS.items():
        k = knots[name]
        n = len(k) - 4
        where = place[name]
        left, right = where.start, len(x) - where.stop
        second = np.diff(np.eye(n), 2, axis=0) / field.knots**2 / field.bend * np.sqrt(field.knots)
        blocks = [second]
        if np.isfinite(field.value):
            blocks.append(np.eye(n) / field.value * np.sqrt(field.knots / 2))
        for block in blocks:
            rows.append(csr_array(np.hstack([np.zeros((len(block), left)), block, np.zeros((len(block), right))])))
    for name in ("cu", "cv", "e1", "e2", "gu", "gv"):
        centre[place[name]] = 0.0
    last = np.zeros((2, len(x)))
    last[0, -2] = scale / start.lumen_error
    last[1, -1] = 1 / start.spread_error
    rows.append(csr_array(last))
    # the bend of m is judged against a straight line, not against the first guess
    m = centre[place["m"]]
    t = np.arange(len(m))
    centre[place["m"]] = np.polyval(np.polyfit(t, m, 1), t)
    return csr_array(sparse_vstack(rows, format="csr")), centre


def _knots(low: float, high: float, spacing: float) -> Array:
    """Uniform knots of cubic B-splines that cover `low` to `high`."""
    spans = max(1, int(np.ceil((high - low) / spacing)))
    return np.asarray(low + spacing * np.arange(-3, spans + 4))


def _basis(knots: Array, s: Array) -> csr_array:
    low, high = knots[3], knots[-4]
    return csr_array(BSpline.design_matrix(np.clip(s, low, high), knots, 3))


def _project(knots: Array, s: Array, values: Array) -> Array:
    basis = _basis(knots, s).toarray()
    ridge = 0.05 * np.diff(np.eye(basis.shape[1]), 2, axis=0)
    return np.asarray(
        np.linalg.solve(basis.T @ basis + ridge.T @ ridge + 1e-9 * np.eye(basis.shape[1]), basis.T @ values)
    )
