"""Odds from worlds drawn from the prior: no derivative, no Gaussian, no mode; slow but plain."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp, ndtri
from scipy.stats import qmc

from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.world import Timeline
from idlewright.model.compiled import CompiledModel

from .car import Car, Hypothesis, hypotheses
from .law import laws

LEVELS = ((1.0, 0.8), (2.0, 0.2))


@dataclass(frozen=True)
class Answer:
    """Odds of every fault, the good car last, (F + 1,), and how good they are.

    Attributes:
        size: least effective number of draws over faults with odds over 2 %. items: what was kept:
            (hypothesis, ln weight, effective size). ln_total: log evidence.
    """

    odds: np.ndarray
    size: float
    items: list[tuple[Hypothesis, float, float]]
    ln_total: float

    def chance(self, fault: int, active: tuple[bool, ...]) -> float:
        """Odds of one fault with one pattern of activity."""
        return sum(
            math.exp(ln - self.ln_total)
            for h, ln, _ in self.items
            if h.fault == fault and h.active == active
        )


def brute_force(
    model: CompiledModel,
    ln_fault: np.ndarray,
    seen: Sequence[Seen],
    times: Sequence[int],
    timeline: Timeline,
    draws: int = 32768,
) -> Answer:
    """Odds by weighing `draws` worlds (Sobol points) of every hypothesis."""
    car = Car(model, timeline)
    choices = laws(car.model, seen, times)
    worlds = qmc.Sobol(car.size + 2, seed=20240501).random(draws)
    level = np.where(worlds[:, 0] < LEVELS[0][1], LEVELS[0][0], LEVELS[1][0])
    u = worlds[:, 1]
    z = ndtri(np.clip(worlds[:, 2:], 1e-12, 1 - 1e-12))
    items = []
    for h in hypotheses(car, ln_fault, seen, times):
        cell, good = np.full(draws, h.cell), np.full(draws, h.good)
        active = np.tile(np.array(h.active), (draws, 1))
        terms = []
        for law in choices:
            x, _, _ = car.look(law, cell, good, active, level, z, u)
            terms.append(law.ln_likelihood(x))
        ln = logsumexp(np.array(terms), axis=0)
        items.append((h, h.ln_prior + logsumexp(ln) - math.log(draws), effective_size(ln)))
    return summed(items, len(model.cells.faults))


def effective_size(ln_weight: np.ndarray) -> float:
    """(sum of weights)^2 / sum of squares."""
    return float(np.exp(2 * logsumexp(ln_weight) - logsumexp(2 * ln_weight)))


def summed(items: list[tuple[Hypothesis, float, float]], faults: int) -> Answer:
    """Odds from the log weights of hypotheses."""
    total = float(logsumexp([ln for _, ln, _ in items]))
    odds = np.zeros(faults + 1)
    for h, ln, _ in items:
        odds[h.fault] += math.exp(ln - total)
    sizes = [size for _, ln, size in items if ln - total > math.log(0.02)]
    return Answer(odds, min(sizes), items, total)
