"""Hypotheses, and what a car under one of them shows, with severity u itself as a coordinate."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import leggauss

from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.world import Timeline
from idlewright.model.cells import Cells
from idlewright.model.compiled import CompiledModel

from .law import Law, ln_odds_words


@dataclass(frozen=True)
class Hypothesis:
    """One fault (-1: none) in one variant, active or not at each time.

    Attributes:
        cell, good: its cell and the good car's in the oracle's own model. ranged: has a severity
            that can be seen. ln_prior: log prior, words with stated odds included.
    """

    fault: int
    cell: int
    good: int
    active: tuple[bool, ...]
    ranged: bool
    ln_prior: float


class Car:
    """The physics of a model, seen through one cell a fault whose coordinate is u itself."""

    def __init__(self, model: CompiledModel, timeline: Timeline) -> None:
        faults = model.cells.faults
        kinds = [-1, *range(len(faults))]
        variants = range(len(model.table.variant_weight))
        pairs = [(v, f) for v in variants for f in kinds]
        count = len(pairs)
        cells = Cells(
            faults=faults,
            fault=np.array([f for _, f in pairs]),
            variant=np.array([v for v, _ in pairs]),
            centre=np.zeros(count),
            spread=np.ones(count),
            ln_prior=np.zeros(count),
            good=np.array([v * len(kinds) for v in variants]),
            tolerance=model.cells.tolerance,
        )
        self.model = CompiledModel(model.family, model.sheet, model.table, model.physics, cells)
        self.timeline = timeline
        self.tolerances = len(cells.tolerance)
        self.columns = self._columns()
        self.size = 1 + max(int(c.max()) for c in self.columns)
        self.epochs = [t.epoch for t in timeline.times] or [0]

    def _columns(self) -> list[np.ndarray]:
        """Coordinate of each tolerance in each epoch; a renewed part starts a new one."""
        current = list(range(self.tolerances))
        following = self.tolerances
        found = [np.array(current)]
        for renewal in self.timeline.renewals:
            for position in renewal.fresh:
                current[position] = following
                following += 1
            found.append(np.array(current))
        return found

    def look(
        self,
        law: Law,
        cell: np.ndarray,
        good: np.ndarray,
        active: np.ndarray,
        level: np.ndarray,
        z: np.ndarray,
        u: np.ndarray,
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Latents of a law's factors, (W, m), derivatives by z, (W, m, size), and by u, (W, m)."""
        x = np.empty((len(u), len(law.latents)))
        by_z = np.zeros((len(u), len(law.latents), self.size))
        by_u = np.zeros((len(u), len(law.latents)))
        if not len(u):
            return x, by_z, by_u
        for time in set(law.times):
            here = [k for k, t in enumerate(law.times) if t == time]
            columns = self.columns[self.epochs[time]]
            source = np.where(active[:, time], cell, good)
            local = np.concatenate([z[:, columns], u[:, None]], axis=1)
            numbers = [law.latents[k] for k in here]
            x[:, here], slopes = self.model.linearise(source, local, numbers, level)
            for row, k in enumerate(here):
                by_z[:, k, columns] += slopes[:, row, :-1]
                by_u[:, k] = slopes[:, row, -1]
        return x, by_z, by_u


def hypotheses(
    car: Car, ln_fault: np.ndarray, seen: Sequence[Seen], times: Sequence[int]
) -> list[Hypothesis]:
    """Every hypothesis with its prior.

    Args:
        ln_fault: log prior of each fault, the good car last.
    """
    cells = car.model.cells
    words = ln_odds_words(car.model, seen, times)
    found = []
    for cell, (number, variant) in enumerate(zip(cells.fault, cells.variant, strict=True)):
        ln_variant = math.log(car.model.table.variant_weight[variant])
        for active, weight in patterns(car, int(number)).items():
            if weight <= 0:
                continue
            ln_prior = ln_fault[number] + ln_variant + math.log(weight)
            ln_prior += sum(words[number, t, int(active[t])] for t in range(words.shape[1]))
            fault = None if number < 0 else cells.faults[number]
            ranged = fault is not None and any(s.low != s.high for s in fault.spans)
            good = int(cells.good[variant])
            found.append(
                Hypothesis(int(number), cell, good, active, ranged and any(active), ln_prior)
            )
    return found


def patterns(car: Car, number: int) -> dict[tuple[bool, ...], float]:
    """Chance of each pattern of activity over the times.

    The fault is cured by repair k with its stated chance, else lives on. An intermittent fault is
    active at a time with a chance c ~ Beta(1, 3), the same for all times; a time that provokes it
    is quiet only with chance (1 - c)^3. Integrated with 40 Gauss points (exact: polynomials).
    """
    times = car.timeline.times
    count = max(len(times), 1)
    if number < 0:
        return {(False,) * count: 1.0}
    fault = car.model.cells.faults[number]
    point, point_weight = leggauss(40)
    chance = 0.5 * (point + 1.0)
    density = 3.0 * (1.0 - chance) ** 2 * 0.5 * point_weight
    found: dict[tuple[bool, ...], float] = {}
    alive = 1.0
    for k in range(len(car.timeline.renewals) + 1):
        if k < len(car.timeline.renewals):
            cured = min(car.timeline.renewals[k].cures.get(fault.id, 0.0), 0.999)
        else:
            cured = 1.0
        there = [car.epochs[t] <= k for t in range(count)]
        choices = [(True, False) if t and fault.intermittent else (t,) for t in there]
        for active in itertools.product(*choices):
            weight = density.copy() if fault.intermittent else np.array([1.0])
            for t in range(count):
                if fault.intermittent and there[t]:
                    provoked = bool(times) and any(
                        fault.id.startswith(prefix) for prefix in times[t].provoked
                    )
                    quiet = (1.0 - chance) ** (3 if provoked else 1)
                    weight = weight * ((1.0 - quiet) if active[t] else quiet)
            found[active] = found.get(active, 0.0) + alive * cured * float(weight.sum())
        alive *= 1.0 - cured
    return found
