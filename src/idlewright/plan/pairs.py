"""Macro-actions: two checks done together, for those that tell little or nothing alone.

A switch whose sense at rest is unknown tells nothing when read, and looking up its sense tells
nothing about the switch; both together settle it. Likewise "take the cover off, then its checks".
"""

from __future__ import annotations

import numpy as np

from idlewright.plan.board import Board, Situation
from idlewright.plan.focus import DUST, focus
from idlewright.plan.information import entropy_bits, suspect_masses, xlogx
from idlewright.plan.ladder import climb
from idlewright.plan.outlook import Bools, Floats, Ints
from idlewright.plan.products import product

COARSE = 3
"""Outcomes a check is merged into while pairs are searched."""

WORKED_OUT = 24
"""Pairs whose cost is worked out in full."""

FIRSTS = 2
"""Candidates that pairs may add."""


def first_of_pairs(board: Board, here: Situation, myopic: Floats) -> list[int]:
    """Checks to begin with in the pairs that cost least, at most FIRSTS of them.

    Args:
        board: the outlook as arrays.
        here: the situation.
        myopic: (C,) myopic cost of each check, inf where it is not offered.
    """
    offered = np.flatnonzero(np.isfinite(myopic))
    if len(offered) < 2:
        return []
    bits, single = _joint_bits(board, here, offered)
    cost, after = _pair_prices(board, here, offered)
    gain = np.where(np.isfinite(cost), bits, 0.0) / np.maximum(cost, 1e-9)
    np.fill_diagonal(gain, 0.0)
    # A pair is interesting if it tells more than its two checks do, or if one journey serves both.
    apart = single[:, None] + single[None, :]
    gain[~((bits > apart + 1e-6) | (after < cost / 2.0))] = 0.0
    order = np.argsort(-gain, axis=None, kind="stable")[: 2 * WORKED_OUT]
    best = [divmod(int(flat), len(offered)) for flat in order[gain.ravel()[order] > 0.0]]
    pairs = [(int(offered[one]), int(offered[two])) for one, two in best[:WORKED_OUT]]
    prices = np.array([cost[one, two] for one, two in best[:WORKED_OUT]])
    totals = _pair_costs(board, here, pairs, prices)
    firsts: dict[int, float] = {}
    for (first, _), total in zip(pairs, totals.tolist(), strict=True):
        firsts[first] = min(total, firsts.get(first, np.inf))
    return sorted(firsts, key=lambda check: (firsts[check], check))[:FIRSTS]


def _joint_bits(board: Board, here: Situation, offered: Ints) -> tuple[Floats, Floats]:
    """(P, P) bits of each pair of checks together and (P,) of each alone, on merged outcomes."""
    coarse = np.stack([_coarse(board, here, int(check)) for check in offered], axis=1)
    rows, checks, width = coarse.shape
    flat = coarse.reshape(rows, checks * width)
    flat = np.where(flat < DUST, 0.0, flat)
    suspects, whole = suspect_masses(here.mass, board.suspect), here.mass.sum()
    order = np.argsort(board.suspect, kind="stable")
    inside = board.suspect[order]
    joint, work, cells, spread = np.zeros((4, checks * width, checks * width))
    for suspect in range(len(suspects)):
        chosen = order[np.searchsorted(inside, suspect) : np.searchsorted(inside, suspect, "right")]
        weighed = np.ascontiguousarray((flat[chosen] * here.mass[chosen, None]).T)
        np.divide(product(weighed, flat[chosen]), whole, out=joint)
        cells += joint
        # In place, suspect by suspect: tables of all suspects would be large and slow to touch.
        spread += xlogx(joint, out=work)
    spread -= xlogx(cells, out=work)
    told = entropy_bits(suspects) + spread.reshape(checks, width, checks, width).sum(axis=(1, 3))
    alone = suspect_masses(flat * here.mass[:, None], board.suspect).T / whole
    chance = alone.sum(axis=1)
    single = entropy_bits(suspects) - (chance * entropy_bits(alone)).reshape(checks, width).sum(1)
    return told, single


def _coarse(board: Board, here: Situation, check: int) -> Floats:
    """(H, COARSE) outcome chances with neighbouring outcomes merged into about equal shares."""
    table = board.outcome[:, board.check_of == check]
    merged = np.zeros((len(table), COARSE))
    if table.shape[1] <= COARSE:
        merged[:, : table.shape[1]] = table
        return merged
    chance = here.mass @ table / here.mass.sum()
    middle = np.cumsum(chance) - chance / 2.0
    into = np.minimum((middle * COARSE).astype(int), COARSE - 1)
    np.add.at(merged.T, into, table.T)
    return merged


def _pair_prices(board: Board, here: Situation, offered: Ints) -> tuple[Floats, Floats]:
    """(P, P) money for check one and then two, and the part of it that two costs after one."""
    places = board.places
    places.fill(np.array([here.place]), offered)
    there = places.next[here.place, offered]
    places.fill(there, offered)
    first = places.price[here.place, offered] + board.look_cost[offered]
    then = places.price[there[:, None], offered[None, :]] + board.look_cost[offered]
    lost: Bools = board.lost_to_check[np.ix_(offered, offered)]
    then = np.where(lost, np.inf, then)
    return first[:, None] + then, then


def _pair_costs(
    board: Board, here: Situation, pairs: list[tuple[int, int]], prices: Floats
) -> Floats:
    """(P,) cost of both checks and then the ladder, scaled by mass."""
    if not pairs:
        return np.zeros(0)
    view = focus(board, here.mass[None])
    tables = [board.outcome[:, board.check_of == check] for check in range(len(board.checks))]
    masses, places, owner = [], [], []
    for number, (one, two) in enumerate(pairs):
        both = (tables[one][:, :, None] * tables[two][:, None, :]).reshape(len(here.mass), -1)
        masses.append(view.by_class((here.mass[:, None] * both).T))
        there = int(board.places.next[board.places.next[here.place, one], two])
        places += [there] * both.shape[1]
        owner += [number] * both.shape[1]
    mass, place = np.concatenate(masses), np.array(places, dtype=np.intp)
    mass[mass < DUST * here.mass.sum()] = 0.0
    tried = np.tile(here.tried[view.repairs], (len(mass), 1))
    after = np.bincount(owner, weights=climb(view, mass, place, tried).cost, minlength=len(pairs))
    return np.asarray(prices * here.mass.sum() + after)
