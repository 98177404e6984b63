"""How bad a suspected fault would be: the range of its leading scalar."""

from __future__ import annotations

import numpy as np

from idlewright.diagnosis.belief import Belief
from idlewright.family.kinds import Span
from idlewright.model.cells import leading_span
from idlewright.model.scalars import FloatArray
from idlewright.physics.normal import ndtr

LEVEL = 0.9
GRID = np.linspace(0.0, 1.0, 401)


def severity_cdf(belief: Belief, fault: int) -> FloatArray | None:
    """Distribution of severity u of one fault given that it is there, on GRID; None if unseen.

    A mixture of the cells' Gaussians, each cut at 0 and 1.
    """
    cells = belief.model.cells
    total = np.zeros_like(GRID)
    mass = 0.0
    for scenario in belief.scenarios:
        for piece in scenario.weighed.pieces:
            rows = belief.weigher.rows.take(piece.row)
            own = np.flatnonzero((cells.fault[rows.cell] == fault) & ~rows.blind)
            if not len(own):
                continue
            weight = np.exp(scenario.ln_weight + piece.ln_weight[own] - belief.ln_evidence)
            sd = np.sqrt(np.maximum(piece.u_variance[own], 1e-12))
            mean = piece.u_mean[own]
            at = ndtr((GRID[None, :] - mean[:, None]) / sd[:, None])
            low, high = at[:, :1], at[:, -1:]
            inside = np.maximum(high - low, 1e-12)
            total += weight @ ((at - low) / inside)
            mass += float(weight.sum())
    return total / mass if mass > 0 else None


def severity_of(belief: Belief, fault: int) -> dict[str, object] | None:
    """Contract's severity entry of a fault, natural units; None for a fault without a range."""
    span = leading_span(belief.model.cells.faults[fault])
    cdf = severity_cdf(belief, fault) if span is not None else None
    if span is None or cdf is None:
        return None
    tail = (1.0 - LEVEL) / 2.0
    values = [
        _natural(belief, span, float(np.interp(p, cdf, GRID))) for p in (tail, 0.5, 1.0 - tail)
    ]
    low, median, high = sorted(values)
    position = belief.model.table.index[span.scalar]
    return {
        "element": span.scalar,
        "unit": belief.model.table.units[position] if span.act != "times" else "times",
        "low": low,
        "median": median,
        "high": high,
        "level": LEVEL,
    }


def _natural(belief: Belief, span: Span, u: float) -> float:
    table = belief.model.table
    position = table.index[span.scalar]
    geometric = span.act == "times" or (span.act == "set" and bool(table.log[position]))
    if geometric and span.low > 0 and span.high > 0:
        return float(span.low * (span.high / span.low) ** u)
    return float(span.low + (span.high - span.low) * u)
