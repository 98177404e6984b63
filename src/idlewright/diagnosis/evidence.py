"""Evidence of every row from the readings, on the bank's straight lines.

From nothing each time: no incremental path, so the order of entry cannot matter and a struck
reading is one that was never there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.combinations import (
    Combination,
    Factors,
    Option,
    combinations,
    observe,
)
from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.gaussian import Observed, Scored, inside_range, score
from idlewright.diagnosis.looks import Columns, Looks, make_looks
from idlewright.diagnosis.pieces import DEAD, Weighed, ln_sum_first
from idlewright.diagnosis.repeats import news
from idlewright.diagnosis.shared import Shared
from idlewright.diagnosis.world import Rows, Timeline
from idlewright.model.cells import IntArray
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray

LEVELS = ((1.0, math.log(0.8)), (2.0, math.log(0.2)))
"""Tolerances are as stated (0.8) or twice as wide (0.2): a scale mixture."""


@dataclass(frozen=True, slots=True)
class Sight:
    """Readings as factors, and how every row looks at them.

    Attributes:
        seen: readings. times: index of each one's time. factors: of all their alternatives.
        looks: of the rows `row_ids` of the weigher, (R,).
    """

    seen: tuple[Seen, ...]
    times: tuple[int, ...]
    factors: Factors
    looks: Looks
    row_ids: IntArray


@dataclass(frozen=True, slots=True)
class Part:
    """Evidence of looks under one combination of alternatives at one level of tolerance.

    Attributes:
        ln_level: log share of the level. ln: log evidence with both of these priors, (U,).
    """

    combination: Combination
    level: float
    ln_level: float
    ln: FloatArray


class Weigher:
    """Weighs readings of one job against one compiled model.

    Args:
        model: compiled family and sheet. timeline: times and repairs. rows: hypotheses.
        passes: how often to look again (re-linearise) at least.
    """

    def __init__(
        self, model: CompiledModel, timeline: Timeline, rows: Rows, passes: int = 1
    ) -> None:
        self.model = model
        self.timeline = timeline
        self.rows = rows
        self.passes = passes
        self.maps, self.width = timeline.column_maps(len(model.cells.tolerance))
        self.epoch_of_time = [time.epoch for time in timeline.times] or [0]
        self.columns = Columns(self.maps, self.width, self.epoch_of_time)

    def weigh(self, seen: Sequence[Seen], times: Sequence[int]) -> Weighed:
        """Posterior of every row given what was seen.

        Args:
            seen: readings. times: index of each reading's time in the timeline.
        """
        from idlewright.diagnosis.near import Draft  # both build on this module
        from idlewright.diagnosis.relook import look_again

        sight = self.sight(seen, times)
        draft = Draft(sight, self.ln_prior(seen, times), self.parts(sight))
        return look_again(self, [draft])[0]

    def sight(
        self, seen: Sequence[Seen], times: Sequence[int], which: IntArray | None = None
    ) -> Sight:
        """Readings as seen by all rows, or by some of them."""
        factors = Factors.collect(self.model, seen, times)
        row_ids = np.arange(len(self.rows)) if which is None else which
        rows = self.rows if which is None else self.rows.take(which)
        looks = make_looks(self.model, rows, self.columns, factors.latents, factors.times)
        return Sight(tuple(seen), tuple(times), factors, looks, row_ids)

    def ln_prior(self, seen: Sequence[Seen], times: Sequence[int]) -> FloatArray:
        """Log prior of every row with the words that carry stated odds, (R,)."""
        faults = self.model.cells.faults
        total = self.rows.ln_prior.copy()
        number = self.model.cells.fault[self.rows.cell]
        for one, time, new in zip(seen, times, news(seen, times, self.timeline), strict=True):
            if (not one.odds and one.base == 1.0) or not new:
                continue
            table = np.full(len(faults) + 1, math.log(max(one.base, 1e-9)))
            for k, fault in enumerate(faults):
                if fault.id in one.odds:
                    table[k] = math.log(max(one.odds[fault.id], 1e-9))
            total += np.where(self.rows.active[:, time], table[number], table[-1])
        return total

    def parts(
        self,
        sight: Sight,
        positions: Sequence[int] | None = None,
        only: Mapping[int, int] | None = None,
        among: IntArray | None = None,
    ) -> list[Part]:
        """Evidence of the looks under every combination and level of tolerance.

        Args:
            positions: readings that count; None: all. only: reading -> its one alternative.
            among: looks worth the while; None: all. The others get DEAD.
        """
        readings = _options(sight, positions, only or {})
        looks, items = sight.looks, sight.factors.items
        if among is None:
            among = np.arange(len(looks.row))
        heaviest = np.full(len(looks.row), -np.inf)
        np.maximum.at(heaviest, looks.of, self.rows.ln_prior[sight.row_ids])
        variance = 4.0 * np.einsum("iiu->iu", looks.kernel[:-1, :-1])[:, among]
        ways = combinations(readings, items, looks.mean[:-1, among], variance)
        shared = Shared(looks, items, ways, among, heaviest[among])
        found = []
        for level, ln_level in LEVELS:
            common = shared.common(level)
            for combination in ways:
                ln = np.full(len(looks.row), DEAD)
                ln_z, mean, left = shared.score(common, combination, ln_level)
                ln_z += self.inside(sight, among, mean, left)
                ln[among] = ln_z + (combination.ln_weight + ln_level)
                found.append(Part(combination, level, ln_level, ln))
        return found

    def score(
        self,
        sight: Sight,
        chosen: Sequence[int],
        level: float,
        which: IntArray,
        watched: Sequence[int] = (),
    ) -> Scored:
        """Log evidence of some looks, cut at the ends of their severity's range.

        Args:
            chosen: factors, numbers before boxes. which: looks, (W,). watched: other factors whose
                mean and variance afterwards are asked for.

        Returns:
            Of the watched factors, then of the severity: mean and variance, (v + 1, W).
        """
        looks = sight.looks
        every = [*chosen, *watched]
        seen = self.observed(sight, chosen)
        found = score(
            looks.means(every, which), lambda here: looks.widened(every, level, which[here]), seen
        )
        inside = self.inside(sight, which, found.mean[-1], found.variance[-1])
        return Scored(found.ln_z + inside, found.mean, found.variance)

    def inside(
        self, sight: Sight, which: IntArray, mean: FloatArray, variance: FloatArray
    ) -> FloatArray:
        """Log share inside its range of the severity of some looks, 0 where nothing sees it, (W,).

        Args:
            mean, variance: of its coordinate, (W,).
        """
        cells = self.model.cells
        cell = self.rows.cell[sight.row_ids[sight.looks.row[which]]]
        spread = cells.spread[cell]
        u_mean = cells.centre[cell] + spread * mean
        u_variance = spread**2 * np.maximum(variance, 1e-12)
        inside = inside_range(np.zeros(len(cell)), np.ones(len(cell)), u_mean, u_variance)
        return np.where(sight.looks.sees[which], inside, 0.0)

    def observed(self, sight: Sight, chosen: Sequence[int]) -> Observed:
        """Some factors, numbers before boxes, as one observation."""
        return observe([sight.factors.items[i] for i in chosen])

    def ln_rows(self, sight: Sight, prior: FloatArray, parts: Sequence[Part]) -> FloatArray:
        """Log odds of every row, (R,): prior (R,) and evidence; DEAD where it has no look."""
        ln_look = ln_sum_first(np.stack([part.ln for part in parts]))
        total = np.full(len(self.rows), DEAD)
        ids, looks = sight.row_ids, sight.looks
        total[ids] = prior[ids] + looks.edge + ln_look[looks.of]
        return total

    def sources(self, rows: Rows, time: int) -> IntArray:
        """Cell whose physics each row follows at a time: its own, or the good car's."""
        cells = self.model.cells
        good = cells.good[cells.variant[rows.cell]]
        active = rows.active[:, time] if rows.active.shape[1] else np.zeros(len(rows), dtype=bool)
        return np.where(active, rows.cell, good)

    def local_z(self, z: FloatArray, time: int) -> FloatArray:
        """Extended coordinates (P, K) as the local ones of a time's epoch, (P, T + 1)."""
        return self.columns.local(z, self.epoch_of_time[time])


def _options(
    sight: Sight, positions: Sequence[int] | None, only: Mapping[int, int]
) -> list[list[Option]]:
    """Options of every reading that counts, by position; none for the others."""
    wanted = set(range(len(sight.seen)) if positions is None else positions)
    return [
        [] if k not in wanted else [options[only[k]]] if k in only else options
        for k, options in enumerate(sight.factors.of)
    ]
