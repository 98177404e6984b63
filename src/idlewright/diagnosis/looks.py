"""Rows that look alike to every factor are worked out once.

Most faults touch few of the readings of a job: all cells, moods and variants in which no factor
tells a car from the good one share one *look*, and so do rows that differ only where nothing was
read. A look holds the factors' means and prior covariance on the bank's lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.diagnosis.gaussian import inside_range
from idlewright.diagnosis.world import BoolArray, Rows
from idlewright.model.cells import IntArray
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray

BLOCK = 256
"""Looks whose slopes are gathered at a time: a dozen factors' then stay in the cache."""
MOST_CODES = 2**62


@dataclass(frozen=True, slots=True)
class Columns:
    """Where a time's local coordinates stand among a job's extended ones.

    Attributes:
        maps: extended column of each tolerance in each epoch, (E, T). width: extended columns.
        epoch_of_time: epoch of each time.
    """

    maps: IntArray
    width: int
    epoch_of_time: Sequence[int]

    def place(self, slopes: FloatArray, time: int) -> None:
        """Move slopes that stand in the first epoch's columns to the time's own, in place.

        Args:
            slopes: by extended columns, (..., K); those beyond the first T zero but the last.
        """
        first, now = self.maps[0], self.maps[self.epoch_of_time[time]]
        fresh = np.flatnonzero(now != first)
        if len(fresh):
            slopes[..., now[fresh]] = slopes[..., first[fresh]]
            slopes[..., first[fresh]] = 0.0

    def local(self, z: FloatArray, epoch: int) -> FloatArray:
        """Extended coordinates (P, K) as the local ones of an epoch, (P, T + 1)."""
        return np.concatenate([z[:, self.maps[epoch]], z[:, -1:]], axis=1)


@dataclass(frozen=True, slots=True)
class Looks:
    """U looks of R rows at F factors.

    Attributes:
        of: look of each row, (R,). row: an example row of each look, (U,). sees: some factor sees
            the row's fault, (U,). mean: of factors, then of severity (0), (F + 1, U).
        kernel: their prior covariance with tolerances as stated, (F + 1, F + 1, U).
        edge: log share of a row's severity inside its range where no factor sees the fault, else
            0, (R,).
    """

    of: IntArray
    row: IntArray
    sees: BoolArray
    mean: FloatArray
    kernel: FloatArray
    edge: FloatArray

    def widened(self, factors: Sequence[int], level: float, which: IntArray) -> FloatArray:
        """Prior covariance of some factors and the severity in some looks, (m + 1, m + 1, W).

        Args:
            level: how many times as wide as stated the tolerances are.
        """
        rows = np.array([*factors, len(self.mean) - 1])
        taken: FloatArray
        if len(which) and which[-1] - which[0] == len(which) - 1:  # sorted: a range
            taken = self.kernel[rows[:, None], rows, which[0] : which[-1] + 1]
        else:
            taken = self.kernel[rows[:, None, None], rows[None, :, None], which]
        if level != 1.0:
            # All but severity's own part grows with the square of the tolerances.
            by_u = taken[-1, :-1]
            taken[:-1, :-1] *= level**2
            taken[:-1, :-1] -= (level**2 - 1.0) * by_u[:, None] * by_u[None, :]
        return taken

    def means(self, factors: Sequence[int], which: IntArray) -> FloatArray:
        """Prior means of some factors and of the severity (0) in some looks, (m + 1, W)."""
        rows = np.array([*factors, len(self.mean) - 1])
        means: FloatArray = self.mean[rows[:, None], which]
        return means


def make_looks(
    model: CompiledModel,
    rows: Rows,
    columns: Columns,
    latents: Sequence[int],
    times: Sequence[int],
) -> Looks:
    """Looks of rows at factors, given the factors' latents and times."""
    cells = model.cells
    good = cells.good[cells.variant[rows.cell]]
    sources = {t: np.where(rows.active[:, t], rows.cell, good) for t in set(times)}
    bank = [model.rows(number) for number in latents]
    code = _Codes(len(rows))
    sees = np.zeros(len(rows), dtype=bool)
    for one, time in zip(bank, times, strict=True):
        code.add(one.of[sources[time]], one.different)
        sees |= one.own[sources[time]]
    block = len(cells) // len(cells.good)
    code.add(np.where(sees, rows.cell % block + 1, 0), block + 1)
    row, of = code.unique()
    example = {time: source[row] for time, source in sources.items()}
    mean, kernel = _moments(model, columns, latents, times, example, len(row))
    edge = np.where(sees | rows.blind, 0.0, _inside(model)[rows.cell])
    return Looks(of, row, sees[row], mean, kernel, edge)


def _inside(model: CompiledModel) -> FloatArray:
    """Log share of each cell's severity inside its fault's range, (C,)."""
    cells = model.cells
    zero, one = np.zeros(len(cells)), np.ones(len(cells))
    return inside_range(zero, one, cells.centre, cells.spread**2)


class _Codes:
    """Several small numbers a row as one, packed as long as they fit."""

    def __init__(self, rows: int) -> None:
        self.code = np.zeros(rows, dtype=np.int64)
        self.most = 1

    def add(self, number: NDArray[np.integer], count: int) -> None:
        """Append one number a row, each below count."""
        if self.most > MOST_CODES // count:
            found, self.code = np.unique(self.code, return_inverse=True)
            self.most = len(found)
        self.code = self.code * count + number
        self.most *= count

    def unique(self) -> tuple[IntArray, IntArray]:
        """First row of each different code, and the code's number of each row."""
        _, row, of = np.unique(self.code, return_index=True, return_inverse=True)
        return row, of


def _moments(
    model: CompiledModel,
    columns: Columns,
    latents: Sequence[int],
    times: Sequence[int],
    example: dict[int, IntArray],
    count: int,
) -> tuple[FloatArray, FloatArray]:
    """Means (F + 1, U) and covariance (F + 1, F + 1, U) of factors and severity."""
    many = len(latents) + 1
    mean, kernel = np.zeros((many, count)), np.empty((many, many, count))
    for start in range(0, count, BLOCK):
        here = slice(start, min(start + BLOCK, count))
        cells = {time: cell[here] for time, cell in example.items()}
        x, slopes = gather(model, columns, latents, times, cells, here.stop - start)
        mean[:-1, here] = x.T
        kernel[:-1, :-1, here] = np.moveaxis(slopes @ np.swapaxes(slopes, 1, 2), 0, 2)
        kernel[-1, :-1, here] = kernel[:-1, -1, here] = slopes[:, :, -1].T
        kernel[-1, -1, here] = 1.0
    return mean, kernel


def gather(
    model: CompiledModel,
    columns: Columns,
    latents: Sequence[int],
    times: Sequence[int],
    sources: dict[int, IntArray],
    count: int,
) -> tuple[FloatArray, FloatArray]:
    """Means (R, m) and slopes by extended columns (R, m, K) of factors on the bank's lines.

    Args:
        sources: at each time, the cell whose physics each of R rows follows. count: R.
    """
    mean = np.empty((count, len(latents)))
    slopes = np.empty((count, len(latents), columns.width))
    last = model.columns - 1
    slopes[:, :, last:] = 0.0
    for k, (number, time) in enumerate(zip(latents, times, strict=True)):
        mean[:, k], rows = model.rows(number).at(sources[time])
        slopes[:, k, :last] = rows[:, :-1]
        slopes[:, k, -1] = rows[:, -1]
        columns.place(slopes[:, k], time)
    return mean, slopes
