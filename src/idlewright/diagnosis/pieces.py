"""What weighing gives: log odds of every row, and the posterior behind the rows that matter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.world import Rows
from idlewright.model.cells import IntArray
from idlewright.model.scalars import FloatArray

DEAD = -1e9
"""Log weight of what was not worked out, because it cannot matter."""


def ln_sum(ln: FloatArray) -> float:
    """Logarithm of the sum of all weights whose logarithms are given; -inf for none."""
    if not ln.size:
        return -np.inf
    top = float(ln.max())
    if not np.isfinite(top):
        return top
    return top + float(np.log(np.exp(ln - top).sum()))


def ln_sum_first(ln: FloatArray) -> FloatArray:
    """The same over the first axis."""
    top = ln.max(axis=0)
    total: FloatArray = top + np.log(np.exp(ln - top).sum(axis=0))
    return total


@dataclass(frozen=True, slots=True)
class Posterior:
    """Posterior of some looks at one level of tolerance given the same factors.

    Attributes:
        z: mean of the extended parameters, (P, K). slopes: B, (P, m, K).
        gain: (P, m, m), cov z = I - B' gain B.
    """

    z: FloatArray
    slopes: FloatArray
    gain: FloatArray


@dataclass(frozen=True, slots=True)
class Piece:
    """Some rows at one level of tolerance under one combination of alternatives.

    Attributes:
        row: (P,). level: tolerance widening. ln_weight: ln (prior x evidence), (P,).
        u_mean, u_variance: severity in u, (P,) (variance 0: none).
        posterior: of the looks behind the rows; at: which one is each row's, (P,).
    """

    row: IntArray
    level: float
    ln_weight: FloatArray
    u_mean: FloatArray
    u_variance: FloatArray
    posterior: Posterior
    at: IntArray

    def take(self, which: IntArray) -> Piece:
        """Some of the rows."""
        return Piece(
            self.row[which],
            self.level,
            self.ln_weight[which],
            self.u_mean[which],
            self.u_variance[which],
            self.posterior,
            self.at[which],
        )

    @property
    def z(self) -> FloatArray:
        """Posterior mean of the extended parameters of each row, (P, K)."""
        return self.posterior.z[self.at]


@dataclass(frozen=True, slots=True)
class Weighed:
    """Result of weighing.

    Attributes:
        rows: hypotheses. ln_row: ln (prior x evidence) of each, (R,). pieces: details of those that
            matter. settled: the last look moved nothing by more than SETTLED. passes: looks taken.
    """

    rows: Rows
    ln_row: FloatArray
    pieces: tuple[Piece, ...]
    settled: bool
    passes: int

    @property
    def ln_total(self) -> float:
        """Log evidence of everything."""
        return ln_sum(self.ln_row)
