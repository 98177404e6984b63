"""Evidence of looks under many combinations of alternatives: what all share is worked out once.

An engine that may hold its speed or have run out of travel makes four ways of each speed read, and
sixteen of two. The numbers that all of them contain are conditioned on once; the rest of each
combination is small. Its boxes can only lower what its numbers leave, so looks that the numbers
alone put out of reach are not asked about their boxes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.combinations import Combination, observe
from idlewright.diagnosis.factors import NumberFactor
from idlewright.diagnosis.gaussian import Left, boxed, given_numbers
from idlewright.diagnosis.looks import Looks
from idlewright.diagnosis.pieces import DEAD
from idlewright.model.cells import IntArray
from idlewright.model.forms import Box
from idlewright.model.scalars import FloatArray

OUT_OF_REACH_NATS = 42.0
"""A little more than the nats within which one look of every fault is tried again."""
FEW_LOOKS = 40
"""The most hopeful looks of a combination, tried first to see how good it can get."""


@dataclass(frozen=True, slots=True)
class Common:
    """Looks at one level of tolerance, given the numbers that all combinations share.

    Attributes:
        left: of the other factors, in order, then of the severity.
        position: of each of those factors.
    """

    left: Left
    position: dict[int, int]


class Shared:
    """Some looks under some combinations.

    Args:
        items: all factors. which: looks, (W,). heaviest: log prior of each, (W,).
    """

    def __init__(
        self,
        looks: Looks,
        items: Sequence[NumberFactor | Box],
        combinations: Sequence[Combination],
        which: IntArray,
        heaviest: FloatArray,
    ) -> None:
        self._looks = looks
        self._items = items
        self._which = which
        self._heaviest = heaviest
        self._best = -np.inf
        used = dict.fromkeys(i for one in combinations for i in one.factors)
        numbers = [i for i in used if isinstance(items[i], NumberFactor)]
        self._sure = [i for i in numbers if all(i in one.factors for one in combinations)]
        self._open = [i for i in numbers if i not in self._sure]
        self._boxes = [i for i in used if isinstance(items[i], Box)]

    def common(self, level: float) -> Common:
        """Everything given what is sure, with tolerances so many times as wide as stated."""
        looks, which = self._looks, self._which
        numbers = [*self._sure, *self._open]
        every = [*numbers, *self._boxes]
        seen = observe([self._items[i] for i in numbers])
        off = looks.means(every, which)
        off[: len(numbers)] -= seen.y[:, None]

        def kernel(here: slice) -> FloatArray:
            part = looks.widened(every, level, which[here])
            part[: len(numbers), : len(numbers)] += seen.noise[:, :, None]
            return part

        left = given_numbers(off, kernel, len(self._sure))
        rest = every[len(self._sure) :]
        return Common(left, {factor: k for k, factor in enumerate(rest)})

    def score(
        self, common: Common, combination: Combination, ln_level: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Log evidence of the looks, and their severity's mean and variance, (W,) each.

        Looks out of reach get DEAD: a bound in place of their evidence would be taken for it by
        whoever weighs them again without one of the readings.
        """
        mine = [i for i in combination.factors if i in common.position]
        n = sum(isinstance(self._items[i], NumberFactor) for i in mine)
        at = np.array([*(common.position[i] for i in mine), len(common.position)])
        before = common.left
        left = given_numbers(
            before.off[at], lambda here: before.kernel[at[:, None], at, here].copy(), n
        )
        ln = before.ln_z + left.ln_z
        mean, variance = left.off[-1].copy(), left.kernel[-1, -1].copy()
        if len(mine) == n:
            return ln, mean, variance
        seen = observe([self._items[i] for i in mine[n:]])
        weight = self._heaviest + (combination.ln_weight + ln_level)
        bound = ln + weight
        hopeful = np.sort(np.argpartition(-bound, min(FEW_LOOKS, len(bound)) - 1)[:FEW_LOOKS])
        if bound[hopeful].max() > self._best:
            tried = boxed(left.take(hopeful), seen).ln_z + bound[hopeful]
            self._best = max(self._best, float(tried.max()))
        near = bound > self._best - OUT_OF_REACH_NATS
        within = np.flatnonzero(near)
        scored = boxed(left.take(within), seen)
        ln[within] += scored.ln_z
        ln[~near] = DEAD
        mean[within], variance[within] = scored.mean[-1], scored.variance[-1]
        return ln, mean, variance
