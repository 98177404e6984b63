"""Which patterns of coming and going the readings leave room for.

An intermittent fault may have been active in any of 2^W ways over W stretches of readings. Its
effects, added up on a good car, tell in one array operation which few ways are worth weighing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from idlewright.diagnosis.combinations import observe
from idlewright.diagnosis.evidence import LEVELS
from idlewright.diagnosis.factors import Alternative, NumberFactor, Seen
from idlewright.diagnosis.gaussian import inside_range
from idlewright.diagnosis.looks import Columns, gather
from idlewright.diagnosis.repeats import news
from idlewright.diagnosis.world import BoolArray, Timeline
from idlewright.model.cells import IntArray
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray
from idlewright.physics.normal import log_sum_exp

ROOM_NATS = 8.0
"""Patterns this far below their fault's best are not weighed."""
MOST_KEPT = 8
"""Patterns kept of each fault in each view of the readings."""
WORD_NATS = 6.0
"""A word, or a number of several modes, speaks for or against activity by no more: it may be a
slip."""
FAR_OUT = 5.0
MOST_DOUBTED = 3
"""Up to so many numbers, FAR_OUT standard deviations off on a good car, may be slips: patterns
that the other readings like are kept as well."""


class Moods:
    """Sifts patterns of activity by the readings of a job.

    Args:
        model: compiled family and sheet. seen: readings. times: index of each one's time.
        timeline: times and repairs.
    """

    def __init__(
        self, model: CompiledModel, seen: Sequence[Seen], times: Sequence[int], timeline: Timeline
    ) -> None:
        self._model, self._seen, self._times = model, seen, times
        self._news = news(seen, times, timeline)
        cells = model.cells
        self._width = max(len(timeline.times), 1)
        self._variant = int(np.argmax(model.table.variant_weight))
        self._good = int(cells.good[self._variant])
        numbers = [
            (item, time)
            for one, time in zip(seen, times, strict=True)
            if len(one.alternatives) == 1
            for item in one.alternatives[0].numbers
        ]
        self._when = np.array([time for _, time in numbers], dtype=np.int64)
        self._latents = [model.number_of(item.latent) for item, _ in numbers]
        maps, width = timeline.column_maps(len(cells.tolerance))
        columns = Columns(maps, width, [time.epoch for time in timeline.times] or [0])
        sources = {time: np.array([self._good]) for time in set(self._when.tolist())}
        mean, slopes = gather(model, columns, self._latents, self._when.tolist(), sources, 1)
        seen_as = observe([item for item, _ in numbers])
        self._off = seen_as.y - mean[0]
        kernel = slopes[0] @ slopes[0].T
        self._spreads = [level**2 * kernel + seen_as.noise for level, _ in LEVELS]
        self._views = self._doubting()
        comes_and_goes = np.array([fault.intermittent for fault in cells.faults] + [False])
        self._cells = np.flatnonzero(comes_and_goes[cells.fault] & (cells.variant == self._variant))
        self._told = self._tellings()

    def _tellings(self) -> list[tuple[Seen, int, FloatArray]]:
        """Readings that words or modes speak in, the times, and what these say by `_cells`, (c,).

        All cells of all faults that come and go at once: fault by fault it takes ten times as long.
        """
        told = []
        known: set[tuple[object, ...]] = set()
        for one, time, new in zip(self._seen, self._times, self._news, strict=True):
            if not new or (one.what, time, one.alternatives) in known:
                continue  # seen again it says nothing new
            known.add((one.what, time, one.alternatives))
            change = np.zeros(len(self._cells))
            if len(one.alternatives) > 1 or any(a.boxes for a in one.alternatives):
                ways = self._ln_ways(one, np.append(self._cells, self._good))
                change = ways[:-1] - ways[-1]
            told.append((one, time, change))
        return told

    def _doubting(self) -> list[IntArray]:
        """Numbers that count in each view: all, and all but each of the doubtful ones."""
        everyone = np.arange(len(self._off))
        far = np.abs(self._off) / np.sqrt(np.diag(self._spreads[0]))
        doubted = [k for k in np.argsort(-far)[:MOST_DOUBTED] if far[k] > FAR_OUT]
        return [everyone, *(np.delete(everyone, k) for k in doubted)]

    def sift(self, fault: int, patterns: BoolArray, ln: FloatArray) -> tuple[BoolArray, FloatArray]:
        """The patterns worth weighing, with the odds of those left out given to them.

        Args:
            fault: number in the family. patterns: (P, W). ln: their log odds, (P,).
        """
        cells = self._model.cells
        own = np.flatnonzero((cells.fault == fault) & (cells.variant == self._variant))
        said = patterns @ self._words(fault, own).T + cells.ln_prior[own]
        kept = np.zeros(len(patterns), dtype=bool)
        ln_view = np.empty(0)
        for number, view in enumerate(self._views):
            score = ln + log_sum_exp(said + self._numbers(own, patterns, view), axis=1)
            order = np.argsort(-score, kind="stable")[:MOST_KEPT]
            kept[order[score[order] > score.max() - ROOM_NATS]] = True
            if number == 0:
                ln_view = score
        lost = log_sum_exp(ln_view) - log_sum_exp(ln_view[kept])
        return patterns[kept], ln[kept] + lost

    def _numbers(self, own: IntArray, patterns: BoolArray, view: IntArray) -> FloatArray:
        """Log evidence of the numbers in a view by pattern and cell, (P, c)."""
        if not len(view):
            return np.zeros((len(patterns), len(own)))
        shift, by_u = self._effects(own, view)
        active = patterns.astype(float)
        found = [
            ln_level + _ln_evidence(active, *_whitened(spread, view, shift, by_u, self._off))
            for (_, ln_level), spread in zip(LEVELS, self._spreads, strict=True)
        ]
        total: FloatArray = np.logaddexp.reduce(found)
        return total

    def _effects(self, own: IntArray, view: IntArray) -> tuple[FloatArray, FloatArray]:
        """What a fault's cells do to the numbers at each time, and by severity, (c, n, W) each."""
        shift, by_u = np.zeros((2, len(own), len(view), self._width))
        for row, k in enumerate(view):
            bank = self._model.rows(self._latents[k])
            x, slopes = bank.at(own)
            shift[:, row, self._when[k]] = x - bank.x[self._good]
            by_u[:, row, self._when[k]] = slopes[:, -1]
        return shift, by_u

    def _words(self, fault: int, own: IntArray) -> FloatArray:
        """What words and modes say for activity at each time, (c, W)."""
        name = self._model.cells.faults[fault].id
        said = np.zeros((len(own), self._width))
        rows = np.searchsorted(self._cells, own)
        for one, time, told in self._told:
            odds = 0.0
            if name in one.odds:
                odds = np.log(max(one.odds[name], 1e-9) / max(one.base, 1e-9))
            said[:, time] += np.clip(odds + told[rows], -WORD_NATS, WORD_NATS)
        return said

    def _ln_ways(self, one: Seen, cell: IntArray) -> FloatArray:
        """Log chance of a reading in some cells, its factors taken one by one, (c,)."""
        ways = [self._ln_way(way, cell) for way in _not_counted(one)]
        total: FloatArray = np.logaddexp.reduce(ways)
        return total

    def _ln_way(self, way: Alternative, cell: IntArray) -> FloatArray:
        total = np.full(len(cell), way.ln_weight)
        for item in way.factors:
            x, slopes = self._model.rows(self._model.number_of(item.latent)).at(cell)
            variance = np.einsum("ck,ck->c", slopes, slopes).astype(float)
            if isinstance(item, NumberFactor):
                variance += item.variance + item.gain**2
                total -= 0.5 * ((item.y - x) ** 2 / variance + np.log(variance))
            else:
                low, high = np.full(len(cell), item.low), np.full(len(cell), item.high)
                total += inside_range(low, high, x, variance + item.blur**2 + 1e-12)
        return total


def _not_counted(one: Seen) -> list[Alternative]:
    """A reading's alternatives without the numbers that are weighed with all others."""
    if len(one.alternatives) == 1:
        return [replace(one.alternatives[0], numbers=())]
    return list(one.alternatives)


def _whitened(
    spread: FloatArray, view: IntArray, shift: FloatArray, by_u: FloatArray, off: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Effects, their derivatives and residuals with unit noise: (c, n, W), (c, n, W), (n,)."""
    root = np.linalg.inv(np.linalg.cholesky(spread[np.ix_(view, view)]))
    return root @ shift, root @ by_u, root @ off[view]


def _ln_evidence(
    active: FloatArray, shift: FloatArray, by_u: FloatArray, off: FloatArray
) -> FloatArray:
    """Log density of white residuals by pattern and cell, (P, c), but for what is common to all.

    ln N(off - shift a; 0, I + d d') with d = by_u a the effect of the severity's width.
    """
    left = off - np.moveaxis(shift @ active.T, 2, 0)
    wide = np.moveaxis(by_u @ active.T, 2, 0)
    grown = 1.0 + (wide * wide).sum(axis=2)
    along = (wide * left).sum(axis=2)
    ln: FloatArray = -0.5 * ((left * left).sum(axis=2) - along**2 / grown + np.log(grown))
    return ln
