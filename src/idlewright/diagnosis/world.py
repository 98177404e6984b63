"""Which parameters a reading sees: repairs renew some, intermittents come and go.

A hypothesis is split into rows: one cell together with one pattern of activity over the *times* of
the job. A time is one stretch of readings within one epoch (between two repairs).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from idlewright.model.cells import Cells, IntArray
from idlewright.model.scalars import FloatArray

BoolArray = NDArray[np.bool_]

BETA_A, BETA_B = 1.0, 3.0
"""Chance that an intermittent is active in one episode: Beta(1, 3) (common practice, no source)."""
PROVOKED = 3.0
"""A provoking check raises the odds of inactivity to this power."""
MANY_TIMES = 7
"""Up to so many exposed times every pattern of activity is thought of."""
Sift = Callable[[int, "BoolArray", "FloatArray"], tuple["BoolArray", "FloatArray"]]
"""From a fault's number, patterns of activity (P, W) and their log odds (P,) to those worth
weighing."""


@dataclass(frozen=True, slots=True)
class Time:
    """One stretch: its epoch, and the fault id prefixes provoked in it."""

    epoch: int
    provoked: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Renewal:
    """A repair between two epochs: what it cures and which scalars are as new afterwards.

    Attributes:
        cures: fault id -> chance. fresh: positions in the tolerance list of renewed scalars.
    """

    cures: Mapping[str, float]
    fresh: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Timeline:
    """Times of the job in order, and the repairs between epochs (renewal k ends epoch k)."""

    times: tuple[Time, ...]
    renewals: tuple[Renewal, ...]

    def column_maps(self, tolerances: int) -> tuple[IntArray, int]:
        """For each epoch, the extended column of each tolerance, (E, T), and the column count.

        The severity's column is the last one.
        """
        current = np.arange(tolerances)
        count = tolerances
        maps = [current.copy()]
        for renewal in self.renewals:
            current = current.copy()
            for position in renewal.fresh:
                current[position] = count
                count += 1
            maps.append(current)
        return np.array(maps, dtype=np.int64), count + 1


@dataclass(frozen=True, slots=True)
class Rows:
    """R rows: cell and activity pattern.

    Attributes:
        cell: (R,). active: at each time, (R, W). ln_prior: (R,). blind: True where the fault is
            never active, so that nothing was learned about its severity, (R,).
    """

    cell: IntArray
    active: BoolArray
    ln_prior: FloatArray
    blind: BoolArray

    def __len__(self) -> int:
        return len(self.cell)

    def take(self, which: IntArray | BoolArray) -> Rows:
        """Some of the rows."""
        return Rows(self.cell[which], self.active[which], self.ln_prior[which], self.blind[which])


def make_rows(
    cells: Cells,
    ln_fault: FloatArray,
    timeline: Timeline,
    visible: BoolArray | None = None,
    sift: Sift | None = None,
) -> Rows:
    """Rows of every hypothesis.

    Args:
        cells: the bank's cells. ln_fault: log prior of each fault, the good car last, (F + 1,).
        timeline: when readings were taken. visible: True where it matters whether a fault is
            active at a time, (F, W); elsewhere an intermittent's activity is summed over (the rows
            say inactive). None: everywhere. sift: picks the patterns worth weighing; None: all.
    """
    count = max(len(timeline.times), 1)
    if visible is None:
        visible = np.ones((len(cells.faults), count), dtype=bool)
    parts: list[Rows] = []
    for number in np.unique(cells.fault):
        own = np.flatnonzero(cells.fault == number)
        if number < 0:
            patterns, ln = np.zeros((1, count), dtype=bool), np.zeros(1)
        else:
            fault = cells.faults[number]
            patterns, ln = _patterns(fault.id, fault.intermittent, timeline, visible[number])
            if sift is not None and len(patterns) > 1 and fault.intermittent:
                patterns, ln = sift(int(number), patterns, ln)
        there = patterns.any(axis=1) | (number < 0)
        ln_own = ln_fault[number] + cells.ln_prior[own]
        parts.append(_every(own, ln_own, patterns[there], ln[there]))
        if not there.all():
            # Never active: severity does not matter, one row a variant stands for all cells.
            chosen, share = _one_per_variant(cells, own)
            quiet = _every(chosen, ln_fault[number] + share, patterns[~there], ln[~there])
            quiet.blind[:] = True
            parts.append(quiet)
    return Rows(*(np.concatenate([getattr(p, n) for p in parts]) for n in Rows.__slots__))


def _every(cell: IntArray, ln_cell: FloatArray, patterns: BoolArray, ln: FloatArray) -> Rows:
    """A row for every cell (C,) in every pattern of activity (P, W)."""
    return Rows(
        np.tile(cell, len(patterns)),
        np.repeat(patterns, len(cell), axis=0),
        (ln[:, None] + ln_cell[None, :]).ravel(),
        np.zeros(len(cell) * len(patterns), dtype=bool),
    )


def _one_per_variant(cells: Cells, own: IntArray) -> tuple[IntArray, FloatArray]:
    variants, first = np.unique(cells.variant[own], return_index=True)
    chosen = own[first]
    share = np.empty(len(variants))
    for row, variant in enumerate(variants):
        here = own[cells.variant[own] == variant]
        inside = (cells.centre[here] >= 0) & (cells.centre[here] <= 1)
        share[row] = np.log(np.exp(cells.ln_prior[here][inside]).sum())
    return chosen, share


def _patterns(
    fault: str, intermittent: bool, timeline: Timeline, visible: BoolArray
) -> tuple[BoolArray, FloatArray]:
    """Activity patterns of a fault, (P, W), with their log odds, (P,)."""
    epoch = np.array([time.epoch for time in timeline.times] or [0])
    lives = lives_of(fault, timeline.renewals)
    if not intermittent:
        ends = np.array([last for last, _ in lives])
        return epoch[None, :] <= ends[:, None], np.array([ln for _, ln in lives])
    provoked = [any(fault.startswith(p) for p in time.provoked) for time in timeline.times]
    merged: dict[bytes, float] = {}
    for last, ln_life in lives:
        exposed = np.flatnonzero((epoch <= last) & visible)
        moods, ln = _moods(tuple(provoked[t] for t in exposed))
        patterns = np.zeros((len(moods), len(visible)), dtype=bool)
        patterns[:, exposed] = moods
        for pattern, weight in zip(patterns, ln, strict=True):
            key = pattern.tobytes()
            merged[key] = np.logaddexp(merged.get(key, -math.inf), ln_life + weight)
    flat = np.frombuffer(b"".join(merged), dtype=bool)
    return flat.reshape(len(merged), len(visible)), np.array(list(merged.values()))


def lives_of(fault: str, renewals: Sequence[Renewal]) -> list[tuple[int, float]]:
    """(last epoch in which the fault is there, log odds): cured by repair k or never."""
    lives = []
    ln_uncured = 0.0
    for k, renewal in enumerate(renewals):
        chance = min(renewal.cures.get(fault, 0.0), 0.999)
        if chance > 0:
            lives.append((k, ln_uncured + math.log(chance)))
            ln_uncured += math.log1p(-chance)
    lives.append((len(renewals), ln_uncured))
    return lives


@lru_cache(maxsize=512)
def _moods(provoked: tuple[bool, ...]) -> tuple[BoolArray, FloatArray]:
    """Active or not at each exposed time, (P, E), with log odds; the chance follows its Beta law.

    Args:
        provoked: whether each time provokes the fault.
    """
    nodes = (np.arange(200) + 0.5) / 200
    density = nodes ** (BETA_A - 1) * (1 - nodes) ** (BETA_B - 1)
    every = list(_choices(len(provoked)))
    choices = np.array(every, dtype=bool).reshape(len(every), len(provoked))
    weight = np.tile(density / density.sum(), (len(choices), 1))
    for on, provoking in zip(choices.T, provoked, strict=True):
        calm = (1 - nodes) ** (PROVOKED if provoking else 1.0)
        weight *= np.where(on[:, None], 1 - calm, calm)
    ln = np.log(np.maximum(weight.sum(axis=1), 1e-300))
    return choices, ln - math.log(float(np.exp(ln).sum()))


def _choices(times: int) -> Iterator[tuple[bool, ...]]:
    """Every pattern of activity; beyond MANY_TIMES only those with at most three of a kind."""
    if times <= MANY_TIMES:
        yield from itertools.product([True, False], repeat=times)
        return
    for few in range(4):
        for odd in itertools.combinations(range(times), few):
            pattern = np.zeros(times, dtype=bool)
            pattern[list(odd)] = True
            yield tuple(pattern.tolist())
            yield tuple((~pattern).tolist())
