"""Evidence of every row from the readings: condition, cut at the range, look again, add up.

From nothing each time: no incremental path, so the order of entry cannot matter and a struck
reading is one that was never there.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import logsumexp

from idlewright.diagnosis.alike import Alike
from idlewright.diagnosis.combinations import Combination, Factors, combinations, observe
from idlewright.diagnosis.factors import NumberFactor, Seen
from idlewright.diagnosis.gaussian import (
    Observed,
    condition,
    cut_at_range,
    evidence_of_block,
    inside_range,
)
from idlewright.diagnosis.neighbours import beside
from idlewright.diagnosis.pieces import Piece, Weighed
from idlewright.diagnosis.world import Rows, Timeline
from idlewright.model.cells import IntArray
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray

LEVELS = ((1.0, math.log(0.8)), (2.0, math.log(0.2)))
"""Tolerances are as stated (0.8) or twice as wide (0.2): a scale mixture."""
KEEP_NATS = 12.0
DEAD_NATS = 22.0
UNSURE_NATS = 4.0
FEW_ROWS = 40
DEAD = -1e9
STEP_LIMIT = 5.0
SETTLED = 0.3
SETTLED_NATS = 0.1
MOST_LOOKS = 8


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

    def weigh(self, seen: Sequence[Seen], times: Sequence[int]) -> Weighed:
        """Posterior of every row given what was seen.

        Args:
            seen: readings. times: index of each reading's time in the timeline.
        """
        prior = self.rows.ln_prior + self._odds_words(seen, times)
        factors = Factors.collect(self.model, seen, times)
        alive = self._alive(prior, seen, factors)
        alike = Alike.find(self.model, self.rows, prior, factors.latents, factors.times)
        row = alike.standing(alive)
        mean, slopes = self.gather(self.rows.take(row), factors.latents, factors.times)
        parts = self._parts(alike.prior, seen, factors, row, mean, slopes)
        weighed = self._look_again(alike.prior, factors, row, mean, slopes, parts)
        return alike.expanded(weighed, alive)

    def _parts(
        self,
        prior: FloatArray,
        seen: Sequence[Seen],
        factors: Factors,
        alive: IntArray,
        mean: FloatArray,
        slopes: FloatArray,
    ) -> list[tuple[Combination, float, FloatArray]]:
        """Log weight of the rows under every combination and level of tolerance."""
        parts: list[tuple[Combination, float, FloatArray]] = []
        for combination in combinations(seen, factors, mean, slopes):
            chosen = combination.factors
            observed = observe([factors.items[i] for i in chosen])
            for level, ln_level in LEVELS:
                tilted = widened(slopes[:, chosen], level)
                fit = self._solve(alive, level, mean[:, chosen], tilted, observed)
                ln = prior[alive] + fit.ln_weight + combination.ln_weight + ln_level
                parts.append((combination, level, ln))
        return parts

    def _alive(self, prior: FloatArray, seen: Sequence[Seen], factors: Factors) -> IntArray:
        """Rows that can still matter.

        The numbers that every combination contains bound a row from above: boxes can only lower
        its evidence, and a number that only some modes have can raise it by UNSURE_NATS at most.
        Rows bounded far below the full evidence of the most hopeful rows are out.
        """
        sure = [
            i
            for options in factors.of
            if len(options) == 1
            for i in options[0]
            if isinstance(factors.items[i], NumberFactor)
        ]
        everyone = np.arange(len(self.rows))
        if len(self.rows) <= 2 * FEW_ROWS or not sure:
            return everyone
        observed = observe([factors.items[i] for i in sure])
        latents = [factors.latents[i] for i in sure]
        mean, slopes = self.gather(self.rows, latents, [factors.times[i] for i in sure])
        bounds = [
            prior + self._solve(everyone, level, mean, widened(slopes, level), observed).ln_weight
            for level, _ in LEVELS
        ]
        bound = np.maximum(*bounds)
        top = np.sort(np.argpartition(-bound, FEW_ROWS)[:FEW_ROWS])
        start = self.gather(self.rows.take(top), factors.latents, factors.times)
        best = max(float(ln.max()) for _, _, ln in self._parts(prior, seen, factors, top, *start))
        unsure = sum(len(options) > 1 for options in factors.of)
        return np.flatnonzero(bound + UNSURE_NATS * unsure > best - DEAD_NATS)

    def leave_one_out(
        self, seen: Sequence[Seen], times: Sequence[int]
    ) -> tuple[float, FloatArray]:
        """Quick log evidence of everything, and of everything but each reading, (n,).

        Each reading in its most hopeful mode, physics on the bank's lines, and the other words' EP
        sites kept: good enough to tell which readings deserve a full look, not for odds.
        """
        prior = self.rows.ln_prior + self._odds_words(seen, times)
        factors = Factors.collect(self.model, seen, times)
        mean, slopes = self.gather(self.rows, factors.latents, factors.times)
        chosen = combinations(seen, factors, mean, slopes)[0]
        order = chosen.factors
        observed = observe([factors.items[i] for i in order])
        everyone = np.arange(len(self.rows))
        used = Counter(
            i for options, k in zip(factors.of, chosen.picked, strict=True) for i in options[k]
        )
        picked = iter(zip(factors.of, chosen.picked, strict=True))
        blocks: list[list[int]] = []
        own_ln: list[float] = []
        for one in seen:
            own_ln.append(0.0)
            if one.alternatives:
                options, k = next(picked)
                own_ln[-1] = one.alternatives[k].ln_weight
                own = [i for i in options[k] if used[i] == 1]
                blocks.append([order.index(i) for i in own])
            else:
                blocks.append([])
        together = []
        apart: list[list[FloatArray]] = [[] for _ in seen]
        for level, ln_level in LEVELS:
            tilted = widened(slopes[:, order], level)
            fit = self._solve(everyone, level, mean[:, order], tilted, observed)
            ln = prior + fit.ln_weight + ln_level + chosen.ln_weight
            together.append(ln)
            for position, block in enumerate(blocks):
                added = evidence_of_block(fit.pull, fit.gain, block, len(observed.y))
                apart[position].append(ln - added - own_ln[position])
        without = np.array([float(logsumexp(np.stack(parts))) for parts in apart])
        alone = [self._odds_words([one], [time]) for one, time in zip(seen, times, strict=True)]
        for position, one in enumerate(seen):
            if not one.alternatives:
                stacked = np.stack([ln - alone[position] for ln in together])
                without[position] = float(logsumexp(stacked))
        return float(logsumexp(np.stack(together))), without

    def _odds_words(self, seen: Sequence[Seen], times: Sequence[int]) -> FloatArray:
        """Sum of log odds of words that carry stated odds, (R,)."""
        faults = self.model.cells.faults
        total = np.zeros(len(self.rows))
        number = self.model.cells.fault[self.rows.cell]
        known: set[tuple[object, ...]] = set()
        for one, time in zip(seen, times, strict=True):
            answer = (one.what, time, one.base, *sorted(one.odds.items()))
            if (not one.odds and one.base == 1.0) or (one.what and answer in known):
                continue
            known.add(answer)
            table = np.full(len(faults) + 1, math.log(max(one.base, 1e-9)))
            for k, fault in enumerate(faults):
                if fault.id in one.odds:
                    table[k] = math.log(max(one.odds[fault.id], 1e-9))
            total += np.where(self.rows.active[:, time], table[number], table[-1])
        return total

    def gather(
        self, rows: Rows, latents: Sequence[int], times: Sequence[int]
    ) -> tuple[FloatArray, FloatArray]:
        """Means (R, m) and slopes (R, m, K) of latents at times, from the bank."""
        if not latents:
            return np.empty((len(rows), 0)), np.zeros((len(rows), 0, self.width))
        mean = np.empty((len(rows), len(latents)))
        slopes = np.zeros((len(rows), len(latents), self.width))
        for time in sorted(set(times)):
            here = [k for k, t in enumerate(times) if t == time]
            source = self.sources(rows, time)
            local_mean, local = self.model.bank_at([latents[k] for k in here], source)
            mean[:, here] = local_mean
            self._spread_out(slopes, here, local, time)
        return mean, slopes

    def sources(self, rows: Rows, time: int) -> IntArray:
        """Cell whose physics each row follows at a time: its own, or the good car's."""
        cells = self.model.cells
        good = cells.good[cells.variant[rows.cell]]
        active = rows.active[:, time] if rows.active.shape[1] else np.zeros(len(rows), dtype=bool)
        return np.where(active, rows.cell, good)

    def _spread_out(
        self, slopes: FloatArray, here: list[int], local: FloatArray, time: int
    ) -> None:
        """Put slopes by local columns into the extended columns of the time's epoch (in place)."""
        columns = self.maps[self.epoch_of_time[time]]
        for k, position in enumerate(here):
            slopes[:, position, columns] = local[:, k, :-1]
            slopes[:, position, -1] = local[:, k, -1]

    def local_z(self, z: FloatArray, time: int) -> FloatArray:
        """Extended coordinates (P, K) as the local ones of a time's epoch, (P, T + 1)."""
        columns = self.maps[self.epoch_of_time[time]]
        return np.concatenate([z[:, columns], z[:, -1:]], axis=1)

    def _solve(
        self, row: IntArray, level: float, mean: FloatArray, slopes: FloatArray, seen: Observed
    ) -> Piece:
        """Condition rows and cut them at the ends of their severity; ln_weight = ln evidence."""
        cells = self.model.cells
        cell = self.rows.cell[row]
        result = condition(mean, slopes @ np.swapaxes(slopes, 1, 2), seen)
        z = np.einsum("rm,rmk->rk", result.weight, slopes)
        by_u = slopes[:, :, -1]
        left = 1.0 - np.einsum("ri,rij,rj->r", by_u, result.gain, by_u)
        spread = cells.spread[cell]
        u_mean = cells.centre[cell] + spread * z[:, -1]
        u_variance = spread**2 * np.maximum(left, 1e-12)
        inside = inside_range(np.zeros(len(row)), np.ones(len(row)), u_mean, u_variance)
        ln_z = result.ln_z + np.where(self.rows.blind[row], 0.0, inside)
        return Piece(
            row, level, ln_z, z, slopes, result.gain, u_mean, u_variance, result.weight, ()
        )

    def _look_again(
        self,
        prior: FloatArray,
        factors: Factors,
        alive: IntArray,
        mean: FloatArray,
        slopes: FloatArray,
        parts: list[tuple[Combination, float, FloatArray]],
    ) -> Weighed:
        """Look again where the readings put what is within KEEP_NATS of the best, and beside it."""
        best = max(float(ln.max()) for _, _, ln in parts)
        pieces: list[Piece] = []
        settled = True
        ln_rows = []
        for combination, level, ln in parts:
            ln_row = np.full(len(prior), DEAD)
            ln_row[alive] = ln
            ln_rows.append(ln_row)
            near = np.flatnonzero(ln > best - KEEP_NATS)
            if not len(near):
                continue
            row = alive[near]
            chosen = combination.factors
            observed = observe([factors.items[i] for i in chosen])
            start = mean[near][:, chosen], widened(slopes[near][:, chosen], level)
            fits, moved = [self._solve(row, level, *start, observed)], np.zeros(len(row))
            if chosen and self.passes:
                fits, moved = self._relinearised(fits[0], level, factors, chosen, observed)
            constant = prior + (dict(LEVELS)[level] + combination.ln_weight)
            for fit in fits:
                ln_row[fit.row] = constant[fit.row] + fit.ln_weight
                pieces.append(replace(fit, ln_weight=ln_row[fit.row], picked=combination.picked))
            weighty = np.concatenate([ln_row[fit.row] for fit in fits]) > best - 3.0
            settled = settled and bool(np.all(moved[weighty] < SETTLED))
        ln_total = logsumexp(np.stack(ln_rows), axis=0)
        return Weighed(self.rows, ln_total, tuple(pieces), settled, self.passes)

    def _relinearised(
        self, fit: Piece, level: float, factors: Factors, chosen: Sequence[int], observed: Observed
    ) -> tuple[list[Piece], FloatArray]:
        """Rows looked at again and the rows beside them, and how far z moved in the last look."""
        cells = self.model.cells
        fit, z, moved = self._passes(fit.row, self._cut(fit), level, factors, chosen, observed)
        cell = self.rows.cell[fit.row]
        u = cells.centre[cell] + cells.spread[cell] * z[:, -1]
        weight = self.rows.ln_prior[fit.row] + fit.ln_weight
        row, donor = beside(self.rows, cells, fit.row, u, weight)
        if not len(row):
            return [fit], moved
        z, cell = z[donor], self.rows.cell[row]
        z[:, -1] = (u[donor] - cells.centre[cell]) / cells.spread[cell]
        more, _, moved_more = self._passes(row, z, level, factors, chosen, observed)
        return [fit, more], np.concatenate([moved, moved_more])

    def _cut(self, fit: Piece) -> FloatArray:
        """Posterior mean of z with the severity inside its range, (P, K)."""
        cell = self.rows.cell[fit.row]
        spread = np.where(self.rows.blind[fit.row], 0.0, self.model.cells.spread[cell])
        return cut_at_range(fit.z, fit.slopes, fit.gain, self.model.cells.centre[cell], spread)

    def _passes(
        self, row: IntArray, z: FloatArray, level: float,
        factors: Factors, chosen: Sequence[int], observed: Observed,
    ) -> tuple[Piece, FloatArray, FloatArray]:
        """Posterior of rows after looking again from z, its z, and how far the last look moved.

        What has not settled is looked at again, MOST_LOOKS times at most: precise readings far out
        in a tolerance can move a row by ten nats a look, and not by the same for every fault.
        """
        again, fit = np.arange(len(row)), None
        moved = np.zeros(len(row))
        for look in range(max(self.passes, MOST_LOOKS)):
            lines = self._linearise(row[again], level, z[again], factors, chosen)
            newer = self._solve(row[again], level, *lines, observed)
            cut = self._cut(newer)
            moved[again] = np.abs(cut - z[again]).max(axis=1)
            if fit is None:
                fit, z = newer, cut
            else:
                changed = np.abs(newer.ln_weight - fit.ln_weight[again])
                moved[again] = np.maximum(moved[again], changed * (SETTLED / SETTLED_NATS))
                fit.put(again, newer)
                z[again] = cut
            if look + 1 >= self.passes:
                weight = self.rows.ln_prior[row] + fit.ln_weight
                near = (weight > weight.max() - KEEP_NATS) | (look == 0)
                again = np.flatnonzero((moved >= SETTLED) & near)
            if not len(again):
                break
        assert fit is not None
        return fit, z, moved

    def _linearise(
        self, row: IntArray, level: float, z: FloatArray, factors: Factors, chosen: Sequence[int]
    ) -> tuple[FloatArray, FloatArray]:
        """Means and slopes of the chosen factors' latents, linearised at z (P, K)."""
        rows = self.rows.take(row)
        z = np.clip(z, -STEP_LIMIT, STEP_LIMIT)
        mean = np.empty((len(row), len(chosen)))
        slopes = np.zeros((len(row), len(chosen), self.width))
        for time in sorted({factors.times[i] for i in chosen}):
            here = [k for k, i in enumerate(chosen) if factors.times[i] == time]
            local = self.local_z(z, time)
            numbers = [factors.latents[chosen[k]] for k in here]
            source = self.sources(rows, time)
            x, by_z = self.model.linearise(source, local, numbers, level)
            mean[:, here] = x - np.einsum("pnk,pk->pn", by_z, local)
            self._spread_out(slopes, here, by_z, time)
        return mean, slopes


def widened(slopes: FloatArray, level: float) -> FloatArray:
    """Slopes with every tolerance column scaled and the severity's left alone."""
    if level == 1.0:
        return slopes
    scaled = slopes * level
    scaled[:, :, -1] = slopes[:, :, -1]
    return scaled
