"""How each reading moved the odds: the same weighing with the readings that came before it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.belief import Belief, broad_rest
from idlewright.diagnosis.evidence import Part
from idlewright.diagnosis.pieces import ln_sum
from idlewright.diagnosis.prior import Prior
from idlewright.job.groups import Group, grouped, probabilities
from idlewright.model.cells import IntArray
from idlewright.model.scalars import FloatArray
from idlewright.physics.normal import ndtr

SMALLEST = 1e-9
TAKEN_FOR_SLIP = 0.5
FORGOTTEN = 1e-7
"""Odds of a look below which it says nothing about the next reading."""
FORGOTTEN_NATS = 16.0
"""Rows so far below the best are not followed through the history."""


@dataclass(frozen=True, slots=True)
class Moves:
    """Odds after each reading, (n + 1, G + 2), and each reading's surprise, (n,).

    The surprise is the predictive tail probability of a reading before it entered: of a number
    both tails, of a word its own chance with all less likely ones.
    """

    odds: FloatArray
    surprise: FloatArray


def moves(belief: Belief, prior: Prior, groups: tuple[Group, ...]) -> Moves:
    """History of a belief. A reading that is now taken for a slip counts in none of it."""
    past = _Past(belief, prior)
    count = len(belief.case.seen)
    before: tuple[int, ...] = ()
    odds = [past.odds(before, groups)]
    surprise = np.ones(count)
    for k in range(count):
        surprise[k] = past.surprise(before, k)
        if belief.slip[k] < TAKEN_FOR_SLIP:
            before = (*before, k)
        last = len(before) == count
        odds.append(probabilities(belief, groups) if last else past.odds(before, groups))
    odds[-1] = probabilities(belief, groups)
    return Moves(np.array(odds), surprise)


class _Past:
    """The job as it stood when only some readings were in, on the bank's straight lines."""

    def __init__(self, belief: Belief, prior: Prior) -> None:
        self._weigher = belief.weigher
        self._sight = belief.sight
        self._alone = belief.alone
        self._prior = prior
        self._end = belief.scenarios[0].weighed.ln_row
        self._known: dict[tuple[int, ...], tuple[FloatArray, list[Part], FloatArray]] = {}

    def _state(self, which: tuple[int, ...]) -> tuple[FloatArray, list[Part], FloatArray]:
        """Log prior of the rows, parts, and log odds of the rows, after some of the readings."""
        if which not in self._known:
            weigher, sight = self._weigher, self._sight
            ln_prior = weigher.ln_prior(
                [sight.seen[k] for k in which], [sight.times[k] for k in which]
            )
            parts = weigher.parts(sight, which, among=self._near(which))
            self._known[which] = ln_prior, parts, weigher.ln_rows(sight, ln_prior, parts)
        return self._known[which]

    def _near(self, which: tuple[int, ...]) -> IntArray | None:
        """Looks that mattered before the last of some readings, or matter in the end; None: all."""
        if len(which) < 2:
            return None
        looks = self._sight.looks
        before = self._state(which[:-1])[2]
        near = before > before.max() - FORGOTTEN_NATS
        near |= self._end > self._end.max() - FORGOTTEN_NATS
        return np.unique(looks.of[near])

    def odds(self, which: tuple[int, ...], groups: tuple[Group, ...]) -> FloatArray:
        """Odds of every group, then nothing wrong, then something else, (G + 2,)."""
        _, _, ln_row = self._state(which)
        seen = [self._sight.seen[k] for k in which]
        ln_other = broad_rest(self._prior, seen, [self._alone[k] for k in which])
        share = np.exp(ln_row - float(np.logaddexp(ln_sum(ln_row), ln_other)))
        cells = self._weigher.model.cells
        number = cells.fault[self._weigher.rows.cell]
        listed = number >= 0
        fault = np.bincount(number[listed], share[listed], len(cells.faults)).astype(float)
        good = float(share[~listed].sum())
        return grouped(fault, good, max(0.0, 1.0 - float(share.sum())), groups)

    def surprise(self, which: tuple[int, ...], k: int) -> float:
        """Predictive tail probability of reading k after some of the others."""
        one = self._sight.seen[k]
        single = next((n for n, a in enumerate(one.alternatives) if len(a.numbers) == 1), None)
        if single is None:
            together = ln_sum(self._state((*which, k))[2])
            return float(min(1.0, math.exp(min(0.0, together - ln_sum(self._state(which)[2])))))
        factor = one.alternatives[single].numbers[0]
        watched = self._sight.factors.of[k][single].factors[0]
        below = above = 0.0
        for part, heavy in self._heavy(which):
            near = np.flatnonzero(heavy > FORGOTTEN)
            scored = self._weigher.score(
                self._sight, part.combination.factors, part.level, near, [watched]
            )
            sd = np.sqrt(np.maximum(scored.variance[0], 0.0) + factor.variance + factor.gain**2)
            at = ndtr((factor.y - scored.mean[0]) / sd)
            below += float(heavy[near] @ at)
            above += float(heavy[near] @ (1.0 - at))
        total = max(below + above, 1e-300)
        return float(min(1.0, 2.0 * min(below, above) / total))

    def _heavy(self, which: tuple[int, ...]) -> Iterator[tuple[Part, FloatArray]]:
        """Every part with the odds of its looks, (U,)."""
        ln_prior, parts, ln_row = self._state(which)
        looks = self._sight.looks
        total = ln_sum(ln_row)
        base = np.exp(ln_prior + looks.edge - float(ln_prior.max()))
        with np.errstate(divide="ignore"):
            ln_base = np.log(np.bincount(looks.of, base, len(looks.row))) + float(ln_prior.max())
        for part in parts:
            yield part, np.exp(ln_base + part.ln - total)


def decibans(before: float, after: float) -> float:
    """Change of log-odds in decibans, with both kept off 0 and 1."""
    b = min(max(before, SMALLEST), 1.0 - SMALLEST)
    a = min(max(after, SMALLEST), 1.0 - SMALLEST)
    return 10.0 * (math.log10(a / (1.0 - a)) - math.log10(b / (1.0 - b)))
