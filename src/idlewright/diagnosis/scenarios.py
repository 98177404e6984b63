"""No reading a slip, or exactly one: every such scenario with its evidence."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from idlewright.diagnosis.evidence import Sight, Weigher
from idlewright.diagnosis.factors import Alternative, NumberFactor, Seen
from idlewright.diagnosis.gaussian import LN_TWO_PI
from idlewright.diagnosis.left_out import LeftOut, leave_one_out
from idlewright.diagnosis.near import Draft
from idlewright.diagnosis.outlandish import Outlandish, as_slip, outlandish, without_doubt
from idlewright.diagnosis.pieces import DEAD, Weighed, ln_sum
from idlewright.diagnosis.relook import look_again
from idlewright.diagnosis.slips import SAYS, SLIP_CHANCE, ln_rest
from idlewright.model.scalars import FloatArray

SUSPICIOUS = 0.003
"""Quick odds of a slip above which its shapes are weighed in full."""
SHAPES_AT_MOST = 0.01
FAINT = 0.03
"""Quick odds below which a slip's posterior is the clean one, re-weighed by the quick evidence."""
HOPELESS_NATS = 16.0
"""Rows this far below the best need not be tried with a slip's shapes."""
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


def weigh_scenarios(
    weigher: Weigher, sight: Sight, *, slips: bool
) -> tuple[list[Scenario], Outlandish]:
    """Every scenario that could matter, the one without a further slip first.

    Returns:
        The scenarios; the readings that are slips in all of them.
    """
    odd = outlandish(sight) if slips else ()
    if odd:
        seen = [as_slip(one) if k in odd else one for k, one in enumerate(sight.seen)]
        sight = weigher.sight(seen, sight.times)
    right = (len(sight.seen) - len(odd)) * LN_RIGHT
    prior = weigher.ln_prior(sight.seen, sight.times)
    clean = Draft(sight, prior, weigher.parts(sight), right)
    if not (slips and sight.seen):
        return [Scenario(clean.ln_weight, look_again(weigher, [clean])[0])], Outlandish()
    quick = leave_one_out(weigher, sight)
    suspicious = _suspicious(sight, quick, odd)
    ln_bank = _ln_rows(weigher, clean)
    found = list(_slips(weigher, clean, quick, suspicious))
    weighed = look_again(weigher, [clean, *(slip.draft for slip in found)])
    scenarios = [Scenario(clean.ln_weight, weighed[0])]
    for slip, one in zip(found, weighed[1:], strict=True):
        scenarios.append(Scenario(slip.draft.ln_weight, one, slip.reading, slip.kind, slip.says))
    full = {slip.reading for slip in found if slip.kind == "unknown"}
    for position in suspicious:
        if position not in full:
            scenarios.append(_faint(sight, quick, scenarios[0], ln_bank, position))
    return scenarios, without_doubt(weigher, sight, prior, clean.parts, odd)


def _suspicious(sight: Sight, quick: LeftOut, odd: Sequence[int]) -> dict[int, float]:
    """Readings that look suspicious at a quick glance, with the log odds of a broad slip.

    Args:
        odd: those that are slips anyway.
    """
    found = {}
    for position, one in enumerate(sight.seen):
        if position in odd:
            continue
        ln_odds = quick.apart[position] + ln_rest() + one.flat - LN_RIGHT - quick.together
        if ln_odds >= math.log(SUSPICIOUS):
            found[position] = ln_odds
    return found


def _faint(
    sight: Sight, quick: LeftOut, clean: Scenario, ln_bank: FloatArray, position: int
) -> Scenario:
    """An unlikely slip: the clean rows, each re-weighed by how it gets on without the reading.

    What a second look at the physics has mended already is not gained again by leaving it out.

    Args:
        ln_bank: log odds of the clean rows on the bank's lines, (R,).
    """
    one = sight.seen[position]
    ln_row = _without(sight, quick, position, np.minimum(clean.weighed.ln_row, ln_bank))
    weighed = replace(clean.weighed, ln_row=np.maximum(ln_row, DEAD), pieces=())
    ln_weight = clean.ln_weight - LN_RIGHT + ln_rest() + one.flat
    return Scenario(ln_weight, weighed, position, "unknown", SAYS["unknown"])


def _without(sight: Sight, quick: LeftOut, position: int, ln_row: FloatArray) -> FloatArray:
    """Log odds of rows, (R,), by all readings but one, from those by all of them.

    Never more than the quick evidence of the others alone: far out of reach the two ways to weigh
    a word part by hundreds of nats, and a difference of theirs would lift a dead row to the top.
    """
    alone = quick.by_look[position]
    change = alone - quick.by_look_together
    found: FloatArray = np.minimum(ln_row + change[sight.looks.of], alone[sight.looks.of])
    return found


def _slips(
    weigher: Weigher, clean: Draft, quick: LeftOut, suspicious: Mapping[int, float]
) -> Iterator[_Slip]:
    """Scenarios of one slip that are weighed in full.

    A slip of known shape fits at most about 1 / SHAPES_AT_MOST better than the broad rest, so a
    reading whose broad slip is out of the question needs no shapes.
    """
    sight = clean.sight
    ln_clean = clean.ln_weight + _ln_rows(weigher, clean)
    total, best = ln_sum(ln_clean), float(ln_clean.max())
    for position, ln_odds in suspicious.items():
        one = sight.seen[position]
        rest = [k for k in range(len(sight.seen)) if k != position]
        prior = weigher.ln_prior([sight.seen[k] for k in rest], [sight.times[k] for k in rest])
        others = clean.ln_weight - LN_RIGHT
        ln_broad = ln_rest() + one.flat
        if ln_odds < math.log(FAINT):
            alone = _without(sight, quick, position, ln_clean - clean.ln_weight) + others
            basis = _Others(prior, alone, others)
            yield from _shapes(weigher, sight, position, basis, best, total)
            continue
        broad = Draft(sight, prior, weigher.parts(sight, rest), others + ln_broad)
        ln_rows = broad.ln_weight + _ln_rows(weigher, broad)
        if ln_sum(ln_rows) - total < math.log(SUSPICIOUS * SHAPES_AT_MOST):
            continue
        yield _Slip(position, "unknown", SAYS["unknown"], broad)
        best = max(best, float(ln_rows.max()))
        basis = _Others(prior, ln_rows - ln_broad, others)
        yield from _shapes(weigher, sight, position, basis, best, total)


def _ln_rows(weigher: Weigher, draft: Draft) -> np.ndarray:
    return weigher.ln_rows(draft.sight, draft.prior, draft.parts)


@dataclass(frozen=True, slots=True)
class _Others:
    """All readings but one.

    Attributes:
        prior: log prior of rows with them, (R,). alone: log evidence of rows by them, their own
            chance of being right included, (R,). ln_weight: of that chance.
    """

    prior: FloatArray
    alone: FloatArray
    ln_weight: float


def _shapes(
    weigher: Weigher,
    sight: Sight,
    position: int,
    basis: _Others,
    best: float,
    total: float,
) -> Iterator[_Slip]:
    """The known shapes of one reading's slip.

    Args:
        basis: the other readings. best, total: of all rows so far.
    """
    one = sight.seen[position]
    if not one.slips:
        return
    most = max(shape.ln_weight + _ln_most(shape) for shape in one.slips)
    alive = np.flatnonzero(basis.alone + most > best - HOPELESS_NATS)
    if not len(alive):
        return
    plain = tuple(replace(shape, ln_weight=0.0) for shape in one.slips)
    swapped = _swapped(sight.seen, position, plain)
    other = weigher.sight(swapped, sight.times, alive)
    for number, shape in enumerate(one.slips):
        parts = weigher.parts(other, only={position: number})
        draft = Draft(other, basis.prior, parts, basis.ln_weight + shape.ln_weight)
        ln = draft.ln_weight + ln_sum(_ln_rows(weigher, draft))
        if ln - total > math.log(SUSPICIOUS * SHAPES_AT_MOST):
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
