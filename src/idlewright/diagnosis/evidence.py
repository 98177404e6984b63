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
from idlewright.diagnosis.factors import NumberFactor, Seen
from idlewright.diagnosis.gaussian import Observed, Scored, inside_range, score
from idlewright.diagnosis.looks import Columns, Looks, make_looks
from idlewright.diagnosis.pieces import DEAD, Weighed, ln_sum_first
from idlewright.diagnosis.repeats import news
from idlewright.diagnosis.world import Rows, Timeline
from idlewright.model.cells import IntArray
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray

LEVELS = ((1.0, math.log(0.8)), (2.0, math.log(0.2)))
"""Tolerances are as stated (0.8) or twice as wide (0.2): a scale mixture."""
DEAD_NATS = 22.0
UNSURE_NATS = 4.0
FEW_LOOKS = 40


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
            among: looks worth the while; None: found out here. The others get DEAD.
        """
        readings = _options(sight, positions, only or {})
        if among is None:
            among = self._alive(sight, readings)
        mean = sight.looks.mean[:-1, among]
        variance = 4.0 * np.einsum("iiu->iu", sight.looks.kernel[:-1, :-1])[:, among]
        found = []
        for combination in combinations(readings, sight.factors.items, mean, variance):
            for level, ln_level in LEVELS:
                ln = np.full(len(sight.looks.row), DEAD)
                scored = self.score(sight, combination.factors, level, among)
                ln[among] = scored.ln_z + (combination.ln_weight + ln_level)
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
        looks, cells = sight.looks, self.model.cells
        every = [*chosen, *watched]
        seen = self.observed(sight, chosen)
        found = score(
            looks.means(every, which), lambda here: looks.widened(every, level, which[here]), seen
        )
        cell = self.rows.cell[sight.row_ids[looks.row[which]]]
        spread = cells.spread[cell]
        u_mean = cells.centre[cell] + spread * found.mean[-1]
        u_variance = spread**2 * np.maximum(found.variance[-1], 1e-12)
        inside = inside_range(np.zeros(len(cell)), np.ones(len(cell)), u_mean, u_variance)
        ln_z = found.ln_z + np.where(looks.sees[which], inside, 0.0)
        return Scored(ln_z, found.mean, found.variance)

    def observed(self, sight: Sight, chosen: Sequence[int]) -> Observed:
        """Some factors, numbers before boxes, as one observation."""
        return observe([sight.factors.items[i] for i in chosen])

    def _alive(self, sight: Sight, readings: Sequence[Sequence[Option]]) -> IntArray:
        """Looks that can still matter.

        The numbers that every combination contains bound a look from above: boxes can only lower
        its evidence, and a number that only some modes have can raise it by UNSURE_NATS at most.
        Looks bounded far below the full evidence of the most hopeful ones are out.
        """
        items = sight.factors.items
        singles = [options[0] for options in readings if len(options) == 1]
        sure = [i for o in singles for i in o.factors if isinstance(items[i], NumberFactor)]
        plain = all(
            isinstance(items[i], NumberFactor) for options in readings for o in options
            for i in o.factors
        )  # fmt: skip
        everyone = np.arange(len(sight.looks.row))
        if plain and len(singles) == sum(bool(options) for options in readings):
            return everyone
        if len(everyone) <= 2 * FEW_LOOKS or not sure:
            return everyone
        heaviest = np.full(len(everyone), -np.inf)
        np.maximum.at(heaviest, sight.looks.of, self.rows.ln_prior[sight.row_ids])
        bounds = [self.score(sight, sure, level, everyone).ln_z for level, _ in LEVELS]
        most = sum(max(o.ln_weight for o in options) for options in readings if options)
        bound = heaviest + np.maximum(*bounds) + most
        top = np.sort(np.argpartition(-bound, FEW_LOOKS)[:FEW_LOOKS])
        tried = self.parts(sight, _able(readings), _forced(readings), top)
        best = max(float((part.ln + heaviest)[top].max()) for part in tried)
        unsure = sum(len(options) > 1 for options in readings)
        alive: IntArray = np.flatnonzero(bound + UNSURE_NATS * unsure > best - DEAD_NATS)
        return alive

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


def _able(readings: Sequence[Sequence[Option]]) -> list[int]:
    return [k for k, options in enumerate(readings) if options]


def _forced(readings: Sequence[Sequence[Option]]) -> dict[int, int]:
    return {k: options[0].number for k, options in enumerate(readings) if len(options) == 1}
