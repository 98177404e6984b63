"""What a situation with many suspects left will cost: an estimate for the edge of the look-ahead.

One check and then the ladder says little about a situation that takes five more checks to settle.
There the cost is nearer to that of the cures, if the suspect were known, plus the bits that are
missing at the price of the best check's bits. It is used on large boards only, where the
tree cannot reach the end, and only while that many bits are missing; it never raises a cost.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idlewright.plan.focus import FEW, Focus
from idlewright.plan.information import xlogx
from idlewright.plan.ladder import climb
from idlewright.plan.outlook import Bools, Floats, Ints
from idlewright.plan.stand import Stand

WASTE = 2.0
"""Price of a missing bit over that of the best check's bits, since later checks tell less.

Measured on simulated jobs with 33 suspects and 30 checks: promised 200, realised 199 ± 20.
"""

TINY = 1e-9

MANY_BITS = 1.5
"""Missing bits about what to repair (three suspects alike) from which the estimate is used."""


@dataclass(frozen=True, slots=True)
class Foresight:
    """Estimates for N situations.

    Attributes:
        cost: (N,) for each unit of mass; inf where no estimate is made.
        rate: (N, C) bits each check tells for its price; zero where no estimate is made.
    """

    cost: Floats
    rate: Floats


def foresee(
    view: Focus, stand: Stand, classes: Floats, split: Floats, price: Floats, offered: Bools
) -> Foresight:
    """Estimate situations in which many suspects are left.

    Args:
        view: what matters of the board.
        stand: the situations.
        classes: (N, K) class masses. split: (N, Q, K) the same after each outcome.
        price: (N, C) money for each check, set-up included. offered: (N, C).
    """
    ahead = no_foresight(*price.shape)
    if len(view.board.floor) <= FEW:
        return ahead
    mass = classes.sum(axis=1)
    missing = _entropy(classes) / mass
    many = np.flatnonzero(missing >= MANY_BITS)
    if not len(many):
        return ahead
    after = np.add.reduceat(_entropy(split[many]), view.board.first, axis=1)
    told = np.maximum(0.0, missing[many, None] - after / mass[many, None])
    rate = np.where(offered[many], told / np.maximum(price[many], TINY), 0.0)
    ahead.rate[many] = rate
    search = WASTE * missing[many] / np.maximum(rate.max(axis=1), TINY)
    known = (classes[many] * _known(view, stand, many)).sum(axis=1) / mass[many]
    ahead.cost[many] = known + search
    return ahead


def _known(view: Focus, stand: Stand, many: Ints) -> Floats:
    """(M, K) what each class costs in these situations if it is known: its own ladder."""
    count = len(view.floor)
    alone = np.tile(np.eye(count), (len(many), 1))
    tried = np.repeat(stand.tried[many][:, view.repairs], count, axis=0)
    cost = climb(view, alone, np.repeat(stand.place[many], count), tried).cost
    return np.asarray(cost.reshape(len(many), count))


def no_foresight(situations: int, checks: int) -> Foresight:
    """No estimate for any of them."""
    return Foresight(np.full(situations, np.inf), np.zeros((situations, checks)))


def _entropy(masses: Floats) -> Floats:
    """Mass times entropy in bits over the last axis, without dividing: m log m - sum of x log x."""
    total = masses.sum(axis=-1)
    return np.asarray(xlogx(total) - xlogx(masses).sum(axis=-1))
