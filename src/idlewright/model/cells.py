"""The bank's cells: per fault, its range of severity cut into overlapping Gaussian pieces.

Severity u runs from 0 to 1 over the fault's range (in the logarithm where the scalar is a log one).
A fault with a range is cut into g pieces with one ghost piece beyond each end; the evidence later
cuts the ghosts off sharply at 0 and 1. A fault without a range is one cell without severity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.family.kinds import Fault, Span
from idlewright.model.scalars import FloatArray, ScalarTable
from idlewright.model.worlds import Worlds

STANDARD_STEP = 0.5
"""Width of a cell in ln severity; half of the standard deviation ratio is OVERLAP."""
FINE_STEP = 0.13
FEWEST = 5
OVERLAP = 0.6
NEARLY_OPEN, AS_GOOD_AS_OPEN = 3e6, 1e10
"""From so many ohm (or other unit) on only a meter's own input sees more severity, and not sharply:
cells are twice as wide; from the second on nothing does: no more cells."""
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Cells:
    """C cells over all hypotheses (fault, variant).

    Attributes:
        fault: index into `faults` of each cell, -1 = nothing wrong, (C,). variant: (C,).
        centre, spread: severity u and its standard deviation, (C,); spread 0 = no severity.
        ln_prior: log share of the cell within its fault, (C,) (variants' weights included).
        good: cell of the good car of each variant, (V,).
        tolerance: positions of scalars with a tolerance, (T,).
    """

    faults: tuple[Fault, ...]
    fault: IntArray
    variant: IntArray
    centre: FloatArray
    spread: FloatArray
    ln_prior: FloatArray
    good: IntArray
    tolerance: IntArray

    def __len__(self) -> int:
        return len(self.fault)


@dataclass(frozen=True, slots=True)
class Placed:
    """Worlds at given points of given cells, and how their coordinates move.

    Attributes:
        worlds: values (S, W). per_z: d coordinate / d z of the scalar's own tolerance, (S, W).
        per_u: d coordinate / d z of the severity, (S, W).
    """

    worlds: Worlds
    per_z: FloatArray
    per_u: FloatArray

    def take(self, which: IntArray) -> Placed:
        """Some of the worlds."""
        worlds = Worlds(self.worlds.table, self.worlds.values[:, which])
        return Placed(worlds, self.per_z[:, which], self.per_u[:, which])


def cut_into_cells(table: ScalarTable, faults: tuple[Fault, ...], step: float) -> Cells:
    """Cells of every fault and variant.

    Args:
        table: scalars. faults: in order. step: cell width in ln severity.
    """
    rows: list[tuple[int, int, float, float, float]] = []
    good = []
    for variant, weight in enumerate(table.variant_weight):
        ln_weight = math.log(weight)
        good.append(len(rows))
        rows.append((-1, variant, 0.0, 0.0, ln_weight))
        for number, fault in enumerate(faults):
            pieces = _pieces(table, fault, step)
            if pieces == 0:
                rows.append((number, variant, 0.0, 0.0, ln_weight))
                continue
            width = 1.0 / pieces
            share = ln_weight - math.log(pieces)
            for k in range(-1, pieces + 1):
                rows.append((number, variant, width * (k + 0.5), OVERLAP * width, share))
    fault_of, variant_of, centre, spread, prior = (
        list(column) for column in zip(*rows, strict=True)
    )
    return Cells(
        faults=faults,
        fault=np.array(fault_of, dtype=np.int64),
        variant=np.array(variant_of, dtype=np.int64),
        centre=np.array(centre),
        spread=np.array(spread),
        ln_prior=np.array(prior),
        good=np.array(good, dtype=np.int64),
        tolerance=np.flatnonzero((table.spread > 0).any(axis=0)).astype(np.int64),
    )


def _pieces(table: ScalarTable, fault: Fault, step: float) -> int:
    leading = leading_span(fault)
    if leading is None:
        return 0
    logarithmic = leading.act == "times" or (
        leading.act == "set" and table.log[table.index[leading.scalar]]
    )
    if logarithmic:
        low, high = min(leading.low, leading.high), max(leading.low, leading.high)
        sharp = math.log(min(high, NEARLY_OPEN) / min(low, NEARLY_OPEN))
        top, bottom = (min(max(end, NEARLY_OPEN), AS_GOOD_AS_OPEN) for end in (high, low))
        return max(FEWEST, math.ceil(sharp / step + math.log(top / bottom) / (2.0 * step)))
    return FEWEST if step >= STANDARD_STEP else 3 * FEWEST


def leading_span(fault: Fault) -> Span | None:
    """The span whose range is the fault's severity, or None."""
    return next((span for span in fault.spans if span.low != span.high), None)


def place(
    table: ScalarTable,
    cells: Cells,
    which: IntArray,
    z: FloatArray,
    widen: FloatArray | float = 1.0,
) -> Placed:
    """Worlds at z in the given cells.

    Args:
        which: cell of each world, (W,). z: standard normal coordinates, tolerances then severity,
            (W, T + 1). widen: factor on every tolerance, scalar or (W,).
    """
    variant = cells.variant[which]
    spread = table.spread.T[:, variant] * widen
    usual = table.coordinate(table.nominal.T)
    nominal = usual[:, variant]
    shift = np.zeros_like(nominal)
    if z.any():
        shift[cells.tolerance] = z[:, :-1].T
        values = table.natural(nominal + spread * shift)
    else:  # every tolerance at its middle: the worlds of a variant differ by their faults only
        values = table.natural(usual)[:, variant]
    per_z = spread.copy()
    per_u = np.zeros_like(values)
    u = cells.centre[which] + cells.spread[which] * z[:, -1]
    fault = cells.fault[which]
    for number in np.unique(fault):
        if number >= 0:
            here = np.flatnonzero(fault == number)
            for span in cells.faults[number].spans:
                if span.like is None:
                    apply_span(table, span, here, u[here], values, per_z, per_u)
                else:
                    take_place_of(table, span, here, (nominal, spread, shift), values, per_z)
    per_u *= cells.spread[which]
    return Placed(Worlds(table, values), per_z, per_u)


def apply_span(
    table: ScalarTable,
    span: Span,
    here: IntArray,
    u: FloatArray,
    values: FloatArray,
    per_z: FloatArray,
    per_u: FloatArray,
) -> None:
    """Let one span act on the worlds `here` (in place)."""
    position = table.index[span.scalar]
    log = bool(table.log[position])
    before = values[position, here]
    if span.act == "set":
        amount, slope = _between(span, u, geometric=log)
        values[position, here] = amount
        per_z[position, here] = 0.0
        per_u[position, here] = slope / np.maximum(amount, 1e-300) if log else slope
    elif span.act == "times":
        amount, slope = _between(span, u, geometric=True)
        values[position, here] = before * amount
        if not log:
            per_z[position, here] *= amount
        per_u[position, here] += slope / amount if log else before * slope
    else:
        amount, slope = _between(span, u, geometric=False)
        after = before + amount
        if log:
            after = np.maximum(after, 1e-6)
            per_z[position, here] *= before / after
        values[position, here] = after
        per_u[position, here] += slope / after if log else slope


def take_place_of(
    table: ScalarTable,
    span: Span,
    here: IntArray,
    good: tuple[FloatArray, FloatArray, FloatArray],
    values: FloatArray,
    per_z: FloatArray,
) -> None:
    """Let a scalar be as a good one of another kind, with a tolerance of its own (in place).

    Args:
        good: nominal coordinates, spreads and z of every scalar, (S, W) each.
    """
    nominal, spread, z = good
    position, other = table.index[span.scalar], table.index[span.like or ""]
    value = nominal[other, here] + spread[other, here] * z[position, here]
    slope = spread[other, here]
    if table.log[other]:
        value = np.exp(value)
        slope = slope * value
    values[position, here] = value
    per_z[position, here] = slope / value if table.log[position] else slope


def _between(span: Span, u: FloatArray, *, geometric: bool) -> tuple[FloatArray, FloatArray]:
    """Amount at severity u and its derivative by u."""
    if geometric and span.low > 0 and span.high > 0:
        ratio = math.log(span.high / span.low)
        amount = span.low * np.exp(ratio * u)
        return amount, ratio * amount
    difference = span.high - span.low
    return span.low + difference * u, np.full_like(u, difference)
