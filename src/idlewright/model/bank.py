"""The bank: one latent at every cell's centre, with cells that look alike kept once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.model.cells import Cells, IntArray
from idlewright.model.scalars import FloatArray

ALIKE, ALIKE_SLOPE = 2e-9, 2e-8
"""Cells whose mean and derivatives differ by no more than this are one, working scale.

The finest meter's noise is a ten-thousandth on these scales, 50,000 times as much; slopes are kept
to about 1e-8 anyway.
"""


@dataclass(frozen=True, slots=True)
class BankRows:
    """One latent in all C cells, N of them different.

    Attributes:
        x: mean at the centre, working scale, (C,). slopes: derivatives by the k coordinates that
            move it in any cell, (N, k); single precision, since 1e-7 of a slope is far below all
            noise. columns: which those are of the tolerances and, last, severity, (k,).
        width: T + 1. of: slopes of each cell, (C,). own: cells that do not look like their
            variant's good car, (C,).
    """

    x: FloatArray
    slopes: NDArray[np.float32]
    columns: IntArray
    width: int
    of: NDArray[np.int32]
    own: NDArray[np.bool_]

    def at(self, cell: IntArray) -> tuple[FloatArray, NDArray[np.float32]]:
        """Means (R,) and derivatives (R, T + 1) in some cells."""
        slopes = np.zeros((len(cell), self.width), dtype=np.float32)
        slopes[:, self.columns] = self.slopes[self.of[cell]]
        return self.x[cell], slopes

    def by_severity(self, cell: IntArray) -> FloatArray:
        """Derivative by severity in some cells, per cell spread, (R,)."""
        if not len(self.columns) or self.columns[-1] != self.width - 1:
            return np.zeros(len(cell))
        found: FloatArray = self.slopes[self.of[cell], -1].astype(np.float64)
        return found

    @property
    def different(self) -> int:
        """Number of different cells N."""
        return len(self.slopes)


@dataclass(frozen=True, slots=True)
class Solved:
    """A latent in the cells where it was worked out, E of them; the others look like one of these.

    Attributes:
        x: means, (E,). slopes: derivatives by the coordinates `columns`, (E, k).
        sees: which of them each cell is, (C,).
    """

    x: FloatArray
    slopes: FloatArray
    columns: IntArray
    sees: IntArray


def bank_rows(solved: Solved, cells: Cells, width: int) -> BankRows:
    """Keep the slopes of each different cell once.

    A cell may share those of its variant's good car, or of the same cell of an earlier variant.

    Args:
        width: T + 1.
    """
    sees = solved.sees
    good = sees[cells.good[cells.variant]]
    stands_for = sees.copy()
    own = ~_alike(solved, sees, good)
    stands_for[~own] = good[~own]
    block = len(cells) // len(cells.good)
    for variant in range(1, len(cells.good)):
        mine = variant * block + np.arange(block)
        for earlier in range(variant):
            theirs = mine - (variant - earlier) * block
            same = _alike(solved, sees[mine], sees[theirs])
            stands_for[mine[same]] = stands_for[theirs[same]]
    kept, of = np.unique(stands_for, return_inverse=True)
    slopes = solved.slopes[kept].astype(np.float32)
    return BankRows(solved.x[sees], slopes, solved.columns, width, of.astype(np.int32), own)


def _alike(solved: Solved, one: IntArray, other: IntArray) -> NDArray[np.bool_]:
    """True where two solved cells are the same for every purpose, (R,)."""
    count = len(solved.x)
    pairs, back = np.unique(one * count + other, return_inverse=True)
    first, second = pairs // count, pairs % count
    close = np.abs(solved.x[first] - solved.x[second]) <= ALIKE
    at = np.flatnonzero(close & (first != second))
    apart = np.abs(solved.slopes[first[at]] - solved.slopes[second[at]])
    close[at] = apart.max(axis=1, initial=0.0) <= ALIKE_SLOPE
    found: NDArray[np.bool_] = close[back]
    return found
