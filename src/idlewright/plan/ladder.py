"""The base policy: repair after repair with its proof, likeliest per money first, until it stops.

At each rung the repair with the greatest chance of a cure per expected cost from the present car
state is made and proved; if the proof fails, beliefs change by one minus its chances. The ladder is
left, by the cheapest ending, at the rung where going on costs more than it saves. For single faults
with no set-up this is the "P over C" rule, which no order beats. No checks are made on the ladder.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idlewright.plan.focus import Focus
from idlewright.plan.outlook import Bools, Floats, Ints
from idlewright.plan.products import product, weigh

NOTHING_LEFT = 1e-9
"""Share of the mass at which a ladder is climbed to the end."""

HALF_DONE = 0.5
"""How much curing one of several faults counts towards a cure when rungs are ordered."""

TINY = float(np.finfo(float).tiny)

STOP = -1
"""First rung of a ladder that is not climbed at all."""


@dataclass(frozen=True, slots=True)
class Climb:
    """Cost (B,) of the ladder from each belief, scaled by its mass, and its first rung.

    `first` is the number of a repair in the focus, or STOP.
    """

    cost: Floats
    first: Ints


def climb(view: Focus, mass: Floats, place: Ints, tried: Bools) -> Climb:
    """Expected cost of the ladder from many beliefs at once.

    Args:
        view: the classes and repairs that matter.
        mass: (B, K) class masses, unnormalised; costs scale with them.
        place: (B,) car state numbers. tried: (B, R) repairs already made, numbered as in the view.
    """
    best = product(mass, view.ending).min(axis=1)
    first = np.full(len(mass), STOP, dtype=np.intp)
    start = mass.sum(axis=1)
    live = np.flatnonzero(start > 0.0)
    mass, place, tried = mass[live], place[live], tried[live]
    spent = np.zeros(len(live))
    opening = np.full(len(live), STOP, dtype=np.intp)
    for _ in range(len(view.repairs)):
        if not len(live):
            break
        pick, cost, useful = rung(view, mass, place, tried)
        rows = np.flatnonzero(useful & (spent + cost < best[live]))
        live, pick, opening = live[rows], pick[rows], opening[rows]
        spent = spent[rows] + cost[rows]
        opening = np.where(opening == STOP, pick, opening)
        place = view.next_place(place[rows], pick)
        tried = tried[rows]
        tried[np.arange(len(rows)), pick] = True
        mass = after_failing(view, mass[rows], pick)
        total = spent + product(mass, view.ending).min(axis=1)
        better = total < best[live]
        best[live[better]] = total[better]
        first[live[better]] = opening[better]
        hope = (spent + weigh(mass, view.floor) < best[live]) & (
            mass.sum(axis=1) > NOTHING_LEFT * start[live]
        )
        live, mass, place, tried = live[hope], mass[hope], place[hope], tried[hope]
        spent, opening = spent[hope], opening[hope]
    return Climb(best, first)


def rung_costs(view: Focus, mass: Floats, place: Ints) -> tuple[Floats, Floats]:
    """(B, R) cost of making and proving each repair next, and its progress towards a cure.

    Cost counts the set-up from the present state, the repair, its proof, and what a repair that
    does nothing and a proof that passes wrongly add; both scale with the mass.
    """
    alive = mass.sum(axis=1, keepdims=True)
    cured = product(mass, view.cure)
    # A place that cannot be reached has price inf: keep inf * 0 from becoming "not a number".
    cost = view.price(place) + view.mishap
    cost *= np.maximum(alive, TINY)
    cost -= view.mishap * cured
    if not view.shares:
        return cost, cured
    shared = product(mass, view.share)
    return cost - view.board.tariff.wrong_repair * shared, cured + HALF_DONE * shared


def after_failing(view: Focus, mass: Floats, pick: Ints) -> Floats:
    """(B, K) masses left after repair `pick` (B,) was made and its proof failed."""
    stays = 1.0 - view.cure[:, pick].T
    proof_fails = (1.0 - view.miss[pick])[:, None]
    if not view.shares:
        return np.asarray(mass * stays * proof_fails)
    share = view.share[:, pick].T
    rest: Floats = mass * (stays - share)
    rows, classes = np.nonzero(share)
    np.add.at(
        rest, (rows, view.into[classes, pick[rows]]), mass[rows, classes] * share[rows, classes]
    )
    return rest * proof_fails


def rung(view: Focus, mass: Floats, place: Ints, tried: Bools) -> tuple[Ints, Floats, Bools]:
    """(B,) the next repair on the ladder, its cost, and whether it is of any use."""
    cost, progress = rung_costs(view, mass, place)
    score = progress / np.maximum(cost, TINY)
    score[tried] = 0.0
    pick = score.argmax(axis=1)
    rows = np.arange(len(mass))
    useful = (score[rows, pick] > 0.0) & (
        progress[rows, pick] > NOTHING_LEFT * mass.sum(axis=1)
    )
    return pick, cost[rows, pick], useful
