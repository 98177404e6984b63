"""Laws from which a practice car is drawn: scatter of parts, severity of faults, errors of meters.

`matched` is what the diagnosis itself believes. The others break that belief, each in its own way,
so that a study can tell what the diagnosis is worth when the world is not as stated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from idlewright.diagnosis.evidence import LEVELS
from idlewright.errors import BadInput, Problem
from idlewright.family.names import did_you_mean
from idlewright.model.scalars import ScalarTable

FloatArray = NDArray[np.float64]
Draw = Callable[[np.random.Generator, ScalarTable, int], FloatArray]
"""Deviations of all scalars of one variant, in stated standard deviations, (S,)."""

UNIFORM_HALF: Final = 2.64
"""Half-width of the uniform half of the wide law, in stated standard deviations."""
STUDENT_SCALE: Final = 1.1
"""Scale of the heavy-tailed half of the wide law: 1.1 t with 4 degrees of freedom."""
STRETCH: Final = 0.15
"""How far beyond the stated range a severity may lie, in widths of the range."""
SKEW_SCALE: Final = 1.2
BATCH_CORRELATION: Final = 0.5
MOOD_MINUTES: Final = 30.0
"""How long an intermittent fault keeps its mood (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Law:
    """How a practice car differs from the book.

    Attributes:
        name, says: its name and what it is.
        scale: draws one factor on all of a car's deviations.
        tolerance: draws the deviations of all parts.
        severity: draws a fault's severity u; the stated range is 0 to 1.
        rectangular: meter gain, counts and doubtful words err within hard limits instead of by the
            normal law.
        mood_minutes: how long a fault that comes and goes keeps its mood if nobody touches it.
    """

    name: str
    says: str
    scale: Callable[[np.random.Generator], float]
    tolerance: Draw
    severity: Callable[[np.random.Generator], float]
    rectangular: bool
    mood_minutes: float = math.inf

    def error(self, rng: np.random.Generator, size: int | None = None) -> FloatArray:
        """Errors of standard deviation one by this law, (size,) or a single one."""
        if self.rectangular:
            return np.asarray(rng.uniform(-math.sqrt(3.0), math.sqrt(3.0), size))
        return np.asarray(rng.standard_normal(size))


def law_named(name: str) -> Law:
    """The law of a name.

    Raises:
        BadInput: there is none.
    """
    if name in LAWS:
        return LAWS[name]
    raise BadInput(
        Problem(
            says=f'there is no law "{name}"',
            expected="one of " + ", ".join(LAWS),
            remedy=did_you_mean(name, LAWS, "law"),
            key="law",
        )
    )


def _mixture(rng: np.random.Generator) -> float:
    """The whole car at one of the levels of the diagnosis' own scale mixture."""
    shares = np.exp([ln for _, ln in LEVELS])
    return LEVELS[int(rng.choice(len(LEVELS), p=shares / shares.sum()))][0]


def _stated(rng: np.random.Generator) -> float:
    return 1.0


def _normal(rng: np.random.Generator, table: ScalarTable, variant: int) -> FloatArray:
    return rng.standard_normal(len(table.ids))


def _wide(rng: np.random.Generator, table: ScalarTable, variant: int) -> FloatArray:
    count = len(table.ids)
    uniform = rng.uniform(-UNIFORM_HALF, UNIFORM_HALF, count)
    heavy = STUDENT_SCALE * rng.standard_t(4, count)
    return np.where(rng.random(count) < 0.5, uniform, heavy)


def _skewed(rng: np.random.Generator, table: ScalarTable, variant: int) -> FloatArray:
    """Most parts a little below the middle, some far above it (resistances age one way)."""
    deviation = SKEW_SCALE * (rng.standard_exponential(len(table.ids)) - 1.0)
    way = np.where(table.log, 1.0, np.where(rng.random(len(table.ids)) < 0.5, -1.0, 1.0))
    return np.asarray(deviation * way)


def _batch(rng: np.random.Generator, table: ScalarTable, variant: int) -> FloatArray:
    """Parts of one kind (same nominal value, tolerance and unit) come from one batch."""
    kinds = _kinds(table, variant)
    common = rng.standard_normal(int(kinds.max()) + 1)[kinds]
    own = rng.standard_normal(len(table.ids))
    share = math.sqrt(BATCH_CORRELATION)
    return np.asarray(share * common + math.sqrt(1.0 - BATCH_CORRELATION) * own)


def _kinds(table: ScalarTable, variant: int) -> NDArray[np.int64]:
    number: dict[tuple[str, float, float], int] = {}
    nominal, spread = table.nominal[variant], table.spread[variant]
    return np.array(
        [
            number.setdefault((unit, round(float(a), 9), round(float(b), 9)), len(number))
            for unit, a, b in zip(table.units, nominal, spread, strict=True)
        ],
        dtype=np.int64,
    )


def _even(rng: np.random.Generator) -> float:
    return float(rng.random())


def _trade(rng: np.random.Generator) -> float:
    """Half bell-shaped about the middle of the range (log-normal in ohms), half stretched."""
    if rng.random() < 0.5:
        return float(np.clip(rng.normal(0.45, 0.25), -STRETCH, 1.0 + STRETCH))
    return float(rng.uniform(-STRETCH, 1.0 + STRETCH))


def _mild(rng: np.random.Generator) -> float:
    """Mild faults are commoner than gross ones."""
    return float(rng.beta(1.0, 2.0))


def _all(laws: Sequence[Law]) -> Mapping[str, Law]:
    return {law.name: law for law in laws}


LAWS: Final[Mapping[str, Law]] = _all((
    Law("matched", "exactly what the diagnosis believes", _mixture, _normal, _even, False),
    Law("wide", "parts scatter about 1.5 times as much as stated, severities by the trade's own "
        "laws or 15 % beyond their range", _stated, _wide, _trade, True, MOOD_MINUTES),
    Law("skewed", "parts lean one way, mild faults are commoner", _stated, _skewed, _mild, True,
        MOOD_MINUTES),
    Law("batch", "parts of one kind come from one batch", _stated, _batch, _even, False),
))  # fmt: skip
