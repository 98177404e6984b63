"""Worlds with two faults at once, each with its own severity, linearised in everything."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.model.cells import IntArray, apply_span, take_place_of
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray
from idlewright.model.worlds import Worlds

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PairCells:
    """Q cells of pairs: two faults, and centre and spread of each severity, (Q, 2) each.

    Attributes:
        fault: numbers in the family. centre, spread: severity u; spread 0 = none. variant: of all.
    """

    fault: IntArray
    centre: FloatArray
    spread: FloatArray
    variant: int

    def __len__(self) -> int:
        return len(self.fault)

    def take(self, which: IntArray | BoolArray) -> PairCells:
        """Some of the cells."""
        return PairCells(
            self.fault[which], self.centre[which], self.spread[which], self.variant
        )


def linearise_pairs(
    model: CompiledModel,
    cells: PairCells,
    on: BoolArray,
    z: FloatArray,
    numbers: Sequence[int],
    widen: FloatArray | float = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """Latents (Q, n) and derivatives (Q, n, T + 2) at points z (Q, T + 2) of pair cells.

    Args:
        on: which of the two faults is there, (Q, 2). z: tolerances, then both severities.
        numbers: latents. widen: factor on every tolerance, one or (Q,).
    """
    table, tolerance = model.table, model.cells.tolerance
    count = len(cells)
    spread = table.spread[cells.variant][:, None] * np.broadcast_to(widen, count)
    nominal = table.coordinate(np.repeat(table.nominal[cells.variant][:, None], count, axis=1))
    shift = np.zeros_like(nominal)
    shift[tolerance] = z[:, :-2].T
    values = table.natural(nominal + spread * shift)
    per_z = spread.copy()
    per_u = [np.zeros_like(values), np.zeros_like(values)]
    for side in (0, 1):
        u = cells.centre[:, side] + cells.spread[:, side] * z[:, side - 2]
        for number in np.unique(cells.fault[:, side]):
            here = np.flatnonzero((cells.fault[:, side] == number) & on[:, side])
            if not len(here):
                continue
            for span in model.cells.faults[number].spans:
                if span.like is None:
                    apply_span(table, span, here, u[here], values, per_z, per_u[side])
                else:
                    take_place_of(table, span, here, (nominal, spread, shift), values, per_z)
        per_u[side] *= cells.spread[:, side]
    worlds = Worlds(table, values)
    column = np.full(len(table.ids), -1, dtype=np.int64)
    column[tolerance] = np.arange(len(tolerance))
    x = np.empty((count, len(numbers)))
    slopes = np.zeros((count, len(numbers), len(tolerance) + 2))
    for k, number in enumerate(numbers):
        x[:, k], gradient = model.latent(number).evaluate(model.physics, worlds)
        columns = column[gradient.index]
        known = columns >= 0
        slopes[:, k, columns[known]] = (gradient.value[known] * per_z[gradient.index[known]]).T
        for side in (0, 1):
            slopes[:, k, side - 2] = np.einsum(
                "kw,kw->w", gradient.value, per_u[side][gradient.index]
            )
    return x, slopes
