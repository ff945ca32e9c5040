# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""Kernels: gutta-percha melts and freezes along different curves.

Molten fraction on heating m(T): two ramps about the two heating peaks. On cooling f(T) >= m(T): one ramp, 10-20 K
lower. The
state is a play (hysteresis) operator, molten = min(max(molten, m(T)), f(T)), with which the enthalpy, u = T + latent *
molten in
units of temperature, has one temperature for each old state: T = clip(u - latent * molten_old, F(u), M(u)), M and F
being
the inverses of T + latent * m(T) and T + latent * f(T). All three are monotone and piecewise linear.
"""

from canalwright.heat.kernel_base import njit


@njit
def temperature(s, u, latent, molten):
    """Temperature at enthalpy `u` of a cell whose molten fraction was `molten`."""
    w1, w2 = s.melt_mid_low - s.melt_low, s.melt_high - s.melt_mid_high
    gap = s.melt_mid_high - s.melt_mid_low
    l1, l2 = latent * s.melt_share, latent * (1.0 - s.melt_share)
    x1, x3 = w1 + l1, w2 + l2
    rest = u - s.melt_low
    heating = (
        s.melt_low
        + min(rest, 0.0)
        + min(max(rest, 0.0), x1) * (w1 / x1)
        + min(max(rest - x1, 0.0), gap)
        + min(max(rest - x1 - gap, 0.0), x3) * (w2 / x3)
        + max(rest - x1 - gap - x3, 0.0)
    )
    w = s.freeze_high - s.freeze_low
    x = w + latent
    rest = u - s.freeze_low
    cooling = s.freeze_low + min(rest, 0.0) + min(max(rest, 0.0), x) * (w / x) + max(rest - x, 0.0)
    return max(min(u - latent * molten, heating), cooling)


@njit
def molten_on_heating(s, t):
    """m(T)."""
    first = min(max((t - s.melt_low) / (s.melt_mid_low - s.melt_low), 0.0), 1.0)
    second = min(max((t - s.melt_mid_high) / (s.melt_high - s.melt_mid_high), 0.0), 1.0)
    return s.melt_share * first + (1.0 - s.melt_share) * second


@njit
def molten_on_cooling(s, t):
    """f(T)."""
    return min(max((t - s.freeze_low) / (s.freeze_high - s.freeze_low), 0.0), 1.0)
