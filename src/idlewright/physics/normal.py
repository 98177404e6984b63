"""The normal distribution over arrays, and sums of logarithms: what a judgement needs of them.

ln Phi(-y) is read off fourth-order Taylor series around the multiples of 1/128 up to y = 40, an
asymptotic series beyond. Its derivatives follow from the hazard r = phi(y) / Phi(-y), for which
r' = r (r - y); r is from `math.erfc` where y < 3, else from Laplace's continued fraction (NIST
Digital Library of Mathematical Functions, 7.9.1). Good to 1e-14 of the value, in the tails too.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

PER_ONE = 128
FARTHEST = 40
ORDER = 4
ERFC_BELOW, FRACTION_TERMS = 3.0, 120
ROOT_2_PI = math.sqrt(2.0 * math.pi)


def ndtr(x: ArrayLike) -> FloatArray:
    """Phi(x), the chance that a standard normal number is below x; same shape as x."""
    wide = np.array(x, dtype=float, ndmin=1)
    at, rest, strange = _along(wide)
    tail = np.exp(rest)
    tail *= _series()[-1].take(at)
    if strange is not None:
        tail[strange] = np.where(np.isnan(wide[strange]), np.nan, 0.0)
    np.subtract(1.0, tail, out=tail, where=wide > 0.0)
    return tail.reshape(np.shape(x))


def log_ndtr(x: ArrayLike) -> FloatArray:
    """ln Phi(x); same shape as x."""
    wide = np.array(x, dtype=float, ndmin=1).reshape(-1)
    at, rest, strange = _along(wide)
    found: FloatArray = rest + _series()[0].take(at)
    above = (wide > 0.0).nonzero()[0]
    if above.size:
        tail = np.exp(rest.take(above))
        tail *= _series()[-1].take(at.take(above))
        found[above] = np.log1p(-tail)
    if strange is not None:
        found[strange] = _far_out(wide[strange])
    return found.reshape(np.shape(x))


def log_sum_exp(x: ArrayLike, axis: int | None = None) -> FloatArray:
    """ln of the sum of exp(x) along an axis (None: all); -inf where every x is -inf."""
    wide = np.asarray(x, dtype=float)
    top = wide.max(axis=axis, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        total = np.log(np.exp(wide - top).sum(axis=axis, keepdims=True))
    return np.asarray((total + top).squeeze(axis))


def _along(
    x: FloatArray,
) -> tuple[NDArray[np.int64], FloatArray, NDArray[np.bool_] | None]:
    """Number of the node nearest to |x|, and ln Phi(-|x|) - ln Phi(-node).

    Last, where x is beyond the series or not a number (the other two mean nothing there), or None.
    """
    s = np.abs(x)
    s *= PER_ONE
    strange = None
    if s.size and not s.max() <= FARTHEST * PER_ONE:
        strange = ~(s <= FARTHEST * PER_ONE)
        s[strange] = 0.0
    node = np.rint(s)
    s -= node
    at = node.astype(np.int64)
    series = _series()
    rest = series[ORDER].take(at)
    for order in range(ORDER - 1, 0, -1):
        rest *= s
        rest += series[order].take(at)
    rest *= s
    return at, rest, strange


def _far_out(x: FloatArray) -> FloatArray:
    """ln Phi(x) for |x| > 40: the first terms of the asymptotic series (DLMF 7.12.1)."""
    with np.errstate(over="ignore"):  # the square of a huge number: -inf is meant
        square = x * x
    w = 1.0 / square
    series = -w * (1.0 - w * (3.0 - w * (15.0 - w * (105.0 - 945.0 * w))))
    ln_tail = -0.5 * square - np.log(np.abs(x) * ROOT_2_PI) + np.log1p(series)
    return np.where(x > 0.0, -0.0, ln_tail)


@lru_cache(maxsize=1)
def _series() -> tuple[FloatArray, ...]:
    """Coefficients of ln Phi(-y) by steps from each node, then Phi(-y) itself: 6 rows of (nodes,).

    Nodes are short binary fractions, so that their squares are exact.
    """
    y = np.arange(FARTHEST * PER_ONE + 1) / PER_ONE
    hazard = [_hazard(y)]
    for n in range(ORDER - 1):
        total: FloatArray = sum((hazard[k] * hazard[n - k] for k in range(n + 1)), -y * hazard[n])
        hazard.append((total - (hazard[n - 1] if n else 0.0)) / (n + 1))
    scaled = (-rate / (n + 1) / PER_ONE ** (n + 1) for n, rate in enumerate(hazard))
    ln_tail = -0.5 * y * y - np.log(hazard[0] * ROOT_2_PI)
    return (ln_tail, *scaled, np.exp(-0.5 * y * y) / (hazard[0] * ROOT_2_PI))


def _hazard(y: FloatArray) -> FloatArray:
    """phi(y) / Phi(-y)."""
    near = int(ERFC_BELOW * PER_ONE)
    fraction = y[near:].copy()
    for term in range(FRACTION_TERMS, 0, -1):
        fraction = y[near:] + term / fraction
    tail = np.array([0.5 * math.erfc(one / math.sqrt(2.0)) for one in y[:near].tolist()])
    return np.concatenate([np.exp(-0.5 * y[:near] ** 2) / (ROOT_2_PI * tail), fraction])
