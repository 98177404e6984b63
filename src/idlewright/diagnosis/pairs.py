"""Two faults at once: screened by adding single effects, then weighed where it could matter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from idlewright.diagnosis.combinations import Factors, combination_of, densities, observe
from idlewright.diagnosis.evidence import LEVELS, Weigher
from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.gaussian import Observed, condition, inside_range
from idlewright.diagnosis.pair_screen import LEAST_CHANCE, PairScreen
from idlewright.diagnosis.prior import Prior
from idlewright.diagnosis.repeats import news
from idlewright.diagnosis.world import lives_of
from idlewright.model.cells import IntArray
from idlewright.model.compiled import CompiledModel
from idlewright.model.forms import Box
from idlewright.model.pair_worlds import BoolArray, PairCells, linearise_pairs
from idlewright.model.scalars import FloatArray
from idlewright.physics.normal import log_sum_exp

SECOND_FAULT = 0.08
"""Chance that a car with one fault has another, independent one (common practice, no source)."""
COMMON_CAUSE = 3.0
"""Faults at the same plug or in the same part come together this many times as often."""
LOOKED_AGAIN = 12
SIDE_CELLS = 5
WIDTH = 1.0 / SIDE_CELLS
SPREAD = 0.6 * WIDTH
HOPELESS_NATS = 25.0
HOPEFUL = math.log(0.05)
"""Screened odds of the best pair against the best single fault from which pairs are weighed."""


@dataclass(frozen=True, slots=True)
class PairRows:
    """Weighed cells of pairs.

    Attributes:
        cells: (Q,). on: faults still there now, (Q, 2). ln_weight: log prior x evidence, (Q,).
        z: posterior mean, (Q, K). slopes, gain: as in a Piece. level: tolerance widening.
    """

    cells: PairCells
    on: BoolArray
    ln_weight: FloatArray
    z: FloatArray
    slopes: FloatArray
    gain: FloatArray
    level: float

    def take(self, which: IntArray) -> PairRows:
        """Some of the rows."""
        return PairRows(
            self.cells.take(which),
            self.on[which],
            self.ln_weight[which],
            self.z[which],
            self.slopes[which],
            self.gain[which],
            self.level,
        )


@dataclass(frozen=True, slots=True)
class _Draft:
    """Cells of pairs whose readings came about in the same way.

    Attributes:
        cells: (Q,). last: last epoch of each fault, (Q, 2). prior: log, with the words seen, (Q,).
        factors: numbers of the m factors. latents, times, observed: of those.
    """

    cells: PairCells
    last: IntArray
    prior: FloatArray
    factors: list[int]
    latents: list[int]
    times: list[int]
    observed: Observed

    def take(self, which: IntArray) -> _Draft:
        """Some of the cells."""
        return replace(
            self, cells=self.cells.take(which), last=self.last[which], prior=self.prior[which]
        )


class PairWeigher:
    """Weighs pairs of faults against the readings of a job.

    Args:
        weigher: of single faults; lends its model, timeline and columns. prior: of the job.
        variants: odds of the car's variants by single faults, (V,); pairs are weighed in the
            likeliest, and count for as much as if all had been.
    """

    def __init__(self, weigher: Weigher, prior: Prior, variants: FloatArray) -> None:
        self.model: CompiledModel = weigher.model
        self.weigher = weigher
        self.prior = prior
        self.variant = int(np.argmax(variants))
        weight = self.model.table.variant_weight
        self._ln_variant = math.log(weight[self.variant] / weight.sum() / variants[self.variant])

    def weigh(
        self, seen: Sequence[Seen], times: Sequence[int], *, if_hopeful: bool = False
    ) -> list[PairRows]:
        """Posterior of the pairs that could matter; rows of one level and one way each.

        Args:
            seen, times: the readings. if_hopeful: only if a pair may be nearly as likely as the
                likeliest single fault.
        """
        factors = Factors.collect(self.model, seen, times)
        if not factors.items:
            return []
        new = news(seen, times, self.weigher.timeline)
        ln_second = math.log(SECOND_FAULT)
        hopes = PairScreen(
            self.model, self.variant, self.prior, factors, seen, new, ln_second
        ).best()
        pairs = hopes.pairs
        if not pairs or (if_hopeful and hopes.better < HOPEFUL):
            return []
        rows = [self._rows(pair, ends) for pair in pairs for ends in self._endings(pair)]
        cells = PairCells(
            np.concatenate([r[0] for r in rows]),
            np.concatenate([r[1] for r in rows]),
            np.concatenate([r[2] for r in rows]),
            self.variant,
        )
        last = np.concatenate([r[3] for r in rows])
        said = [one for one, is_new in zip(seen, new, strict=True) if is_new]
        when = [time for time, is_new in zip(times, new, strict=True) if is_new]
        prior = np.concatenate([r[4] for r in rows]) + self._words(cells, last, said, when)
        drafts = self._ways(factors, cells, last, prior)
        lines = [self._lines(draft, np.zeros((len(draft.cells), self._width)), 1.0)
                 for draft in drafts]  # fmt: skip
        found = []
        for level, ln_level in LEVELS:
            # At the middle of every tolerance their width changes nothing but the slopes.
            parts = []
            for draft, (mean, slopes) in zip(drafts, lines, strict=True):
                by_z = slopes.copy()
                by_z[:, :, :-2] *= level
                parts.append(self._solve(draft, mean, by_z, level, ln_level))
            found += self._look_again(drafts, parts, level, ln_level)
        return found

    @property
    def _width(self) -> int:
        """Extended columns of a pair: those of a single fault and one more severity."""
        return self.weigher.width + 1

    def _ways(
        self, factors: Factors, cells: PairCells, last: IntArray, prior: FloatArray
    ) -> list[_Draft]:
        """The cells parted by the ways in which their readings most likely came about.

        A reading that can come about in several ways (the computer holds the idle or has run out of
        travel) is taken in the way that is likeliest in the middle of each cell.
        """
        several = [options for options in factors.of if len(options) > 1]
        picked = np.zeros((len(cells), len(several)), dtype=np.int64)
        if several:
            used = sorted({i for options in several for o in options for i in o.factors})
            draft = self._draft(factors, used, cells, last, prior)
            x, slopes = self._lines(draft, np.zeros((len(cells), self._width)), 1.0)
            mean = np.zeros((len(factors.items), len(cells)))
            variance = np.zeros_like(mean)
            mean[draft.factors] = x.T
            variance[draft.factors] = 4.0 * np.einsum("qmk,qmk->mq", slopes, slopes)
            for column, options in enumerate(several):
                ways = [densities(o, factors.items, mean, variance) for o in options]
                picked[:, column] = np.argmax(ways, axis=0)
        found = []
        for way in np.unique(picked, axis=0):
            here = np.flatnonzero((picked == way).all(axis=1))
            chosen = iter(way)
            options = [o[int(next(chosen))] if len(o) > 1 else o[0] for o in factors.of if o]
            one = combination_of(options, factors.items)
            weight = prior[here] + one.ln_weight
            found.append(self._draft(factors, one.factors, cells.take(here), last[here], weight))
        return found

    def _draft(
        self,
        factors: Factors,
        used: Sequence[int],
        cells: PairCells,
        last: IntArray,
        prior: FloatArray,
    ) -> _Draft:
        ordered = sorted(used, key=lambda i: isinstance(factors.items[i], Box))
        return _Draft(
            cells, last, prior, ordered, [factors.latents[i] for i in ordered],
            [factors.times[i] for i in ordered], observe([factors.items[i] for i in ordered]),
        )  # fmt: skip

    def _ln_prior(self, pair: tuple[int, int]) -> float:
        """Log prior of a pair; things in one place come together more often."""
        ln = math.log(SECOND_FAULT) + float(self.prior.ln_fault[list(pair)].sum())
        a, b = (self.model.cells.faults[f].id for f in pair)
        if a.rpartition(".")[0] == b.rpartition(".")[0]:
            ln += math.log(COMMON_CAUSE)
        return ln

    def _endings(self, pair: tuple[int, int]) -> list[tuple[tuple[int, int], float]]:
        """Last epoch of each fault, with log odds: repairs cure one, both or neither."""
        lives = [
            lives_of(self.model.cells.faults[f].id, self.weigher.timeline.renewals) for f in pair
        ]
        return [((a, b), ln_a + ln_b) for a, ln_a in lives[0] for b, ln_b in lives[1]]

    def _rows(
        self, pair: tuple[int, int], ending: tuple[tuple[int, int], float]
    ) -> tuple[IntArray, FloatArray, FloatArray, IntArray, FloatArray]:
        """Cells of one pair under one ending: fault, centre, spread, last epoch, log prior."""
        sides = [self._side(f) for f in pair]
        centre = np.array([[a, b] for a in sides[0][0] for b in sides[1][0]])
        count = len(centre)
        spread = np.tile([sides[0][1], sides[1][1]], (count, 1))
        ln = self._ln_prior(pair) + self._ln_variant + ending[1] - math.log(count)
        return (
            np.tile(pair, (count, 1)),
            centre,
            spread,
            np.tile(ending[0], (count, 1)),
            np.full(count, ln),
        )

    def _side(self, fault: int) -> tuple[FloatArray, float]:
        cells = self.model.cells
        own = np.flatnonzero(cells.fault == fault)
        if cells.spread[own[0]] == 0:
            return np.zeros(1), 0.0
        return (np.arange(SIDE_CELLS, dtype=np.float64) + 0.5) * WIDTH, SPREAD

    def _words(
        self, cells: PairCells, last: IntArray, said: Sequence[Seen], times: Sequence[int]
    ) -> FloatArray:
        """Log odds of words with stated odds: the fault that shows the word most decides."""
        total = np.zeros(len(cells))
        names = [fault.id for fault in self.model.cells.faults]
        for one, time in zip(said, times, strict=True):
            if not one.odds and one.base == 1.0:
                continue
            table = np.array([one.odds.get(name, one.base) for name in names])
            epoch = self.weigher.epoch_of_time[time]
            chance = np.where(last >= epoch, table[cells.fault], one.base)
            decided = chance.max(axis=1) if one.base < 0.5 else chance.min(axis=1)
            total += np.log(np.maximum(decided, LEAST_CHANCE))
        return total

    def _lines(
        self, draft: _Draft, z: FloatArray, level: float
    ) -> tuple[FloatArray, FloatArray]:
        """Means (Q, m) and slopes by extended columns (Q, m, K + 1), linearised at z."""
        width = self._width
        mean = np.empty((len(draft.cells), len(draft.latents)))
        slopes = np.zeros((len(draft.cells), len(draft.latents), width))
        epochs = [self.weigher.epoch_of_time[time] for time in draft.times]
        for epoch in sorted(set(epochs)):
            here = [k for k, e in enumerate(epochs) if e == epoch]
            columns = np.append(self.weigher.maps[epoch], [width - 2, width - 1])
            local = z[:, columns]
            x, by_z = linearise_pairs(
                self.model, draft.cells, draft.last >= epoch, local,
                [draft.latents[k] for k in here], level,
            )  # fmt: skip
            mean[:, here] = x - (by_z @ local[:, :, None])[:, :, 0]
            for position, k in enumerate(here):
                slopes[:, k, columns] = by_z[:, position]
        return mean, slopes

    def _solve(
        self, draft: _Draft, mean: FloatArray, slopes: FloatArray, level: float, ln_level: float
    ) -> PairRows:
        """Condition on lines; ln_weight = log prior and evidence, cut at both ranges' ends."""
        cells = draft.cells
        result = condition(mean, slopes @ np.swapaxes(slopes, 1, 2), draft.observed)
        where = (result.weight[:, None] @ slopes)[:, 0]
        ln = result.ln_z + draft.prior + ln_level
        for side in (0, 1):
            by_u = slopes[:, :, side - 2]
            left = 1.0 - ((by_u[:, None] @ result.gain)[:, 0] * by_u).sum(axis=1)
            spread = cells.spread[:, side]
            u = cells.centre[:, side] + spread * where[:, side - 2]
            variance = spread**2 * np.maximum(left, 1e-12)
            ln += inside_range(np.zeros(len(u)), np.ones(len(u)), u, variance)
        now = draft.last >= self.weigher.epoch_of_time[-1]
        return PairRows(cells, now, ln, where, slopes, result.gain, level)

    def _look_again(
        self, drafts: Sequence[_Draft], parts: Sequence[PairRows], level: float, ln_level: float
    ) -> list[PairRows]:
        """Keep what is near the best of all and linearise it again at its own posterior."""
        ln = np.sort(np.concatenate([part.ln_weight for part in parts]))[::-1]
        bar = max(ln[0] - HOPELESS_NATS, ln[min(len(ln), LOOKED_AGAIN * SIDE_CELLS**2) - 1])
        found = []
        for draft, part in zip(drafts, parts, strict=True):
            keep = np.flatnonzero(part.ln_weight >= bar)
            if len(keep):
                again = draft.take(keep)
                lines = self._lines(again, np.clip(part.z[keep], -5.0, 5.0), level)
                found.append(self._solve(again, *lines, level, ln_level))
        return found


def ln_total(rows: Sequence[PairRows]) -> float:
    """Log weight of all pairs together."""
    parts = [part.ln_weight for part in rows if len(part.ln_weight)]
    return float(log_sum_exp(np.concatenate(parts))) if parts else -math.inf
