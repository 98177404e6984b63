"""How good stated probabilities and counted results are: scores, calibration, intervals.

Sources, cited from memory where no copy was at hand: G. W. Brier (1950) and A. H. Murphy (1973) for
the score and its parts; Clopper and Pearson (1934) and Wilson (1927) for shares; Efron's percentile
bootstrap for means. Both Brier and log loss are proper: an honest report is best on average
(Gneiting and Raftery, 2007).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, ndtri

from idlewright.errors import BadInput, Problem

Floats = NDArray[np.float64]
Edge = Literal["down", "up"]

DRAWS = 4000
GROUP_DIGITS = 12


@dataclass(frozen=True, slots=True)
class BrierParts:
    """Brier score = reliability - resolution + uncertainty (exact: groups of equal forecasts)."""

    reliability: float
    resolution: float
    uncertainty: float

    @property
    def score(self) -> float:
        """The Brier score."""
        return self.reliability - self.resolution + self.uncertainty

    @property
    def skill(self) -> float:
        """1 for a perfect forecast, 0 for always stating the share; nan if all came out alike."""
        return 1.0 - self.score / self.uncertainty if self.uncertainty > 0.0 else float("nan")


@dataclass(frozen=True, slots=True)
class Bin:
    """Forecasts between two probabilities: how many, their mean, the share that came true."""

    low: float
    high: float
    n: int
    mean_p: float
    share_true: float


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with an interval at a level."""

    value: float
    low: float
    high: float
    level: float


@dataclass(frozen=True, slots=True)
class Sure:
    """Answers surer than a bar: how many, how many of them wrong, one-sided upper bound."""

    n: int
    wrong: int
    upper: float


def brier(p: ArrayLike, came_true: ArrayLike) -> float:
    """Mean squared difference of stated probability (N,) and what came (N,), 0 or 1."""
    stated, came = _pair(p, came_true)
    return float(np.mean((stated - came) ** 2))


def brier_parts(p: ArrayLike, came_true: ArrayLike) -> BrierParts:
    """Murphy's parts of the Brier score, by groups of equal forecasts."""
    stated, came = _pair(p, came_true)
    base = came.mean()
    values, group = np.unique(np.round(stated, GROUP_DIGITS), return_inverse=True)
    count = np.bincount(group)
    share = np.bincount(group, weights=came) / count
    return BrierParts(
        reliability=float(count @ (values - share) ** 2 / len(came)),
        resolution=float(count @ (share - base) ** 2 / len(came)),
        uncertainty=float(base * (1.0 - base)),
    )


def brier_of_classes(p: ArrayLike, truth: ArrayLike) -> float:
    """Brier score summed over classes: probabilities (N, K), true classes (N,) from 0.

    With two classes it is twice `brier`.
    """
    stated, which = _classes(p, truth)
    return float(np.mean(((stated - np.eye(stated.shape[1])[which]) ** 2).sum(axis=1)))


def log_loss(p: ArrayLike, came_true: ArrayLike) -> float:
    """Mean -ln of what was stated for what came, nat; infinite if a certainty proved wrong."""
    stated, came = _pair(p, came_true)
    return _mean_log(np.where(came > 0.5, stated, 1.0 - stated))


def log_loss_of_classes(p: ArrayLike, truth: ArrayLike) -> float:
    """Mean -ln of what was stated for the true class, nat: (N, K) and (N,) from 0."""
    stated, which = _classes(p, truth)
    return _mean_log(stated[np.arange(len(which)), which])


def calibration(
    p: ArrayLike, came_true: ArrayLike, bins: int = 10, edge: Edge = "down"
) -> tuple[Bin, ...]:
    """Forecasts by equal bins on 0 to 1; empty bins are left out.

    Args:
        p: (N,) stated probabilities. came_true: (N,) 0 or 1.
        bins: number of bins.
        edge: bin of a value on an inner edge: the lower ("down") or the upper one.
    """
    stated, came = _pair(p, came_true)
    edges = np.linspace(0.0, 1.0, bins + 1)
    which = np.searchsorted(edges[1:-1], stated, side="left" if edge == "down" else "right")
    return tuple(
        Bin(float(edges[i]), float(edges[i + 1]), int(here.sum()), float(stated[here].mean()),
            float(came[here].mean()))
        for i in range(bins) if (here := which == i).any()
    )


def calibration_error(bins: tuple[Bin, ...]) -> tuple[float, float]:
    """Expected and worst |mean stated - share true| over bins; it depends on the bins."""
    gaps = np.array([abs(one.mean_p - one.share_true) for one in bins])
    count = np.array([one.n for one in bins])
    return float(gaps @ count / count.sum()), float(gaps.max())


def clopper_pearson(k: int, n: int, level: float = 0.95) -> Interval:
    """Exact two-sided interval of a share, k of n; never too narrow."""
    _counts(k, n, level)
    tail = (1.0 - level) / 2.0
    low = float(betaincinv(k, n - k + 1, tail)) if k > 0 else 0.0
    high = float(betaincinv(k + 1, n - k, 1.0 - tail)) if k < n else 1.0
    return Interval(k / n, low, high, level)


def wilson(k: int, n: int, level: float = 0.95) -> Interval:
    """Wilson's score interval of a share, k of n: nearer the level on average."""
    _counts(k, n, level)
    z = float(ndtri(0.5 + level / 2.0))
    middle = (k + z * z / 2.0) / (n + z * z)
    half = z / (n + z * z) * float(np.sqrt(k * (n - k) / n + z * z / 4.0))
    return Interval(k / n, max(0.0, middle - half), min(1.0, middle + half), level)


def upper_bound(k: int, n: int, level: float = 0.95) -> float:
    """One-sided exact upper bound of a share, k of n; 1 when there is nothing to count."""
    if n == 0:
        return 1.0
    _counts(k, n, level)
    return float(betaincinv(k + 1, n - k, level)) if k < n else 1.0


def sure_answers(p: ArrayLike, right: ArrayLike, bar: float = 0.99) -> Sure:
    """How often answers surer than the bar were wrong."""
    stated, good = _pair(p, right)
    sure = stated > bar
    wrong = int((good[sure] < 0.5).sum())
    return Sure(int(sure.sum()), wrong, upper_bound(wrong, int(sure.sum())))


def bootstrap_mean(
    values: ArrayLike, seed: int, level: float = 0.95, draws: int = DRAWS
) -> Interval:
    """Mean of values (N,) with its percentile bootstrap interval; the seed is the caller's."""
    data = np.asarray(values, dtype=float)
    if data.ndim != 1 or not len(data) or not np.isfinite(data).all():
        raise BadInput(Problem("the values cannot be averaged", "at least one, all finite"))
    generator = np.random.default_rng(seed)
    means = np.array([
        data[generator.integers(len(data), size=len(data))].mean() for _ in range(draws)
    ])
    tail = (1.0 - level) / 2.0
    low, high = np.quantile(means, [tail, 1.0 - tail])
    return Interval(float(data.mean()), float(low), float(high), level)


def paired_bootstrap(
    a: ArrayLike, b: ArrayLike, seed: int, level: float = 0.95, draws: int = DRAWS
) -> Interval:
    """Mean of a - b over the same cases (N,), with its percentile bootstrap interval.

    Resampling whole cases keeps what two arms share on a case from counting as noise.
    """
    one, two = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    if one.shape != two.shape:
        raise BadInput(Problem("paired values differ in number", "one of each per case"))
    return bootstrap_mean(one - two, seed, level, draws)


def _mean_log(stated: Floats) -> float:
    if (stated <= 0.0).any():
        return float("inf")
    return float(-np.mean(np.log(stated)))


def _pair(p: ArrayLike, came_true: ArrayLike) -> tuple[Floats, Floats]:
    stated, came = np.asarray(p, dtype=float), np.asarray(came_true, dtype=float)
    if stated.shape != came.shape or stated.ndim != 1 or not len(stated):
        raise BadInput(Problem("forecasts and results do not match", "one result per forecast"))
    if not ((stated >= 0.0) & (stated <= 1.0)).all() or not np.isin(came, (0.0, 1.0)).all():
        raise BadInput(Problem("a forecast or a result is out of range",
                               "probabilities, and results 0 or 1"))
    return stated, came


def _classes(p: ArrayLike, truth: ArrayLike) -> tuple[Floats, NDArray[np.intp]]:
    stated, which = np.asarray(p, dtype=float), np.asarray(truth, dtype=np.intp)
    if stated.ndim != 2 or which.shape != stated.shape[:1] or not len(which):
        raise BadInput(Problem("forecasts and true classes do not match", "(N, K) and (N,)"))
    in_range = (stated >= 0.0).all() and (abs(stated.sum(axis=1) - 1.0) <= 1e-6).all()
    if not in_range or which.min() < 0 or which.max() >= stated.shape[1]:
        raise BadInput(Problem("a forecast or a true class is out of range",
                               "rows that sum to 1, classes from 0"))
    return stated, which


def _counts(k: int, n: int, level: float) -> None:
    if not (0 <= k <= n and n > 0 and 0.0 < level < 1.0):
        raise BadInput(Problem(f"{k} of {n} at level {level:g} is not a share",
                               "0 <= k <= n, n > 0, a level between 0 and 1"))
