"""What a latent is, in every cell, before anything was read: a narrow mixture along its own line.

A cell is a Gaussian over tolerances and severity. A latent moves with them along one line only (its
gradient); the physics is solved again at seven points of that line, so that a ground lift that may
be three times as large in one good car as in the next keeps its skewed shape.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from idlewright.model.cells import OVERLAP, IntArray
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray

SPACING = 0.75
POINTS = SPACING * np.arange(-3, 4)
"""Points on the line, standard deviations from the cell's centre."""
WIDTH = 0.6
"""Standard deviation of the piece of the normal law that each point stands for."""
UNIFORM = 1.0 / (math.sqrt(12.0) * OVERLAP)
"""Severity is uniform over a cell's own width; the bank's column is a wider Gaussian."""


def _weights() -> FloatArray:
    raw = np.exp(-0.5 * POINTS**2 / (1.0 - WIDTH**2))
    share: FloatArray = raw / raw.sum()
    return share


WEIGHTS = _weights()


@dataclass(frozen=True, slots=True)
class Curve:
    """One latent in C cells: a mixture of K normal laws a cell, working scale.

    Attributes:
        mean, sd: (C, K). weights: of the K laws, (K,).
    """

    mean: FloatArray
    sd: FloatArray
    weights: FloatArray


def inner_cells(model: CompiledModel) -> IntArray:
    """Every cell but the ghosts beyond the ends of a fault's range."""
    cells = model.cells
    return np.flatnonzero((cells.centre >= 0.0) & (cells.centre <= 1.0)).astype(np.int64)


def straight(model: CompiledModel, number: int, cell: IntArray) -> tuple[FloatArray, FloatArray]:
    """Mean (C,) and scaled gradient (C, T + 1) of a latent at the centres of some cells."""
    mean, slopes = model.bank_at([number], cell)
    gradient = slopes[:, 0, :].copy()
    gradient[:, -1] *= UNIFORM
    return mean[:, 0], gradient


def line_curve(model: CompiledModel, number: int, cell: IntArray) -> Curve:
    """The latent in the given cells as the bank's straight lines have it: one law a cell."""
    mean, gradient = straight(model, number, cell)
    spread = np.sqrt((gradient**2).sum(axis=1))
    return Curve(mean[:, None], spread[:, None], np.ones(1))


def curve(model: CompiledModel, number: int, cell: IntArray) -> Curve:
    """The latent's mixture in the given cells, (C,).

    Cells where the latent is exactly as on the good car of the same variant share its solution.
    """
    mean, gradient = straight(model, number, cell)
    key = np.concatenate([mean[:, None], gradient], axis=1)
    _, first, back = np.unique(key, axis=0, return_index=True, return_inverse=True)
    solved = _solve(model, number, cell[first], gradient[first])
    return Curve(solved.mean[back], solved.sd[back], WEIGHTS)


def _solve(model: CompiledModel, number: int, cell: IntArray, gradient: FloatArray) -> Curve:
    length = np.sqrt((gradient**2).sum(axis=1))
    along = gradient / np.maximum(length, 1e-300)[:, None]
    along[:, -1] *= UNIFORM
    z = POINTS[None, :, None] * along[:, None, :]
    which = np.repeat(cell, len(POINTS))
    x, slopes = model.linearise(which, z.reshape(-1, z.shape[2]), [number])
    steep = np.einsum("ckt,ct->ck", slopes[:, 0, :].reshape(*z.shape), along)
    return Curve(x[:, 0].reshape(len(cell), -1), np.abs(steep) * WIDTH, WEIGHTS)
