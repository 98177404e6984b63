"""Which parameters a reading sees: repairs renew some, intermittents come and go.

A hypothesis is split into rows: one cell together with one pattern of activity over the *times* of
the job. A time is one stretch of readings within one epoch (between two repairs).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.model.cells import Cells, IntArray
from idlewright.model.scalars import FloatArray

BoolArray = NDArray[np.bool_]

BETA_A, BETA_B = 1.0, 3.0
"""Chance that an intermittent is active in one episode: Beta(1, 3) (common practice, no source)."""
PROVOKED = 3.0
"""A provoking check raises the odds of inactivity to this power."""
MOST_PATTERNS = 24
MANY_TIMES = 10


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
) -> Rows:
    """Rows of every hypothesis.

    Args:
        cells: the bank's cells. ln_fault: log prior of each fault, the good car last, (F + 1,).
        timeline: when readings were taken. visible: True where it matters whether a fault is
            active at a time, (F, W); elsewhere an intermittent's activity is summed over (the rows
            say inactive). None: everywhere.
    """
    count = max(len(timeline.times), 1)
    if visible is None:
        visible = np.ones((len(cells.faults), count), dtype=bool)
    cell: list[IntArray] = []
    active: list[BoolArray] = []
    prior: list[FloatArray] = []
    blind: list[BoolArray] = []
    for number in np.unique(cells.fault):
        own = np.flatnonzero(cells.fault == number)
        if number < 0:
            patterns = [(np.zeros(count, dtype=bool), 0.0)]
        else:
            fault = cells.faults[number]
            patterns = _patterns(fault.id, fault.intermittent, timeline, visible[number])
        base = ln_fault[number] + cells.ln_prior[own]
        for pattern, ln_weight in patterns:
            if number >= 0 and not pattern.any():
                # Never active: severity does not matter, one row a variant stands for all cells.
                chosen, share = _one_per_variant(cells, own)
                here, weight = chosen, ln_fault[number] + share
                unseen = np.ones(len(chosen), dtype=bool)
            else:
                here, weight = own, base
                unseen = np.zeros(len(own), dtype=bool)
            cell.append(here)
            active.append(np.tile(pattern, (len(here), 1)))
            prior.append(weight + ln_weight)
            blind.append(unseen)
    return Rows(
        np.concatenate(cell), np.concatenate(active), np.concatenate(prior), np.concatenate(blind)
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
) -> list[tuple[BoolArray, float]]:
    """Activity patterns of a fault with their log odds."""
    epoch = np.array([time.epoch for time in timeline.times] or [0])
    lives = lives_of(fault, timeline.renewals)
    if not intermittent:
        return [(epoch <= last, ln) for last, ln in lives]
    merged: dict[bytes, float] = {}
    for last, ln_life in lives:
        exposed = np.flatnonzero((epoch <= last) & visible)
        for pattern, ln_weight in _moods(fault, timeline.times, exposed, len(visible)):
            key = pattern.tobytes()
            merged[key] = np.logaddexp(merged.get(key, -math.inf), ln_life + ln_weight)
    return [(np.frombuffer(key, dtype=bool), ln) for key, ln in merged.items()]


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


def _moods(
    fault: str, times: Sequence[Time], exposed: IntArray, count: int
) -> list[tuple[BoolArray, float]]:
    """Active or not at each exposed time; the chance is integrated over its Beta law.

    Of very many patterns the MOST_PATTERNS likeliest stand for all.
    """
    nodes = (np.arange(200) + 0.5) / 200
    density = nodes ** (BETA_A - 1) * (1 - nodes) ** (BETA_B - 1)
    density /= density.sum()
    quiet = [
        (1 - nodes) ** (PROVOKED if any(fault.startswith(p) for p in times[t].provoked) else 1.0)
        for t in exposed
    ]
    found = []
    for choice in _choices(len(exposed)):
        weight = density.copy()
        for on, calm in zip(choice, quiet, strict=True):
            weight *= (1 - calm) if on else calm
        pattern = np.zeros(count, dtype=bool)
        pattern[exposed[np.array(choice, dtype=bool)]] = True
        found.append((pattern, math.log(max(weight.sum(), 1e-300))))
    found.sort(key=lambda pair: -pair[1])
    kept = found[:MOST_PATTERNS]
    total = math.fsum(math.exp(ln) for _, ln in kept)
    return [(pattern, ln - math.log(total)) for pattern, ln in kept]


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
