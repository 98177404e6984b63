"""One check, then the ladder: the myopic cost of every check from many situations at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idlewright.plan.board import Board
from idlewright.plan.focus import Focus, focus
from idlewright.plan.foresight import Foresight, foresee, no_foresight
from idlewright.plan.ladder import HALF_DONE, STOP, after_failing, climb, rung_costs
from idlewright.plan.outlook import Bools, Floats, Ints
from idlewright.plan.products import product
from idlewright.plan.stand import Stand

RARE = 1e-4
"""Outcomes rarer than this are priced by their mass: nothing is decided on them."""


@dataclass(frozen=True, slots=True)
class Table:
    """Costs scaled by each situation's mass.

    Attributes:
        ladder: (N,) cost of repairing without any more checks.
        rung: (N,) the ladder's first repair, or ladder.STOP.
        check: (N, C) cost of doing each check and then climbing the ladder; inf where it is not
            offered or was screened out.
        charge: (N, C) what is charged besides for perishable evidence that the check destroys.
        ahead: estimates where many suspects are left.
    """

    ladder: Floats
    rung: Ints
    check: Floats
    charge: Floats
    ahead: Foresight


def tabulate(board: Board, stand: Stand, keep: int | None = None) -> Table:
    """The myopic table.

    Args:
        board: the outlook as arrays.
        stand: the situations.
        keep: work out only this many checks a situation, the best by a quick estimate (perishable
            ones always); None = all.
    """
    view = focus(board, stand.mass)
    classes = view.by_class(stand.mass)
    base = climb(view, classes, stand.place, stand.tried[:, view.repairs])
    check = np.full((len(stand), len(board.checks)), np.inf)
    ahead = no_foresight(len(stand), len(board.checks))
    if board.checks:
        board.places.fill(stand.place, board.check_columns)
        price = board.places.price[stand.place, : len(board.checks)] + board.look_cost
        offered = (stand.left > 0) & np.isfinite(price)
        split = view.split(stand.mass)
        ahead = foresee(view, stand, classes, split, price, offered, base.cost)
        if keep is not None and keep < len(board.checks):
            asked = np.where(offered, price, np.inf)
            offered &= _screen(view, stand, split, base.cost, asked, keep)
        after = _ladders_after(view, stand, split, base.cost, offered)
        check = np.where(offered, price * classes.sum(axis=1, keepdims=True) + after, np.inf)
    rung = base.first
    if len(view.repairs):
        rung = np.where(rung == STOP, STOP, view.repairs[rung])
    charge = _charges(board, base.cost, check, classes @ view.floor)
    return Table(base.cost, rung, check, charge, ahead)


def _ladders_after(
    view: Focus, stand: Stand, split: Floats, base: Floats, offered: Bools
) -> Floats:
    """(N, C) expected cost of the ladder after each offered check."""
    board = view.board
    mass = split.sum(axis=2)
    whole = stand.mass.sum(axis=1)
    node, column = np.nonzero(offered[:, board.check_of])
    rare = mass[node, column] <= RARE * whole[node]
    cost = np.zeros(mass.shape)
    cost[node, column] = mass[node, column] * (base / whole)[node]
    node, column = node[~rare], column[~rare]
    place = board.places.next[stand.place[node], board.check_of[column]]
    tried = stand.tried[:, view.repairs][node]
    cost[node, column] = climb(view, split[node, column], place, tried).cost
    return np.asarray(np.add.reduceat(cost, board.first, axis=1))


def _screen(
    view: Focus, stand: Stand, split: Floats, base: Floats, price: Floats, keep: int
) -> Bools:
    """(N, C) the checks that look best if after each outcome one repair or ending is chosen.

    What that repair does not cure is priced at the present ladder's cost per mass. This sees what
    a check would change in the next decision at a fraction of the work.
    """
    nodes, columns, classes = split.shape
    best = product(split.reshape(-1, classes), view.ending).min(axis=1).reshape(nodes, columns)
    whole = stand.mass.sum(axis=1)
    if len(view.repairs):
        ready = view.price(stand.place)
        ready[stand.tried[:, view.repairs]] = np.inf
        for node in range(nodes):
            open_repairs = np.isfinite(ready[node])
            cost = _at_once(view, ready[node], base[node] / whole[node])[:, open_repairs]
            if cost.size:
                np.minimum(best[node], product(split[node], cost).min(axis=1), out=best[node])
    quick = np.add.reduceat(best, view.board.first, axis=1)
    quick += price * whole[:, None]
    rank = np.argsort(np.argsort(quick, axis=1, kind="stable"), axis=1, kind="stable")
    perishable = np.array([check.perishable for check in view.board.checks], dtype=bool)
    return np.asarray((rank < keep) | perishable)


def _at_once(view: Focus, ready: Floats, after: float) -> Floats:
    """(K, R) cost of each repair next for a car of each class, with `after` for what is not cured.

    Args:
        view: what matters of the board. ready: (R,) money to get to each repair and to do it.
        after: price of a car that is not cured.
    """
    stays = 1.0 - view.cure
    cost = ready + view.mishap * stays - view.board.tariff.wrong_repair * view.share
    return cost + after * (1.0 - view.miss) * (stays - HALF_DONE * view.share)


def _charges(board: Board, base: Floats, check: Floats, floor: Floats) -> Floats:
    """(N, C) the worth of the perishable evidence each check destroys, at most all that is left."""
    if not board.lost_to_check.any():
        return np.zeros_like(check)
    worth = np.where(np.isfinite(check), np.maximum(0.0, base[:, None] - check), 0.0)
    lost = board.lost_to_check & ~np.eye(len(board.checks), dtype=bool)
    return np.asarray(np.minimum(worth @ lost.T, np.maximum(0.0, base - floor)[:, None]))


def rung_charges(board: Board, table: Table) -> Floats:
    """(N, R) the worth of the perishable evidence each repair destroys."""
    if not board.checks:
        return np.zeros((len(table.ladder), len(board.repairs)))
    worth = np.where(
        np.isfinite(table.check), np.maximum(0.0, table.ladder[:, None] - table.check), 0.0
    )
    return np.asarray(worth @ board.lost_to_repair.T)


def repair_costs(board: Board, stand: Stand) -> Floats:
    """(N, R) cost of each repair next and then the ladder; inf where it is not offered or useless.

    A repair is useless here if it cures none of the classes that hold the mass.
    """
    total = np.full(stand.tried.shape, np.inf)
    view = focus(board, stand.mass)
    if not len(view.repairs):
        return total
    classes, tried = view.by_class(stand.mass), stand.tried[:, view.repairs]
    cost, _ = rung_costs(view, classes, stand.place)
    node, pick = np.nonzero(~tried & np.isfinite(cost))
    after = tried[node].copy()
    after[np.arange(len(node)), pick] = True
    place = view.next_place(stand.place[node], pick)
    rest = climb(view, after_failing(view, classes[node], pick), place, after).cost
    total[node, view.repairs[pick]] = cost[node, pick] + rest
    return total
