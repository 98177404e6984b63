"""Probability that jointly Gaussian quantities lie in a box, by expectation propagation.

Batched over R rows. Against exact box probabilities the logarithm is off by a few
thousandths for up to six sides; unlike taking the sides one after another it does not depend on
their order. Source: Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), section
3.6, with the probit factor replaced by an interval factor; formulas derived here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.physics.normal import log_ndtr

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
SWEEPS = 6
JITTER = 1e-9
LN_ROOT_TWO_PI = 0.5 * math.log(2.0 * math.pi)
CERTAIN_SD = 7.5
"""A side this many standard deviations away takes 3e-14 of the probability: nothing."""
EP_SLACK = 0.05
"""How far EP may be above a side's own probability by its own small error."""
STILL = 1e-13
"""A side whose site moves by less than this share of its scale has come to rest."""


@dataclass(frozen=True, slots=True)
class BoxFit:
    """Result of EP for R rows and w sides.

    Attributes:
        ln_z: log probability of the box, (R,). pull: V^-1 (mean after - mean before), (R, w) or,
            rows last, (w, R). gain: V^-1 - V^-1 (cov after) V^-1, (R, w, w) or (w, w, R).
    """

    ln_z: FloatArray
    pull: FloatArray
    gain: FloatArray


def ln_between(low: FloatArray, high: FloatArray) -> FloatArray:
    """ln(Phi(high) - Phi(low)) elementwise, accurate in both tails; -1e6 where high <= low."""
    flip = low > 0
    a = np.where(flip, -high, low)
    b = np.where(flip, -low, high)
    upper = log_ndtr(b)
    with np.errstate(divide="ignore", invalid="ignore"):
        # a = -inf gives exp(-inf) = 0; a >= b gives log(0) = -inf.
        result = upper + np.log1p(-np.exp(np.minimum(log_ndtr(a) - upper, 0.0)))
    return np.where(b > a, np.maximum(result, -1e6), -1e6)


def box_probability(
    mean: FloatArray, cov: FloatArray, low: FloatArray, high: FloatArray, blur: FloatArray
) -> BoxFit:
    """EP for N(mean, cov + blur^2 I) inside [low, high].

    Args:
        mean: (R, w). cov: (R, w, w). low, high, blur: (w,), working-scale units.
    """
    fit = fit_box(np.ascontiguousarray(mean.T), np.moveaxis(cov, 0, 2), low, high, blur)
    return BoxFit(fit.ln_z, fit.pull.T, np.moveaxis(fit.gain, 2, 0))


def fit_box(
    mean: FloatArray, cov: FloatArray, low: FloatArray, high: FloatArray, blur: FloatArray
) -> BoxFit:
    """The same, rows last: that way every step is one operation on all rows.

    Rows where every side is certain are told apart first and cost next to nothing.

    Args:
        mean: (w, R). cov: (w, w, R). low, high, blur: (w,), working-scale units.
    """
    sides, rows = mean.shape
    diagonal = np.arange(sides)
    prior = cov.copy()
    prior[diagonal, diagonal] += (blur**2 + JITTER)[:, None]
    far = CERTAIN_SD * np.sqrt(prior[diagonal, diagonal])
    certain = (mean - far > low[:, None]) & (mean + far < high[:, None])
    open_rows = np.flatnonzero(~certain.all(axis=0))
    if len(open_rows) == rows:
        return _fit(mean, prior, low, high)
    fit = BoxFit(np.zeros(rows), np.zeros((sides, rows)), np.zeros((sides, sides, rows)))
    if len(open_rows):
        inner = _fit(mean[:, open_rows], prior[:, :, open_rows], low, high)
        fit.ln_z[open_rows] = inner.ln_z
        fit.pull[:, open_rows] = inner.pull
        fit.gain[:, :, open_rows] = inner.gain
    return fit


class _Sites:
    """Sites of EP and the Gaussian they make: mu (w, R), sigma (w, w, R), tau and nu (w, R)."""

    def __init__(self, mu: FloatArray, sigma: FloatArray, tau: FloatArray, nu: FloatArray) -> None:
        self.mu, self.sigma, self.tau, self.nu = mu, sigma, tau, nu

    def take(self, which: IntArray) -> _Sites:
        """Some of the rows, copied."""
        return _Sites(
            self.mu[:, which], self.sigma[:, :, which], self.tau[:, which], self.nu[:, which]
        )

    def put(self, which: IntArray, part: _Sites) -> None:
        """Write rows back."""
        self.mu[:, which], self.sigma[:, :, which] = part.mu, part.sigma
        self.tau[:, which], self.nu[:, which] = part.tau, part.nu

    def cavity(self, i: int) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of side i without its own site, (R,) each."""
        variance = np.maximum(self.sigma[i, i], JITTER * 1e-3)
        v = 1.0 / np.maximum(1.0 / variance - self.tau[i], 1e-12)
        return v * (self.mu[i] / variance - self.nu[i]), v

    def update(self, i: int, low: float, high: float) -> FloatArray:
        """Refit side i; how far its site moved on its own scale, (R,)."""
        m, v = self.cavity(i)
        _, g, h = interval_moments(m, v, low, high)
        room = np.maximum(1.0 + v * h, 1e-9)
        new_tau = np.maximum(-h / room, 0.0)
        new_nu = (g - h * m) / room
        d_tau, d_nu = new_tau - self.tau[i], new_nu - self.nu[i]
        scale = 1.0 + d_tau * self.sigma[i, i]
        column = self.sigma[:, i].copy()
        self.mu += ((d_nu - d_tau * self.mu[i]) / scale) * column
        self.sigma -= ((d_tau / scale) * column)[:, None] * column[None, :]
        self.tau[i], self.nu[i] = new_tau, new_nu
        moved: FloatArray = np.abs(d_tau) * v + np.abs(d_nu) * np.sqrt(v)
        return moved


def _fit(mean: FloatArray, prior: FloatArray, low: FloatArray, high: FloatArray) -> BoxFit:
    sides, rows = mean.shape
    if sides == 1:
        ln_z, g, h = interval_moments(mean[0], prior[0, 0], float(low[0]), float(high[0]))
        return BoxFit(ln_z=ln_z, pull=g[None], gain=-h[None, None])
    sites = _Sites(mean.copy(), prior.copy(), np.zeros((sides, rows)), np.zeros((sides, rows)))
    left = np.arange(rows)
    part = sites
    for _ in range(SWEEPS):
        moved = np.zeros(len(left))
        for i in range(sides):
            np.maximum(moved, part.update(i, float(low[i]), float(high[i])), out=moved)
        busy = np.flatnonzero(moved > STILL)
        if len(busy) < 0.8 * len(left):
            if part is not sites:
                sites.put(left, part)
            left = left[busy]
            part = sites.take(left)
        if not len(left):
            break
    if part is not sites and len(left):
        sites.put(left, part)
    ln_z = _ln_evidence(mean, prior, sites, low, high)
    ln_z = _no_more_than_any_side(ln_z, mean, prior, low, high)
    tau = sites.tau
    gain = -tau[:, None] * sites.sigma * tau[None, :]
    diagonal = np.arange(sides)
    gain[diagonal, diagonal] += tau
    return BoxFit(ln_z=ln_z, pull=sites.nu - tau * sites.mu, gain=gain)


def _no_more_than_any_side(
    ln_z: FloatArray, mean: FloatArray, prior: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """A box is no likelier than any of its sides (far out in a tail EP loses all digits)."""
    least = np.full(len(ln_z), np.inf)
    for i in range(len(mean)):
        root = np.sqrt(prior[i, i])
        if math.isinf(high[i]):
            side = np.maximum(log_ndtr((mean[i] - low[i]) / root), -1e6)
        elif math.isinf(low[i]):
            side = np.maximum(log_ndtr((high[i] - mean[i]) / root), -1e6)
        else:
            side = ln_between((low[i] - mean[i]) / root, (high[i] - mean[i]) / root)
        np.minimum(least, side, out=least)
    return np.where(~np.isfinite(ln_z) | (ln_z > least + EP_SLACK), least, ln_z)


def interval_moments(
    mean: FloatArray, variance: FloatArray, low: float, high: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """ln Z of one side under N(mean, variance), its derivative and second derivative by mean."""
    root = np.sqrt(variance)
    if math.isinf(high) or math.isinf(low):
        sign, edge = (1.0, low) if math.isinf(high) else (-1.0, high)
        return _half_line_moments(sign * (edge - mean) / root, variance, root, sign)
    u, w = (low - mean) / root, (high - mean) / root
    ln_z = ln_between(u, w)
    at_u = np.exp(np.minimum(-0.5 * u * u - LN_ROOT_TWO_PI - ln_z, 600.0))
    at_w = np.exp(np.minimum(-0.5 * w * w - LN_ROOT_TWO_PI - ln_z, 600.0))
    g = (at_u - at_w) / root
    h = (u * at_u - w * at_w) / variance - g * g
    return ln_z, g, _bounded(h, variance)


def _half_line_moments(
    u: FloatArray, variance: FloatArray, root: FloatArray, sign: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The same for a side with one end, u standard deviations up the side's way (sign)."""
    if np.isneginf(u).all():
        nothing = np.zeros_like(u)
        return nothing, nothing, nothing
    ln_z = np.maximum(log_ndtr(-u), -1e6)
    at_u = np.exp(np.minimum(-0.5 * u * u - LN_ROOT_TWO_PI - ln_z, 600.0))
    g = at_u / root
    h = u * at_u / variance - g * g
    return ln_z, sign * g, _bounded(h, variance)


def _bounded(h: FloatArray, variance: FloatArray) -> FloatArray:
    # Far out in a tail the difference loses digits; a Gaussian of almost no width is the limit.
    return np.clip(h, -(1.0 - 1e-7) / variance, 0.0)


def _ln_evidence(
    mean: FloatArray, prior: FloatArray, sites: _Sites, low: FloatArray, high: FloatArray
) -> FloatArray:
    """EP's log normaliser from its fixed point, without inverting the prior covariance."""
    sides, rows = mean.shape
    total = np.zeros(rows)
    for i in range(sides):
        m, v = sites.cavity(i)
        ln_z, _, _ = interval_moments(m, v, float(low[i]), float(high[i]))
        t, n = sites.tau[i], sites.nu[i]
        joint = (m + v * n) ** 2 / (v * (1.0 + t * v)) - m * m / v
        total += ln_z + 0.5 * np.log1p(t * v) - 0.5 * joint
    weighted = np.moveaxis(prior * sites.tau[None, :], 2, 0)
    _, ln_det = np.linalg.slogdet(np.eye(sides) + weighted)
    exponent = (sites.nu * sites.mu).sum(axis=0) + (mean * (sites.nu - sites.tau * sites.mu)).sum(
        axis=0
    )
    total += 0.5 * (exponent - ln_det)
    return total
