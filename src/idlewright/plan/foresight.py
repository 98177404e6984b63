"""What a situation with many suspects left will cost: an estimate for the edge of the look-ahead.

One check and then the ladder says little about a situation that takes five more checks to settle.
There the cost is nearer to that of the cures, if the suspect were known, plus the bits that are
missing, bought from the checks that are left, cheapest bits first. What they cannot settle, or not
for what it is worth, ends at the ladder's cost. Were all bits priced like the best check's, a plan
would save that check up and make useless ones meanwhile.

It is used on large boards only, where the tree cannot reach the end, and only while that many bits
are missing; it never raises a cost.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idlewright.plan.focus import FEW, Focus
from idlewright.plan.information import xlogx
from idlewright.plan.ladder import climb
from idlewright.plan.outlook import Bools, Floats, Ints
from idlewright.plan.stand import Stand

WASTE = 1.5
"""Bits to be bought for each that is missing, since what one check tells another tells too.

Measured on 50 jobs on `plunger-carburettor` that go as the planner believes: promised 277, realised
284 ± 34. With 1 promised 236, realised 296; with 0.6 promised 199, realised 283, in more steps.
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
    view: Focus, stand: Stand, classes: Floats, split: Floats, price: Floats, offered: Bools,
    ladder: Floats,
) -> Foresight:  # fmt: skip
    """Estimate situations in which many suspects are left.

    Args:
        view: what matters of the board.
        stand: the situations.
        classes: (N, K) class masses. split: (N, Q, K) the same after each outcome.
        price: (N, C) money for each check, set-up included. offered: (N, C).
        ladder: (N,) cost of repairing without any more checks, scaled by mass.
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
    known = (classes[many] * _known(view, stand, many)).sum(axis=1) / mass[many]
    wanted = WASTE * missing[many]
    unknown = np.maximum(0.0, ladder[many] / mass[many] - known)
    ahead.cost[many] = known + unknown - _saved(rate, told, wanted, unknown)
    return ahead


def _saved(rate: Floats, told: Floats, wanted: Floats, unknown: Floats) -> Floats:
    """(M,) what the checks are worth beyond their price, the cheapest bits bought first.

    Args:
        rate: (M, C) bits for money. told: (M, C) bits.
        wanted: (M,) bits that settle it. unknown: (M,) what not knowing costs.
    """
    order = np.argsort(-rate, axis=1, kind="stable")
    rate = np.take_along_axis(rate, order, axis=1)
    told = np.where(rate > 0.0, np.take_along_axis(told, order, axis=1), 0.0)
    before = np.cumsum(told, axis=1) - told
    bought = np.clip(wanted[:, None] - before, 0.0, told)
    worth = bought * ((unknown / wanted)[:, None] - 1.0 / np.maximum(rate, TINY))
    return np.asarray(np.maximum(0.0, worth).sum(axis=1))


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
