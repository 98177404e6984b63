"""Conditioning a Gaussian car on numbers and boxes: the only linear algebra of the diagnosis.

In every row z ~ N(0, I) and each factor sees x = mean + B z. Numbers are exact Gaussian
conditioning by elimination; boxes go through EP on what the numbers leave. Rows are the last axis
inside, so that one array operation serves them all: many small systems, thousands of rows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.diagnosis.box import FloatArray, fit_box, interval_moments, ln_between

LN_TWO_PI = math.log(2.0 * math.pi)
BLOCK = 384
"""Rows worked on at a time: a dozen factors' kernels then stay in the processor's cache."""


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
        ln_z: log evidence, (R,). weight: (R, m). gain: (R, m, m), m = n + w; from `posterior`
            rows are last.
    """

    ln_z: FloatArray
    weight: FloatArray
    gain: FloatArray


@dataclass(frozen=True, slots=True)
class Scored:
    """Log evidence (R,), and what v watched quantities are afterwards: mean, variance, (v, R)."""

    ln_z: FloatArray
    mean: FloatArray
    variance: FloatArray


def condition(mean: FloatArray, kernel: FloatArray, seen: Observed) -> Conditioned:
    """Condition every row on what was seen.

    Args:
        mean: (R, m). kernel: B B', (R, m, m). seen: n numbers and w boxes, n + w = m.
    """
    result = posterior(np.ascontiguousarray(mean.T), np.moveaxis(kernel, 0, 2), seen)
    return Conditioned(result.ln_z, result.weight.T, np.moveaxis(result.gain, 2, 0))


def posterior(mean: FloatArray, kernel: FloatArray, seen: Observed) -> Conditioned:
    """The same, rows last: mean (m, R) and kernel (m, m, R) give weight (m, R), gain (m, m, R)."""
    n, (m, rows) = len(seen.y), mean.shape
    off = mean.copy()
    off[:n] -= seen.y[:, None]
    work = np.empty((m, m, rows))
    ln_z = np.empty(rows)
    for start in range(0, rows, BLOCK):
        here = slice(start, min(start + BLOCK, rows))
        part = np.array(kernel[:, :, here], order="C")
        part[:n, :n] += seen.noise[:, :, None]
        ln_z[here] = _sweep(part, off[:, here], n)
        work[:, :, here] = part
    weight, gain = np.zeros((m, rows)), np.zeros((m, m, rows))
    weight[:n], gain[:n, :n] = -off[:n], work[:n, :n]
    if m > n:
        fit = fit_box(off[n:], work[n:, n:], seen.low, seen.high, seen.blur)
        through = -work[n:, :n]
        back = (fit.gain[:, :, None] * through[None]).sum(axis=1)
        weight[n:], gain[n:, n:] = fit.pull, fit.gain
        weight[:n] -= (through * fit.pull[:, None]).sum(axis=0)
        gain[:n, :n] += (through[:, :, None] * back[:, None]).sum(axis=0)
        gain[n:, :n] = -back
        gain[:n, n:] = -np.swapaxes(back, 0, 1)
        ln_z += fit.ln_z
    return Conditioned(ln_z, weight, gain)


@dataclass(frozen=True, slots=True)
class Left:
    """Rows given some numbers: log density of those, (R,); of the rest, off (k, R), kernel.

    Attributes:
        off: mean of a quantity, or mean less number of a number not yet conditioned on.
        kernel: covariance, (k, k, R).
    """

    ln_z: FloatArray
    off: FloatArray
    kernel: FloatArray

    def take(self, which: NDArray[np.integer]) -> Left:
        """Some of the rows."""
        if len(which) == len(self.ln_z):
            return self
        return Left(self.ln_z[which], self.off[:, which], self.kernel[:, :, which])


def score(mean: FloatArray, kernel: Callable[[slice], FloatArray], seen: Observed) -> Scored:
    """Log evidence of every row, and the law of some watched quantities afterwards.

    Args:
        mean: prior means, factors then watched, (m + v, R). kernel: their prior covariance in some
            of the rows, (m + v, m + v, r); it is overwritten. seen: n numbers and w boxes,
            n + w = m.
    """
    n = len(seen.y)
    off = mean.copy()
    off[:n] -= seen.y[:, None]

    def noisy(here: slice) -> FloatArray:
        part = kernel(here)
        part[:n, :n] += seen.noise[:, :, None]
        return part

    left = given_numbers(off, noisy, n)
    scored = boxed(left, seen)
    return Scored(left.ln_z + scored.ln_z, scored.mean, scored.variance)


def given_numbers(off: FloatArray, kernel: Callable[[slice], FloatArray], n: int) -> Left:
    """Condition on the first n of k quantities, numbers.

    Args:
        off: mean less number of numbers, mean of the others, (k, R); it is overwritten. kernel:
            covariance, noise of numbers included, in some of the rows, (k, k, r); it is
            overwritten.
    """
    k, rows = off.shape
    left = np.empty((k - n, k - n, rows))
    ln_z = np.empty(rows)
    for start in range(0, rows, BLOCK):
        here = slice(start, min(start + BLOCK, rows))
        part = kernel(here)
        ln_z[here] = _eliminate(part, off[:, here], n)
        left[:, :, here] = part[n:, n:]
    return Left(ln_z, off[n:], left)


def boxed(left: Left, seen: Observed) -> Scored:
    """Log probability of boxes, the first of what is left, and the law of the others given them."""
    w = len(seen.low)
    centre, variance = left.off[w:], np.einsum("iir->ir", left.kernel[w:, w:])
    if not w:
        return Scored(np.zeros(left.off.shape[1]), centre, variance)
    fit = fit_box(left.off[:w], left.kernel[:w, :w], seen.low, seen.high, seen.blur)
    across = left.kernel[w:, :w]
    through = (across[:, :, None] * fit.gain).sum(axis=1)
    return Scored(
        fit.ln_z,
        centre + (across * fit.pull).sum(axis=1),
        variance - (through * across).sum(axis=1),
    )


def _eliminate(work: FloatArray, off: FloatArray, n: int) -> FloatArray:
    """Condition on the first n numbers in place; their log density, (R,).

    Args:
        work: covariance, (k, k, R): the rest becomes what it is given the numbers. off: mean less
            number of the first n, mean of the others, (k, R).
    """
    squared = np.zeros(off.shape[1])
    pivots = np.ones((max(n, 1), off.shape[1]))
    for k in range(n):
        pivots[k] = work[k, k]
        share = work[k, k + 1 :] / pivots[k]
        squared += off[k] * off[k] / pivots[k]
        off[k + 1 :] -= share * off[k]
        work[k + 1 :, k + 1 :] -= work[k, k + 1 :, None] * share[None]
    ln_density: FloatArray = -0.5 * (squared + np.log(pivots).sum(axis=0) + n * LN_TWO_PI)
    return ln_density


def _sweep(work: FloatArray, off: FloatArray, n: int) -> FloatArray:
    """As `_eliminate`, by Gauss and Jordan: with S the numbers' block, in place of S stands S^-1.

    Below it stands -K S^-1, beside it S^-1 K, and `off` of the numbers becomes S^-1 off.
    """
    squared = np.zeros(off.shape[1])
    pivots = np.ones((max(n, 1), off.shape[1]))
    for k in range(n):
        pivots[k] = work[k, k]
        column = work[:, k].copy()
        share = work[k] / pivots[k]
        pulled = off[k] / pivots[k]
        squared += off[k] * pulled
        off -= column * pulled
        off[k] = pulled
        work -= column[:, None] * share[None]
        work[k] = share
        work[:, k] = -column / pivots[k]
        work[k, k] = 1.0 / pivots[k]
    ln_density: FloatArray = -0.5 * (squared + np.log(pivots).sum(axis=0) + n * LN_TWO_PI)
    return ln_density


def evidence_of_block(
    pull: FloatArray, gain: FloatArray, block: Sequence[int], numbers: int
) -> FloatArray:
    """Log evidence that some factors add to all the others, in each row, (R,).

    Numbers have a density, boxes a probability: a box that holds anyway has a site of no precision,
    and its part of the determinant, next to nothing, must not pass for a density.

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
    boxes = [k for k, i in enumerate(block) if i >= numbers]
    read = len(block) - len(boxes)
    if read:
        _, ln_det = np.linalg.slogdet(inside)
        if boxes:
            ln_det = ln_det - np.linalg.slogdet(inside[:, boxes][:, :, boxes])[1]
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
    pulled = gain @ slopes[:, :, -1:]
    along = -(np.swapaxes(pulled, 1, 2) @ slopes)[:, 0]
    along[:, -1] += 1.0
    left = np.maximum(along[:, -1], 1e-12)
    wide = np.where(spread > 0, spread, 1.0)
    _, pull, _ = interval_moments(centre + wide * z[:, -1], wide**2 * left, 0.0, 1.0)
    shift = np.where(spread > 0, wide * pull, 0.0)
    cut: FloatArray = z + along * shift[:, None]
    return cut
