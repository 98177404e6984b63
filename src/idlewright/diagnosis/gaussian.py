"""Conditioning a Gaussian car on numbers and boxes: the only linear algebra of the diagnosis.

In every row z ~ N(0, I) and each factor sees x = mean + B z. Numbers are exact Gaussian
conditioning by one small Cholesky; boxes go through EP on what the numbers leave.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.box import FloatArray, box_probability, interval_moments, ln_between

LN_TWO_PI = math.log(2.0 * math.pi)


@dataclass(frozen=True, slots=True)
class Observed:
    """What was seen, the same for every row: n numbers first, then w boxes.

    Attributes:
        y: numbers, (n,). noise: their covariance from meters and reading, (n, n).
        low, high, blur: boxes, (w,).
    """

    y: FloatArray
    noise: FloatArray
    low: FloatArray
    high: FloatArray
    blur: FloatArray


@dataclass(frozen=True, slots=True)
class Conditioned:
    """Posterior of R rows: E z = B' weight, cov z = I - B' gain B.

    Attributes:
        ln_z: log evidence, (R,). weight: (R, m). gain: (R, m, m), m = n + w.
    """

    ln_z: FloatArray
    weight: FloatArray
    gain: FloatArray


def condition(mean: FloatArray, kernel: FloatArray, seen: Observed) -> Conditioned:
    """Condition every row on what was seen.

    Args:
        mean: (R, m). kernel: B B', (R, m, m). seen: n numbers and w boxes, n + w = m.
    """
    n = len(seen.y)
    rows, m = mean.shape
    ln_z = np.zeros(rows)
    weight = np.zeros((rows, m))
    gain = np.zeros((rows, m, m))
    if n:
        ln_z, alpha, inverse = _numbers(mean[:, :n], kernel[:, :n, :n], seen)
        weight[:, :n] = alpha
        gain[:, :n, :n] = inverse
    if m == n:
        return Conditioned(ln_z, weight, gain)
    left_mean, left_cov = mean[:, n:], kernel[:, n:, n:]
    if n:
        cross = kernel[:, n:, :n]
        through = cross @ inverse
        left_mean = left_mean + (cross @ alpha[:, :, None])[:, :, 0]
        left_cov = left_cov - through @ np.swapaxes(cross, 1, 2)
    fit = box_probability(left_mean, left_cov, seen.low, seen.high, seen.blur)
    weight[:, n:] = fit.pull
    gain[:, n:, n:] = fit.gain
    if n:
        back = np.swapaxes(through, 1, 2)
        weight[:, :n] -= (back @ fit.pull[:, :, None])[:, :, 0]
        mixed = back @ fit.gain
        gain[:, :n, :n] += mixed @ through
        gain[:, :n, n:] = -mixed
        gain[:, n:, :n] = -np.swapaxes(mixed, 1, 2)
    return Conditioned(ln_z + fit.ln_z, weight, gain)


def _numbers(
    mean: FloatArray, kernel: FloatArray, seen: Observed
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log evidence (R,), S^-1 r (R, n) and S^-1 (R, n, n)."""
    n = len(seen.y)
    covariance = kernel + seen.noise
    residual = seen.y - mean
    root = np.linalg.cholesky(covariance)
    ln_det = 2.0 * np.log(root[:, np.arange(n), np.arange(n)]).sum(axis=1)
    inverse = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    alpha = (inverse @ residual[:, :, None])[:, :, 0]
    squared = (residual * alpha).sum(axis=1)
    ln_z: FloatArray = -0.5 * (squared + ln_det + n * LN_TWO_PI)
    return ln_z, alpha, inverse


def evidence_of_block(
    pull: FloatArray, gain: FloatArray, block: Sequence[int], numbers: int
) -> FloatArray:
    """Log evidence that some factors add to all the others, in each row, (R,).

    Args:
        pull, gain: as in Conditioned (weight and gain), all factors. block: which. numbers: how
            many of all factors, the first ones, are numbers.
    """
    if not block:
        return np.zeros(len(pull))
    jitter = 1e-12 * np.eye(len(block))
    inside = gain[:, block][:, :, block] + jitter
    squared = np.einsum("ri,rij,rj->r", pull[:, block], np.linalg.inv(inside), pull[:, block])
    added: FloatArray = -0.5 * squared
    read = sum(i < numbers for i in block)
    if read:
        _, ln_det = np.linalg.slogdet(inside)
        added = added + 0.5 * ln_det - 0.5 * read * LN_TWO_PI
    return added


def inside_range(
    low: FloatArray, high: FloatArray, mean: FloatArray, variance: FloatArray
) -> FloatArray:
    """ln probability that a severity N(mean, variance) lies in [low, high], all (R,).

    Rows without a severity have variance 0 and get 0 (nothing to cut).
    """
    sd = np.sqrt(np.maximum(variance, 1e-300))
    cut = ln_between((low - mean) / sd, (high - mean) / sd)
    return np.where(variance > 0, cut, 0.0)


def cut_at_range(
    z: FloatArray, slopes: FloatArray, gain: FloatArray, centre: FloatArray, spread: FloatArray
) -> FloatArray:
    """E z once the severity, the last coordinate, is known to lie in [0, 1], (R, K).

    The others follow it along their regression on it. This is where straight lines must be drawn:
    beside the end of a range the uncut mean lies where no car of the fault is.

    Args:
        z: uncut mean. slopes: B. gain: as in Conditioned. centre, spread: u = centre + spread
            z_last, (R,); spread 0 (nothing to cut) leaves a row alone.
    """
    along = -np.einsum("rmk,rm->rk", slopes, np.einsum("rij,rj->ri", gain, slopes[:, :, -1]))
    along[:, -1] += 1.0
    left = np.maximum(along[:, -1], 1e-12)
    wide = np.where(spread > 0, spread, 1.0)
    _, pull, _ = interval_moments(centre + wide * z[:, -1], wide**2 * left, 0.0, 1.0)
    shift = np.where(spread > 0, wide * pull, 0.0)
    cut: FloatArray = z + along * shift[:, None]
    return cut
