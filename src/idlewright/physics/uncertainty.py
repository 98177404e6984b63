"""First-order measurement uncertainty (JCGM 100:2008, the GUM): combine, expand, round.

Everything here is first order: it is exact for linear models and for the working scales used
elsewhere (logarithms of resistances), and wrong for strongly bent ones. A rectangular error of
half-width a has the standard uncertainty a/sqrt(3).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from idlewright.errors import CannotTell

FloatArray = NDArray[np.float64]


def rectangular_sd(half_width: float) -> float:
    """Standard uncertainty of an error known only to lie within +/- half_width (GUM 4.3.7)."""
    return half_width / math.sqrt(3.0)


def root_sum_square(*parts: float) -> float:
    """Standard uncertainty of a sum of independent errors (GUM 5.1.2)."""
    return math.hypot(*parts)


def propagate(gradient: ArrayLike, covariance: ArrayLike) -> FloatArray:
    """Covariance of the outputs of a model, first order with correlations (GUM 5.2.2).

    Args:
        gradient: (outputs, inputs) derivatives of each output by each input at the estimates.
        covariance: (inputs, inputs) covariance of the inputs.

    Returns:
        (outputs, outputs) covariance; its diagonal's square root is the standard uncertainty.
    """
    jacobian = np.atleast_2d(np.asarray(gradient, dtype=np.float64))
    return np.asarray(jacobian @ np.asarray(covariance, dtype=np.float64) @ jacobian.T)


def mean_covariance(samples: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Means of repeated rows of readings, and the covariance of those means (GUM 4.2.3, 5.2.3).

    Args:
        samples: (repeats, quantities), at least two repeats.

    Returns:
        means (quantities,), covariance of the means (quantities, quantities).
    """
    rows = np.asarray(samples, dtype=np.float64)
    repeats = rows.shape[0]
    if repeats < 2:
        raise CannotTell("one reading alone says nothing about its spread; read it again")
    means = rows.mean(axis=0)
    scatter = rows - means
    return means, scatter.T @ scatter / (repeats * (repeats - 1))


def effective_freedom(parts: ArrayLike, freedom: ArrayLike) -> float:
    """Effective degrees of freedom of a combined uncertainty (Welch-Satterthwaite, GUM G.4).

    Args:
        parts: each input's share of the combined standard uncertainty (its unit does not matter).
        freedom: degrees of freedom of each; math.inf for a stated limit.
    """
    shares = np.asarray(parts, dtype=np.float64)
    lost = float(np.sum(shares**4 / np.asarray(freedom, dtype=np.float64)))
    return math.inf if lost == 0.0 else float(np.sum(shares**2)) ** 2 / lost


def coverage_factor(probability: float, freedom: float = math.inf) -> float:
    """Factor k of the two-sided interval +/- k u with this probability (GUM G.3, Student's t)."""
    from scipy.special import ndtri, stdtrit  # slow to import, and a judgement needs neither

    upper = 0.5 * (1.0 + probability)
    if math.isinf(freedom):
        return float(ndtri(upper))
    return float(stdtrit(freedom, upper))


def round_significant(value: float, digits: int = 2) -> float:
    """A value rounded to so many significant digits, as uncertainties are stated (GUM 7.2.6)."""
    if value == 0.0:
        return 0.0
    return round(value, digits - 1 - math.floor(math.log10(abs(value))))


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line fitted to pairs: y = intercept + slope * x, with its uncertainty.

    Attributes:
        intercept, slope: least-squares estimates.
        covariance: (2, 2), of (intercept, slope). residual_sd: scatter of y about the line.
        freedom: degrees of freedom, pairs - 2.
        x_low, x_high: span of the pairs; beyond it the line is not vouched for.
    """

    intercept: float
    slope: float
    covariance: FloatArray
    residual_sd: float
    freedom: int
    x_low: float
    x_high: float

    def at(self, x: float) -> tuple[float, float]:
        """Value of the line at x and its standard uncertainty."""
        variance = propagate([[1.0, x]], self.covariance)[0, 0]
        return self.intercept + self.slope * x, math.sqrt(variance)


def fit_line(x: ArrayLike, y: ArrayLike) -> Line:
    """Least-squares line through at least three pairs, equal weights (GUM H.3).

    Sums are taken about the mean of x, so that a far-off origin costs no digits. CannotTell if
    there are fewer than three pairs or x never moves.
    """
    across = np.asarray(x, dtype=np.float64)
    up = np.asarray(y, dtype=np.float64)
    centre = float(across.mean()) if across.size else 0.0
    spread = float(np.sum((across - centre) ** 2))
    if across.size < 3 or spread == 0.0:
        raise CannotTell("a line needs three readings at more than one setting; take another")
    slope = float(np.sum((across - centre) * up)) / spread
    middle = float(up.mean())
    rest = up - middle - slope * (across - centre)
    freedom = across.size - 2
    variance = float(np.sum(rest**2)) / freedom
    about_centre = np.diag([variance / across.size, variance / spread])
    covariance = propagate([[1.0, -centre], [0.0, 1.0]], about_centre)
    ends = float(across.min()), float(across.max())
    return Line(middle - slope * centre, slope, covariance, math.sqrt(variance), freedom, *ends)
