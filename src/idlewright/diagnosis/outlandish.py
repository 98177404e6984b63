"""Readings that nothing listed can show: slips beforehand, however many there are.

At most one reading of a job is doubted beside the others. What no listed car would show by itself,
though (kilovolts for volts), is no evidence among listed faults: it enters as the slips it may be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from idlewright.diagnosis.combinations import best_density
from idlewright.diagnosis.evidence import Part, Sight, Weigher
from idlewright.diagnosis.factors import Alternative, Seen
from idlewright.diagnosis.pieces import ln_sum
from idlewright.diagnosis.slips import ln_rest
from idlewright.model.scalars import FloatArray

OUT_NATS = 15.0
"""So much less than a slip a reading must fit every listed car, by itself: others that agree with
it can raise its density, but not by that."""


@dataclass(frozen=True, slots=True)
class Outlandish:
    """Readings of a job that are slips if the car is a listed one.

    Attributes:
        positions: which. kinds: likeliest kind of slip of each. ln_slips: log chance of all of
            them, as slips, given the other readings.
    """

    positions: tuple[int, ...] = ()
    kinds: tuple[str, ...] = ()
    ln_slips: float = 0.0


def outlandish(sight: Sight) -> tuple[int, ...]:
    """Positions of the readings that no listed car could show."""
    mean = sight.looks.mean[:-1]
    variance = 4.0 * np.einsum("iiu->iu", sight.looks.kernel[:-1, :-1])
    found = []
    for position, (one, options) in enumerate(zip(sight.seen, sight.factors.of, strict=True)):
        best = max(
            (best_density(o, sight.factors.items, mean, variance) for o in options), default=np.inf
        )
        if best + OUT_NATS < ln_rest() + one.flat:
            found.append(position)
    return tuple(found)


def as_slip(one: Seen) -> Seen:
    """A reading as the slips it may be, each an alternative; the last is of no known kind."""
    unknown = Alternative(ln_weight=ln_rest() + one.flat, slip="unknown")
    return replace(one, alternatives=(*one.slips, unknown), slips=(), odds={}, base=1.0)


def without_doubt(
    weigher: Weigher, sight: Sight, prior: FloatArray, parts: Sequence[Part], where: Sequence[int]
) -> Outlandish:
    """What some readings that entered as slips are.

    Args:
        sight: with those readings as slips. prior: log prior of every row. parts: its evidence.
        where: the readings' positions.
    """
    if not where:
        return Outlandish()
    ln = np.array([ln_sum(weigher.ln_rows(sight, prior, [part])) for part in parts])
    able = [k for k, options in enumerate(sight.factors.of) if options]
    picked = np.array([part.combination.picked for part in parts])
    kinds = []
    plain = np.ones(len(parts), dtype=bool)
    for position in where:
        ways = sight.seen[position].alternatives
        mine = picked[:, able.index(position)]
        share: dict[str, float] = {}
        for number, way in enumerate(ways):
            total = ln_sum(ln[mine == number])
            share[str(way.slip)] = float(np.logaddexp(share.get(str(way.slip), -np.inf), total))
        kinds.append(max(share, key=lambda kind: share[kind]))
        plain &= mine == len(ways) - 1
    broad = sum(ln_rest() + sight.seen[position].flat for position in where)
    gain = ln_sum(ln) - ln_sum(ln[plain]) if plain.any() else 0.0
    return Outlandish(tuple(where), tuple(kinds), broad + gain)
