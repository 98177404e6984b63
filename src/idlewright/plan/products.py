"""Matrix products in pieces small enough that no linear algebra library starts threads for them.

The planner multiplies many short rows. On a busy machine, threads that spin for such products make
them ten times slower, so the rows are cut into pieces below the size from which threads are used.
"""

from __future__ import annotations

import numpy as np

from idlewright.plan.outlook import Floats

MATRIX_WORK = 200_000
"""Multiplications in one piece; common libraries use threads from about 260,000."""

VECTOR_WORK = 8_000
"""The same for a product with one column; threads from about 9,200."""


def product(left: Floats, right: Floats) -> Floats:
    """(B, K) times (K, R), in pieces of rows."""
    rows, inner = left.shape
    columns = right.shape[1]
    most = VECTOR_WORK // max(1, inner) if columns == 1 else MATRIX_WORK // max(1, inner * columns)
    step = max(1, most)
    if rows <= step:
        return np.asarray(left @ right)
    result = np.empty((rows, columns))
    whole = rows - rows % step
    np.matmul(
        left[:whole].reshape(-1, step, inner), right,
        out=result[:whole].reshape(-1, step, columns),
    )
    np.matmul(left[whole:], right, out=result[whole:])
    return result


def weigh(left: Floats, right: Floats) -> Floats:
    """(B, K) times (K,), in pieces of rows."""
    return product(left, right[:, None])[:, 0]
