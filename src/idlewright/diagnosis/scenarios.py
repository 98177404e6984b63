"""No reading a slip, or exactly one: every such scenario with its evidence."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from idlewright.diagnosis.evidence import DEAD_NATS, Sight, Weigher
from idlewright.diagnosis.factors import Alternative, NumberFactor, Seen
from idlewright.diagnosis.gaussian import LN_TWO_PI
from idlewright.diagnosis.left_out import leave_one_out
from idlewright.diagnosis.pieces import Weighed, ln_sum
from idlewright.diagnosis.relook import Draft, look_again
from idlewright.diagnosis.slips import SAYS, SLIP_CHANCE, ln_rest

SUSPICIOUS = 0.003
"""Quick odds of a slip above which its shapes are weighed in full."""
SHAPES_AT_MOST = 0.01
LN_RIGHT = math.log1p(-SLIP_CHANCE)


@dataclass(frozen=True, slots=True)
class Scenario:
    """The evidence if no reading, or exactly one, is a slip.

    Attributes:
        ln_weight: log prior and density that the rows' evidence does not hold. weighed: posterior.
        reading: position of the slip, or None. kind, says: what slip.
    """

    ln_weight: float
    weighed: Weighed
    reading: int | None = None
    kind: str | None = None
    says: str = ""

    @property
    def ln_total(self) -> float:
        """Log weight of the whole scenario."""
        return self.ln_weight + self.weighed.ln_total


@dataclass(frozen=True, slots=True)
class _Slip:
    """A reading's slip: position and kind, and its draft."""

    reading: int
    kind: str | None
    says: str
    draft: Draft


def weigh_scenarios(weigher: Weigher, sight: Sight, *, slips: bool) -> list[Scenario]:
    """Every scenario that could matter, the one without a slip first."""
    seen, times = sight.seen, sight.times
    clean = Draft(sight, weigher.ln_prior(seen, times), weigher.parts(sight), len(seen) * LN_RIGHT)
    found = list(_slips(weigher, clean)) if slips and seen else []
    weighed = look_again(weigher, [clean, *(slip.draft for slip in found)])
    scenarios = [Scenario(clean.ln_weight, weighed[0])]
    for slip, one in zip(found, weighed[1:], strict=True):
        scenarios.append(Scenario(slip.draft.ln_weight, one, slip.reading, slip.kind, slip.says))
    return scenarios


def _slips(weigher: Weigher, clean: Draft) -> Iterator[_Slip]:
    """Scenarios of one slip, for readings that look suspicious at a quick glance.

    A slip of known shape fits at most about 1 / SHAPES_AT_MOST better than the broad rest, so a
    reading whose broad slip is out of the question needs no shapes.
    """
    sight = clean.sight
    quick = leave_one_out(weigher, sight)
    ln_clean = clean.ln_weight + _ln_rows(weigher, clean)
    total, best = ln_sum(ln_clean), float(ln_clean.max())
    for position, one in enumerate(sight.seen):
        ln_rest_fits = ln_rest() + one.flat - LN_RIGHT
        if quick.apart[position] + ln_rest_fits - quick.together < math.log(SUSPICIOUS):
            continue
        floor = max(quick.together - ln_rest_fits, quick.apart[position]) - DEAD_NATS
        hopeful = np.flatnonzero(quick.by_look[position] > floor)
        rest = [k for k in range(len(sight.seen)) if k != position]
        prior = weigher.ln_prior([sight.seen[k] for k in rest], [sight.times[k] for k in rest])
        others = len(rest) * LN_RIGHT
        broad = Draft(
            sight, prior, weigher.parts(sight, rest, among=hopeful), others + ln_rest() + one.flat
        )
        ln_rows = broad.ln_weight + _ln_rows(weigher, broad)
        if ln_sum(ln_rows) - total < math.log(SUSPICIOUS * SHAPES_AT_MOST):
            continue
        yield _Slip(position, "unknown", SAYS["unknown"], broad)
        best = max(best, float(ln_rows.max()))
        others_alone = ln_rows - (broad.ln_weight - others)
        yield from _shapes(weigher, sight, position, prior, others_alone, best)


def _ln_rows(weigher: Weigher, draft: Draft) -> np.ndarray:
    return weigher.ln_rows(draft.sight, draft.prior, draft.parts)


def _shapes(
    weigher: Weigher,
    sight: Sight,
    position: int,
    prior: np.ndarray,
    others_alone: np.ndarray,
    best: float,
) -> Iterator[_Slip]:
    """The known shapes of one reading's slip.

    Args:
        prior: log prior of rows without the reading. others_alone: log evidence of rows by all the
            other readings, their own chance of being right included. best: of all rows so far.
    """
    one = sight.seen[position]
    if not one.slips:
        return
    most = max(shape.ln_weight + _ln_most(shape) for shape in one.slips)
    alive = np.flatnonzero(others_alone + most > best - DEAD_NATS)
    if not len(alive):
        return
    plain = tuple(replace(shape, ln_weight=0.0) for shape in one.slips)
    swapped = _swapped(sight.seen, position, plain)
    other = weigher.sight(swapped, sight.times, alive)
    others = (len(swapped) - 1) * LN_RIGHT
    for number, shape in enumerate(one.slips):
        parts = weigher.parts(other, only={position: number})
        draft = Draft(other, prior, parts, others + shape.ln_weight)
        yield _Slip(position, shape.slip, shape.says, draft)


def _swapped(
    seen: Sequence[Seen], position: int, alternatives: tuple[Alternative, ...]
) -> list[Seen]:
    """The readings with one of them come about in other ways."""
    found = list(seen)
    found[position] = replace(seen[position], alternatives=alternatives, odds={}, base=1.0)
    return found


def _ln_most(shape: Alternative) -> float:
    """Largest log density that the shape's numbers can have, however well the rest fits."""
    return sum(
        -0.5 * (LN_TWO_PI + math.log(factor.variance))
        for factor in shape.factors
        if isinstance(factor, NumberFactor)
    )
