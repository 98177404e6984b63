"""What a check would read next, in every way the car may be."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from idlewright.diagnosis.evidence import Weigher
from idlewright.diagnosis.pairs import PairRows
from idlewright.diagnosis.pieces import Piece
from idlewright.model.pair_worlds import PairCells, linearise_pairs
from idlewright.model.scalars import FloatArray


def predict_latents(
    weigher: Weigher, piece: Piece, numbers: Sequence[int], time: int, *, exact: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Predictive mean and variance of latents at a time, working scale, (P, n) each.

    Args:
        weigher: with its model and rows. piece: posterior rows. numbers: latents. time: when.
        exact: physics solved again at the posterior; else the bank's lines are followed.
    """
    if not exact:
        return predict_pieces(weigher, [piece], numbers, time)
    source = weigher.sources(weigher.rows.take(piece.row), time)
    mean, by_z = weigher.model.linearise(
        source, weigher.local_z(piece.z, time), numbers, piece.level
    )
    return mean, np.maximum(_variance(weigher, piece, by_z, time), 1e-12)


def predict_pieces(
    weigher: Weigher, pieces: Sequence[Piece], numbers: Sequence[int], time: int
) -> tuple[FloatArray, FloatArray]:
    """Predictive mean and variance on the bank's lines, rows of all pieces in turn, (P, n) each."""
    rows = weigher.rows.take(np.concatenate([piece.row for piece in pieces]))
    level = np.concatenate([np.full(len(piece.row), piece.level) for piece in pieces])
    local = weigher.local_z(np.concatenate([piece.z for piece in pieces]), time)
    mean, by_z = weigher.model.lines_at(numbers, weigher.sources(rows, time))
    by_z[:, :, :-1] *= level.astype(by_z.dtype)[:, None, None]
    mean += (by_z @ local.astype(by_z.dtype)[:, :, None])[:, :, 0]
    variance = np.empty_like(mean)
    start = 0
    for piece in pieces:
        here = slice(start, start + len(piece.row))
        variance[here] = _variance(weigher, piece, by_z[here], time)
        start = here.stop
    return mean, np.maximum(variance, 1e-12)


def _variance(weigher: Weigher, piece: Piece, by_z: NDArray[np.floating], time: int) -> FloatArray:
    """Predictive variance of latents with slopes by_z (P, n, T + 1) in a piece's rows, (P, n)."""
    variance: FloatArray = np.einsum("pnk,pnk->pn", by_z, by_z).astype(float)
    behind = piece.posterior
    if behind.slopes.shape[1]:
        columns = np.append(weigher.maps[weigher.epoch_of_time[time]], weigher.width - 1)
        seen = behind.slopes[piece.at][:, :, columns]
        shared = (by_z @ np.swapaxes(seen, 1, 2).astype(by_z.dtype)).astype(float)
        variance -= ((shared @ behind.gain[piece.at]) * shared).sum(axis=2)
    return variance


def predict_pairs(
    weigher: Weigher, picked: Sequence[tuple[PairRows, int]], numbers: Sequence[int], time: int
) -> tuple[FloatArray, FloatArray]:
    """Predictive mean and variance of latents at a time under single rows of pairs, (P, n) each."""
    width = weigher.width + 1
    columns = np.append(weigher.maps[weigher.epoch_of_time[time]], [width - 2, width - 1])
    rows = [part.take(np.array([row])) for part, row in picked]
    cells = PairCells(
        np.concatenate([one.cells.fault for one in rows]),
        np.concatenate([one.cells.centre for one in rows]),
        np.concatenate([one.cells.spread for one in rows]),
        rows[0].cells.variant,
    )
    on = np.concatenate([one.on for one in rows])
    z = np.concatenate([one.z for one in rows])[:, columns]
    level = np.array([one.level for one in rows])
    mean, by_z = linearise_pairs(weigher.model, cells, on, z, numbers, level)
    variance = np.einsum("pnk,pnk->pn", by_z, by_z)
    for k, one in enumerate(rows):
        shared = by_z[k] @ one.slopes[0][:, columns].T
        variance[k] -= ((shared @ one.gain[0]) * shared).sum(axis=1)
    return mean, np.maximum(variance, 1e-12)
