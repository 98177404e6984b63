"""What a check would read next, in every way the car may be."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from idlewright.diagnosis.evidence import Weigher
from idlewright.diagnosis.pairs import PairRows
from idlewright.diagnosis.pieces import Piece
from idlewright.model.pair_worlds import linearise_pairs
from idlewright.model.scalars import FloatArray


def predict_latents(
    weigher: Weigher, piece: Piece, numbers: Sequence[int], time: int, *, exact: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Predictive mean and variance of latents at a time, working scale, (P, n) each.

    Args:
        weigher: with its model and rows. piece: posterior rows. numbers: latents. time: when.
        exact: physics solved again at the posterior; else the bank's lines are followed.
    """
    rows = weigher.rows.take(piece.row)
    source = weigher.sources(rows, time)
    local = weigher.local_z(piece.z, time)
    model = weigher.model
    if exact:
        mean, by_z = model.linearise(source, local, numbers, piece.level)
    else:
        unique, back = np.unique(source, return_inverse=True)
        bank_mean, bank_slopes = model.bank(numbers)
        by_z = bank_slopes[unique][back]
        if piece.level != 1.0:
            by_z[:, :, :-1] *= piece.level
        mean = bank_mean[source] + np.einsum("pnk,pk->pn", by_z, local)
    variance = np.einsum("pnk,pnk->pn", by_z, by_z)
    if piece.slopes.shape[1]:
        columns = weigher.maps[weigher.epoch_of_time[time]]
        seen = np.concatenate([piece.slopes[:, :, columns], piece.slopes[:, :, -1:]], axis=2)
        shared = by_z @ np.swapaxes(seen, 1, 2)
        variance = variance - np.einsum("pnm,pmq,pnq->pn", shared, piece.gain, shared)
    return mean, np.maximum(variance, 1e-12)


def predict_pair(
    weigher: Weigher, rows: PairRows, numbers: Sequence[int], time: int
) -> tuple[FloatArray, FloatArray]:
    """Predictive mean and variance of latents at a time under pairs, (P, n) each."""
    epoch = weigher.epoch_of_time[time]
    width = weigher.width + 1
    columns = np.append(weigher.maps[epoch], [width - 2, width - 1])
    mean, by_z = linearise_pairs(
        weigher.model, rows.cells, rows.on, rows.z[:, columns], numbers, rows.level
    )
    variance = np.einsum("pnk,pnk->pn", by_z, by_z)
    shared = by_z @ np.swapaxes(rows.slopes[:, :, columns], 1, 2)
    variance = variance - np.einsum("pnm,pmq,pnq->pn", shared, rows.gain, shared)
    return mean, np.maximum(variance, 1e-12)
