"""How the cost to a proven cure is spread: every way the plan can go, with its chance and its cost.

The spread follows the tree of the chosen action to its leaves and climbs the ladder from there.
Each cure, each call-back and each ending is one atom: chance, cost, and how far the prices of the
parts bought on the way can move it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idlewright.plan.board import Board, Choice, Situation
from idlewright.plan.focus import Focus, focus
from idlewright.plan.ladder import TINY, after_failing, rung
from idlewright.plan.outlook import Bools, Floats, Ints
from idlewright.plan.products import product
from idlewright.plan.tree import Branch, Node, branch_out

LEVEL = 0.9
PRICES = np.array([-0.8, -0.4, 0.0, 0.4, 0.8])
"""Middles of five equal parts of the span -1 to 1: a price is taken as uniform between its ends."""

LIGHT_LEAF = 1e-4
"""Leaves lighter than this count at their mean."""


@dataclass(frozen=True, slots=True)
class Cost:
    """Expected cost to a proven cure (or an ending) and an equal-tailed interval around it."""

    mean: float
    low: float
    high: float
    level: float


@dataclass(slots=True)
class Leaf:
    """A situation the tree ends in: what was spent to get there, half-widths of prices squared."""

    situation: Situation
    spent: float
    slack: float


@dataclass(frozen=True, slots=True)
class Atoms:
    """Chances (A,), costs (A,) and half-widths (A,) of all ways the job may end."""

    chance: Floats
    cost: Floats
    width: Floats

    @property
    def mean(self) -> float:
        """Expected cost."""
        return float(self.chance @ self.cost / self.chance.sum())

    def quantile(self, shares: Floats) -> Floats:
        """Costs below which the given shares of the chance lie, prices of parts included."""
        cost = (self.cost[:, None] + self.width[:, None] * PRICES).ravel()
        chance = np.repeat(self.chance / len(PRICES), len(PRICES))
        order = np.argsort(cost, kind="stable")
        below = np.cumsum(chance[order]) / chance.sum()
        places = np.searchsorted(below, np.asarray(shares) - 1e-12)
        return np.asarray(cost[order][np.minimum(places, len(cost) - 1)])


def cost_of(board: Board, root: Node, choice: Choice, mean: float) -> Cost:
    """The spread of the cost when `choice` is done at the root.

    Args:
        board: the outlook as arrays.
        root: the tree of a ranking.
        choice: the action to begin with.
        mean: its cost to go.
    """
    atoms = atoms_of(board, root, choice)
    tail = (1.0 - LEVEL) / 2.0
    low, high = atoms.quantile(np.array([tail, 1.0 - tail]))
    return Cost(mean, float(low), float(high), LEVEL)


def atoms_of(board: Board, root: Node, choice: Choice) -> Atoms:
    """All ways the job may end when `choice` is done at the root and the plan is followed."""
    found = [branch for branch in root.branches if branch.choice == choice]
    branch = found[0] if found else branch_out(board, root, choice)
    parts: list[Floats] = []
    leaves: list[Leaf] = []
    pending: list[tuple[Node, Branch, float, float]] = [(root, branch, 0.0, 0.0)]
    while pending:
        node, branch, spent, slack = pending.pop()
        for child, cost, width in _follow(board, node, branch, spent, slack, parts):
            if not child.branches and child.foreseen < child.estimate:
                parts.append(_foreseen(board, child, cost, width))
                continue
            best = child.best()
            if best is None and child.first.kind == "check" and child.estimate < np.inf:
                best = branch_out(board, child, child.first)
            if best is not None and child.situation.mass.sum() > LIGHT_LEAF:
                pending.append((child, best, cost, width))
            else:
                leaves.append(Leaf(child.situation, cost, width))
    for begin in range(0, len(leaves), 64):
        parts.append(_ladder_atoms(board, leaves[begin : begin + 64]))
    atoms = np.concatenate([part for part in parts if len(part)])
    return Atoms(atoms[:, 0], atoms[:, 1], np.sqrt(atoms[:, 2]))


def _follow(
    board: Board, node: Node, branch: Branch, spent: float, slack: float, parts: list[Floats]
) -> list[tuple[Node, float, float]]:
    """Children of a branch with what was spent; ways that end here are added to `parts`."""
    mass, index = node.situation.mass, branch.choice.index
    if branch.choice.kind == "stop":
        parts.append(_atoms(mass, spent + board.row_ending[:, index], slack))
        return []
    column = index + (len(board.checks) if branch.choice.kind == "repair" else 0)
    own = float(board.places.price[node.situation.place, column])
    if branch.choice.kind == "check":
        spent += own + float(board.look_cost[index])
        return [(child, spent, slack) for child in branch.children]
    spent += own + float(board.repair_cost[index])
    low, high = board.repairs[index].parts
    slack += ((high - low) / 2.0) ** 2
    cured = mass * board.cure[index]
    uncured = mass - cured
    stays = mass * (1.0 - board.cure[index] - board.share[index])
    wrong = board.tariff.wrong_repair * float(stays.sum()) / max(float(uncured.sum()), TINY)
    parts.append(_atoms(cured, np.full(len(mass), spent), slack))
    let_go = spent + wrong + board.tariff.callback
    parts.append(_atoms(uncured * board.miss[index], np.full(len(mass), let_go), slack))
    return [(child, spent + wrong, slack) for child in branch.children]


def _foreseen(board: Board, node: Node, spent: float, slack: float) -> Floats:
    """Atoms of a situation with many suspects: each costs its floor and its share of the rest."""
    search = (node.foreseen - node.floor) / float(node.situation.mass.sum())
    return _atoms(board.by_class(node.situation.mass), spent + search + board.floor, slack)


def _atoms(chance: Floats, cost: Floats, slack: Floats | float) -> Floats:
    """(A, 3) chance, cost, slack of those with any chance."""
    rows = np.column_stack([chance, cost, np.broadcast_to(slack, chance.shape)])
    return np.asarray(rows[chance > 0.0])


def _ladder_atoms(board: Board, leaves: list[Leaf]) -> Floats:
    """Atoms of the ladders climbed from many leaves at once."""
    rows = np.array([leaf.situation.mass for leaf in leaves])
    view = focus(board, rows)
    mass = view.by_class(rows)
    place = np.array([leaf.situation.place for leaf in leaves], dtype=np.intp)
    tried = np.array([leaf.situation.tried for leaf in leaves], dtype=bool)[:, view.repairs]
    spent = np.array([leaf.spent for leaf in leaves])
    slack = np.array([leaf.slack for leaf in leaves])
    height = _heights(view, mass, place, tried)
    parts = []
    for step in range(int(height.max(initial=0)) + 1):
        done = height == step
        parts.append(_ended(view, mass[done], spent[done], slack[done]))
        go = ~done
        height, mass, place, tried = height[go], mass[go], place[go], tried[go]
        spent, slack = spent[go], slack[go]
        if not len(height):
            break
        pick, _, _ = rung(view, mass, place, tried)
        spent, slack, ended = _climb_one(view, mass, place, pick, spent, slack)
        parts.append(ended)
        place = view.next_place(place, pick)
        tried[np.arange(len(pick)), pick] = True
        mass = after_failing(view, mass, pick)
    return np.concatenate(parts)


def _heights(view: Focus, mass: Floats, place: Ints, tried: Bools) -> Ints:
    """(B,) how many rungs of the ladder are climbed before it is left."""
    tried, place = tried.copy(), place.copy()
    spent = np.zeros(len(mass))
    best = product(mass, view.ending).min(axis=1)
    height = np.zeros(len(mass), dtype=np.intp)
    going = np.ones(len(mass), dtype=bool)
    for step in range(1, len(view.repairs) + 1):
        pick, cost, useful = rung(view, mass, place, tried)
        going &= useful & (spent + cost < best)
        if not going.any():
            break
        spent = np.where(going, spent + cost, spent)
        place = np.where(going, view.next_place(place, pick), place)
        tried[np.arange(len(pick)), pick] = True
        mass = after_failing(view, mass, pick)
        total = spent + product(mass, view.ending).min(axis=1)
        better = going & (total < best)
        best, height = np.where(better, total, best), np.where(better, step, height)
    return height


def _ended(view: Focus, mass: Floats, spent: Floats, slack: Floats) -> Floats:
    """Atoms of ladders that are left here by the cheapest ending."""
    which = product(mass, view.ending).argmin(axis=1)
    cost = spent[:, None] + view.ending.T[which]
    return _atoms(mass.ravel(), cost.ravel(), np.broadcast_to(slack[:, None], mass.shape).ravel())


def _climb_one(
    view: Focus, mass: Floats, place: Ints, pick: Ints, spent: Floats, slack: Floats
) -> tuple[Floats, Floats, Floats]:
    """What is spent after a rung has failed, the prices' slack, and the atoms that end on it."""
    board, tariff = view.board, view.board.tariff
    low, high = np.array([board.repairs[number].parts for number in view.repairs[pick]]).T
    slack = slack + ((high - low) / 2.0) ** 2
    spent = spent + view.price(place)[np.arange(len(pick)), pick]
    cured = (mass * view.cure[:, pick].T).sum(axis=1)
    shared = (mass * view.share[:, pick].T).sum(axis=1)
    uncured = mass.sum(axis=1) - cured
    wrong = tariff.wrong_repair * (uncured - shared) / np.maximum(uncured, TINY)
    missed = uncured * view.miss[pick]
    ended = np.concatenate([
        _atoms(cured, spent, slack), _atoms(missed, spent + wrong + tariff.callback, slack),
    ])
    return spent + wrong, slack, ended
