"""What weighing leaves behind: the posterior of rows, piece by piece."""

from __future__ import annotations

from dataclasses import dataclass, replace

from scipy.special import logsumexp

from idlewright.diagnosis.world import Rows
from idlewright.model.cells import IntArray
from idlewright.model.scalars import FloatArray


@dataclass(frozen=True, slots=True)
class Piece:
    """Posterior of some rows at one level of tolerance under one combination of alternatives.

    Attributes:
        row: (P,). level: tolerance widening. ln_weight: ln (prior x evidence), (P,).
        z: posterior mean of the extended parameters, (P, K). slopes: B, (P, m, K).
        gain: (P, m, m), cov z = I - B' gain B. u_mean, u_variance: severity in u, (P,)
        (variance 0: none). pull: (P, m), E z = B' pull. picked: index of the alternative of each
        reading.
    """

    row: IntArray
    level: float
    ln_weight: FloatArray
    z: FloatArray
    slopes: FloatArray
    gain: FloatArray
    u_mean: FloatArray
    u_variance: FloatArray
    pull: FloatArray
    picked: tuple[int, ...]

    def take(self, which: IntArray) -> Piece:
        """Some of the rows."""
        arrays = {
            name: getattr(self, name)[which]
            for name in self.__slots__
            if name not in ("level", "picked")
        }
        return replace(self, **arrays)

    def put(self, which: IntArray, new: Piece) -> None:
        """Replace some of the rows by newer ones (in place)."""
        for name in self.__slots__:
            if name not in ("level", "picked"):
                getattr(self, name)[which] = getattr(new, name)


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
        return float(logsumexp(self.ln_row))
