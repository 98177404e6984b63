"""Cells beside those worth a second look.

A severity known to a thousandth lies in the reach of two or three overlapping cells, and only
together do they hold its whole prior. From the centre of the next cell, though, straight lines may
miss precise readings by dozens of standard deviations, so that it seems hopeless until it is looked
at where the readings put it.
"""

from __future__ import annotations

import numpy as np

from idlewright.diagnosis.world import Rows
from idlewright.model.cells import Cells, IntArray
from idlewright.model.scalars import FloatArray

REACH = 2.7
"""A cell further than this many of its standard deviations from a severity adds nothing there."""


def beside(
    rows: Rows, cells: Cells, row: IntArray, u: FloatArray, ln_weight: FloatArray
) -> tuple[IntArray, IntArray]:
    """Rows not among `row` whose cells reach the severities found in it.

    Args:
        rows: all. row: rows looked at, (P,). u: mean severity found in each. ln_weight: of each.

    Returns:
        The new rows, (N,), and for each the heaviest of `row` it stands beside (index into it).
    """
    found: list[IntArray] = []
    donor: list[IntArray] = []
    for step in (-2, -1, 1, 2):
        inside = np.flatnonzero((row + step >= 0) & (row + step < len(rows)))
        mine, other = row[inside], row[inside] + step
        cell, next_cell = rows.cell[mine], rows.cell[other]
        same = (cells.fault[cell] == cells.fault[next_cell]) & (next_cell - cell == step)
        same &= (cells.variant[cell] == cells.variant[next_cell]) & ~rows.blind[other]
        same &= (rows.active[mine] == rows.active[other]).all(axis=1)
        away = np.abs(cells.centre[next_cell] - u[inside])
        same &= away < REACH * cells.spread[next_cell]
        found.append(other[same])
        donor.append(inside[same])
    other, mine = np.concatenate(found), np.concatenate(donor)
    heaviest_first = np.argsort(-ln_weight[mine], kind="stable")
    other, mine = other[heaviest_first], mine[heaviest_first]
    other, first = np.unique(other, return_index=True)
    fresh = ~np.isin(other, row)
    return other[fresh], mine[first][fresh]
