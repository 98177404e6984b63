"""A batch of worlds (cars with definite scalar values), and gradients by working coordinates."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from idlewright.model.scalars import FloatArray, ScalarTable


@dataclass(frozen=True, slots=True)
class Gradient:
    """Sparse gradient of one latent: rows of derivative by working coordinate of some scalars.

    Attributes:
        index: scalar positions, (k,), each at most once. value: derivatives, (k, W).
    """

    index: NDArray[np.int64]
    value: FloatArray

    def scaled(self, factor: FloatArray) -> Gradient:
        """The gradient times a factor (W,) (chain rule through an outer function)."""
        return Gradient(self.index, self.value * factor)


def gather(rows: list[tuple[int, FloatArray]], width: int) -> Gradient:
    """Gradient from (scalar position, derivative (W,)) pairs; repeated positions add up."""
    at: dict[int, int] = {}
    for position, _ in rows:
        at.setdefault(position, len(at))
    total = np.zeros((len(at), width))
    for position, value in rows:
        total[at[position]] += value
    return Gradient(np.fromiter(at, dtype=np.int64, count=len(at)), total)


def combine(parts: list[tuple[FloatArray, Gradient]], width: int) -> Gradient:
    """Sum over parts of factor (W,) times gradient."""
    rows = [
        (position, factor * value)
        for factor, gradient in parts
        for position, value in zip(gradient.index.tolist(), gradient.value, strict=True)
    ]
    return gather(rows, width)


@dataclass(slots=True)
class Worlds:
    """Values of every scalar in a batch of worlds, with what was already worked out for them.

    Attributes:
        table: the scalars. values: (S, W), own units. memo: results by (kind, state) key.
    """

    table: ScalarTable
    values: FloatArray
    memo: dict[Any, Any] = field(default_factory=dict)

    @property
    def width(self) -> int:
        """Number of worlds W."""
        return int(self.values.shape[1])

    def slope(self, position: int) -> FloatArray:
        """d value / d coordinate of one scalar, (W,): the value itself on a log scale, else one."""
        if self.table.log[position]:
            value: FloatArray = self.values[position]
            return value
        return np.ones(self.width)
