"""What the readings say about the latents of one car: a density, exact for given latents.

A *law* is one choice of alternative for every reading. The likelihood of the readings is the sum
of all laws' likelihoods.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from idlewright.diagnosis.factors import REPEATABILITY_SHARE, NumberFactor, Seen
from idlewright.model.compiled import CompiledModel


@dataclass(frozen=True)
class Law:
    """One alternative for every reading: n numbers first, then w boxes.

    Attributes:
        latents: number of each factor's latent in the model, (n + w,). times: when each was seen.
        y, covariance: numbers (n,) and the covariance of their errors (n, n).
        low, high, blur: boxes, (w,). ln_weight: log prior of this choice.
    """

    latents: tuple[int, ...]
    times: tuple[int, ...]
    y: np.ndarray
    covariance: np.ndarray
    low: np.ndarray
    high: np.ndarray
    blur: np.ndarray
    ln_weight: float

    @property
    def count(self) -> int:
        """Number of numbers n."""
        return len(self.y)

    def ln_likelihood(self, x: np.ndarray) -> np.ndarray:
        """Log density of the readings, (W,), in worlds whose latents are x, (W, n + w)."""
        n = self.count
        total = np.full(len(x), self.ln_weight)
        if n:
            root = np.linalg.cholesky(self.covariance)
            scaled = np.linalg.solve(root, (self.y - x[:, :n]).T)
            total -= 0.5 * (scaled**2).sum(axis=0) + np.log(np.diag(root)).sum()
            total -= 0.5 * n * math.log(2 * math.pi)
        for k, (low, high, blur) in enumerate(zip(self.low, self.high, self.blur, strict=True)):
            soft = max(blur, 1e-9)
            total += ln_normal_between((low - x[:, n + k]) / soft, (high - x[:, n + k]) / soft)
        return total


def ln_normal_between(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """ln P(a < N(0, 1) < b), from the side where no digits are lost."""
    swap = a + b > 0
    a, b = np.where(swap, -b, a), np.where(swap, -a, b)
    upper, lower = log_ndtr(b), log_ndtr(a)
    with np.errstate(divide="ignore"):
        return upper + np.log(-np.expm1(np.minimum(lower - upper, -1e-300)))


def laws(model: CompiledModel, seen: Sequence[Seen], times: Sequence[int]) -> list[Law]:
    """Every choice of alternatives of the readings that have any."""
    able = [(one, t) for one, t in zip(seen, times, strict=True) if one.alternatives]
    found = []
    for choice in itertools.product(*(one.alternatives for one, _ in able)):
        numbers = [(f, t) for a, (_, t) in zip(choice, able, strict=True) for f in a.numbers]
        boxes = [(b, t) for a, (_, t) in zip(choice, able, strict=True) for b in a.boxes]
        # A border errs the same way each time it is seen in one stretch: equal boxes are one.
        boxes = list(dict.fromkeys(boxes))
        found.append(
            Law(
                latents=tuple(model.number_of(f.latent) for f, _ in (*numbers, *boxes)),
                times=tuple(t for _, t in (*numbers, *boxes)),
                y=np.array([f.y for f, _ in numbers]),
                covariance=error_covariance([f for f, _ in numbers]),
                low=np.array([b.low for b, _ in boxes]),
                high=np.array([b.high for b, _ in boxes]),
                blur=np.array([b.blur for b, _ in boxes]),
                ln_weight=sum(a.ln_weight for a in choice),
            )
        )
    return found


def error_covariance(numbers: Sequence[NumberFactor]) -> np.ndarray:
    """Errors of numbers, built from the independent errors they are made of.

    Each meter has one gain; each quantity read by one meter has one lasting error; the rest is new.
    """
    count = len(numbers)
    total = np.zeros((count, count))
    for meter in {f.meter for f in numbers}:
        gain = np.array([f.gain if f.meter == meter else 0.0 for f in numbers])
        total += np.outer(gain, gain)
    for meter, latent in {(f.meter, f.latent) for f in numbers}:
        here = [i for i, f in enumerate(numbers) if (f.meter, f.latent) == (meter, latent)]
        lasting = np.array([(1 - REPEATABILITY_SHARE) * numbers[i].variance for i in here])
        total[np.ix_(here, here)] += np.minimum.outer(lasting, lasting)
    total[np.diag_indices(count)] += [REPEATABILITY_SHARE * f.variance for f in numbers]
    return total


def ln_odds_words(model: CompiledModel, seen: Sequence[Seen], times: Sequence[int]) -> np.ndarray:
    """Log chance of the words with stated odds: (F + 1, T, 2), last fault good, [..., 1] active."""
    faults = list(model.cells.faults)
    table = np.zeros((len(faults) + 1, max(times, default=0) + 1, 2))
    looks = {}
    for k, (one, time) in enumerate(zip(seen, times, strict=True)):
        answer = (one.what or k, time, one.base, tuple(sorted(one.odds.items())))
        looks[answer] = (one, time)  # the same look again at one time says nothing new
    for one, time in looks.values():
        if not one.odds and one.base == 1.0:
            continue
        table[:, time, :] += math.log(one.base)
        for k, fault in enumerate(faults):
            if fault.id in one.odds:
                table[k, time, 1] += math.log(max(one.odds[fault.id], 1e-9)) - math.log(one.base)
    return table
