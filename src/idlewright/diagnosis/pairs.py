"""Two faults at once: screened by adding single effects, weighed exactly where it could matter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from idlewright.diagnosis.combinations import observe
from idlewright.diagnosis.evidence import LEVELS, Weigher
from idlewright.diagnosis.factors import NumberFactor, Seen
from idlewright.diagnosis.gaussian import Observed, condition, inside_range
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
COARSE = (0.1, 0.3, 0.5, 0.7, 0.9)
KEPT = 40
LOOKED_AGAIN = 12
SIDE_CELLS = 5
WIDTH = 1.0 / SIDE_CELLS
SPREAD = 0.6 * WIDTH
HOPELESS_NATS = 25.0


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


class PairWeigher:
    """Weighs pairs of faults against the readings of a job.

    Args:
        weigher: of single faults; lends its model, timeline and columns. prior: of the job.
    """

    def __init__(self, weigher: Weigher, prior: Prior) -> None:
        self.model: CompiledModel = weigher.model
        self.weigher = weigher
        self.prior = prior
        self.variant = int(np.argmax(self.model.table.variant_weight))

    def weigh(self, seen: Sequence[Seen], times: Sequence[int]) -> list[PairRows]:
        """Posterior of the pairs that could matter; rows of one level each."""
        items, latents, when = self._items(seen, times)
        if not items:
            return []
        observed = observe(items)
        pairs = self._screen(items, latents, observed, seen)
        if not pairs:
            return []
        rows = [self._rows(pair, ends) for pair in pairs for ends in self._endings(pair)]
        cells = PairCells(
            np.concatenate([r[0] for r in rows]),
            np.concatenate([r[1] for r in rows]),
            np.concatenate([r[2] for r in rows]),
            self.variant,
        )
        last = np.concatenate([r[3] for r in rows])
        prior = np.concatenate([r[4] for r in rows]) + self._words(cells, last, seen, times)
        z = np.zeros((len(cells), self.weigher.width + 1))
        mean, slopes = self._lines(cells, last, z, latents, when, 1.0)
        found = []
        for level, ln_level in LEVELS:
            # At the middle of every tolerance their width changes nothing but the slopes.
            by_z = slopes.copy()
            by_z[:, :, :-2] *= level
            part = self._solve(cells, last, mean, by_z, observed, level)
            part = replace(part, ln_weight=part.ln_weight + prior + ln_level)
            found.append(self._look_again(part, last, prior + ln_level, latents, when, observed))
        return found

    def _items(
        self, seen: Sequence[Seen], times: Sequence[int]
    ) -> tuple[list[NumberFactor | Box], list[int], list[int]]:
        """Factors of every reading in its usual mode, numbers first."""
        found: list[tuple[NumberFactor | Box, int]] = [
            (item, time)
            for one, time in zip(seen, times, strict=True)
            if one.alternatives
            for item in one.alternatives[0].factors
        ]
        found.sort(key=lambda pair: isinstance(pair[0], Box))
        items = [item for item, _ in found]
        return items, [self.model.number_of(i.latent) for i in items], [t for _, t in found]

    def _screen(
        self,
        items: Sequence[NumberFactor | Box],
        latents: Sequence[int],
        observed: Observed,
        seen: Sequence[Seen],
    ) -> list[tuple[int, int]]:
        """The KEPT most hopeful pairs by adding the effects of single faults on a good car."""
        cells = self.model.cells
        good = int(cells.good[self.variant])
        mean = np.stack([self.model.rows(number).x for number in latents], axis=1)
        picks, owner = self._coarse()
        effect = mean[picks] - mean[good]
        numbers = len(observed.y)
        touching = np.abs(effect).max(axis=1) > 1e-9
        talks = np.array([self._talked_of(seen, int(f)) for f in owner])
        keep = touching | talks
        effect, owner = effect[keep], owner[keep]
        if len(owner) < 2:
            return []
        score = self._ln_pairs(effect, owner)
        tolerance = self.model.bank_at(latents, np.array([good]))[1][0]
        kernel = 4.0 * tolerance @ tolerance.T
        if numbers:
            inverse = np.linalg.inv(kernel[:numbers, :numbers] + observed.noise)
            residual = observed.y - mean[good, :numbers]
            own = effect[:, :numbers]
            through = own @ inverse
            linear = through @ residual - 0.5 * np.einsum("ri,ri->r", through, own)
            score = score + linear[:, None] + linear[None, :] - through @ own.T
        for column in range(numbers, len(items)):
            box = items[column]
            assert isinstance(box, Box)
            x = mean[good, column] + effect[:, None, column] + effect[None, :, column]
            spread = np.full(x.size, kernel[column, column] + box.blur**2 + 1e-9)
            low, high = np.full(x.size, box.low), np.full(x.size, box.high)
            inside = inside_range(low, high, x.ravel(), spread).reshape(x.shape)
            score = score + np.maximum(inside, -60.0)
        return _best(score, owner)

    def _coarse(self) -> tuple[IntArray, IntArray]:
        """Cells near the COARSE severities of every fault, and whose they are."""
        cells = self.model.cells
        picks, owner = [], []
        for number in range(len(cells.faults)):
            own = np.flatnonzero((cells.fault == number) & (cells.variant == self.variant))
            wanted = COARSE if cells.spread[own[0]] > 0 else (0.0,)
            chosen = {int(own[np.argmin(np.abs(cells.centre[own] - u))]) for u in wanted}
            picks += sorted(chosen)
            owner += [number] * len(chosen)
        return np.array(picks), np.array(owner)

    def _talked_of(self, seen: Sequence[Seen], fault: int) -> bool:
        name = self.model.cells.faults[fault].id
        return any(name in one.odds and one.odds[name] > 2.0 * one.base for one in seen)

    def _ln_pairs(self, effect: FloatArray, owner: IntArray) -> FloatArray:
        ln = self.prior.ln_fault[owner]
        both = ln[:, None] + ln[None, :]
        return np.where(owner[:, None] < owner[None, :], both, -np.inf)

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
        ln = self._ln_prior(pair) + ending[1] - math.log(count)
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
        self, cells: PairCells, last: IntArray, seen: Sequence[Seen], times: Sequence[int]
    ) -> FloatArray:
        """Log odds of words with stated odds: the fault that shows the word most decides."""
        total = np.full(
            len(cells), sum(one.alternatives[0].ln_weight for one in seen if one.alternatives)
        )
        timeline = self.weigher.timeline
        for one, time, new in zip(seen, times, news(seen, times, timeline), strict=True):
            if (not one.odds and one.base == 1.0) or not new:
                continue
            names = [fault.id for fault in self.model.cells.faults]
            table = np.array([one.odds.get(name, one.base) for name in names])
            epoch = self.weigher.epoch_of_time[time]
            chance = np.where(last >= epoch, table[cells.fault], one.base)
            unusual = one.base < 0.5
            decided = chance.max(axis=1) if unusual else chance.min(axis=1)
            total += np.log(np.maximum(decided, 1e-9))
        return total

    def _lines(
        self,
        cells: PairCells,
        last: IntArray,
        z: FloatArray,
        latents: Sequence[int],
        when: Sequence[int],
        level: float,
    ) -> tuple[FloatArray, FloatArray]:
        """Means (Q, m) and slopes by extended columns (Q, m, K + 1), linearised at z."""
        width = self.weigher.width + 1
        mean = np.empty((len(cells), len(latents)))
        slopes = np.zeros((len(cells), len(latents), width))
        epochs = [self.weigher.epoch_of_time[time] for time in when]
        for epoch in sorted(set(epochs)):
            here = [k for k, e in enumerate(epochs) if e == epoch]
            columns = np.append(self.weigher.maps[epoch], [width - 2, width - 1])
            local = z[:, columns]
            x, by_z = linearise_pairs(
                self.model, cells, last >= epoch, local, [latents[k] for k in here], level
            )
            mean[:, here] = x - (by_z @ local[:, :, None])[:, :, 0]
            for position, k in enumerate(here):
                slopes[:, k, columns] = by_z[:, position]
        return mean, slopes

    def _solve(
        self,
        cells: PairCells,
        last: IntArray,
        mean: FloatArray,
        slopes: FloatArray,
        observed: Observed,
        level: float,
    ) -> PairRows:
        """Condition on lines; ln_weight = log evidence cut at both ranges' ends."""
        result = condition(mean, slopes @ np.swapaxes(slopes, 1, 2), observed)
        where = (result.weight[:, None] @ slopes)[:, 0]
        ln = result.ln_z.copy()
        for side in (0, 1):
            by_u = slopes[:, :, side - 2]
            left = 1.0 - ((by_u[:, None] @ result.gain)[:, 0] * by_u).sum(axis=1)
            spread = cells.spread[:, side]
            u = cells.centre[:, side] + spread * where[:, side - 2]
            variance = spread**2 * np.maximum(left, 1e-12)
            ln += inside_range(np.zeros(len(u)), np.ones(len(u)), u, variance)
        now = last >= self.weigher.epoch_of_time[-1]
        return PairRows(cells, now, ln, where, slopes, result.gain, level)

    def _look_again(
        self,
        part: PairRows,
        last: IntArray,
        prior: FloatArray,
        latents: Sequence[int],
        when: Sequence[int],
        observed: Observed,
    ) -> PairRows:
        """Keep what is near the best and linearise it again at its own posterior."""
        order = np.argsort(-part.ln_weight)[: LOOKED_AGAIN * SIDE_CELLS**2]
        keep = order[part.ln_weight[order] > part.ln_weight.max() - HOPELESS_NATS]
        z = np.clip(part.z[keep], -5.0, 5.0)
        cells = part.cells.take(keep)
        lines = self._lines(cells, last[keep], z, latents, when, part.level)
        again = self._solve(cells, last[keep], *lines, observed, part.level)
        return replace(again, ln_weight=again.ln_weight + prior[keep])


def _best(score: FloatArray, owner: IntArray) -> list[tuple[int, int]]:
    """Pairs of owners in order of their best score, at most KEPT of them."""
    count = min(score.size, 40 * KEPT)
    flat = np.argpartition(-score.ravel(), count - 1)[:count]
    flat = flat[np.argsort(-score.ravel()[flat], kind="stable")]
    found: dict[tuple[int, int], None] = {}
    for position in flat:
        a, b = divmod(int(position), score.shape[1])
        if np.isfinite(score[a, b]):
            found.setdefault((int(owner[a]), int(owner[b])))
        if len(found) >= KEPT:
            break
    return list(found)


def ln_total(rows: Sequence[PairRows]) -> float:
    """Log weight of all pairs together."""
    parts = [part.ln_weight for part in rows if len(part.ln_weight)]
    return float(log_sum_exp(np.concatenate(parts))) if parts else -math.inf
