"""The policy tree: what happens after an action if the myopic policy is followed from there on.

A node is a situation weighed by the chance of getting there. Its value is the least cost found so
far that some policy really has: the ladder, one check and then the ladder, or a branch that was
followed further. Unfolding a node can only lower it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from idlewright.plan.board import Board, Choice, Situation
from idlewright.plan.ladder import STOP
from idlewright.plan.myopic import RARE, Table, tabulate
from idlewright.plan.outlook import Floats
from idlewright.plan.stand import Stand

GIVE_UP = Choice("stop", 0)


@dataclass(slots=True)
class Branch:
    """One action at a node: its own cost (scaled by mass) and the situations that may follow."""

    choice: Choice
    cost: float
    children: list[Node]

    @property
    def value(self) -> float:
        """Its cost and what the children cost."""
        return self.cost + sum(child.value for child in self.children)


@dataclass(slots=True)
class Node:
    """A situation in the tree.

    Attributes:
        situation: mass is scaled by the chance of reaching it.
        depth: actions since the root.
        value: least cost known, scaled by mass. floor: what no plan can beat.
        estimate: the myopic value. first: the action it rests on.
        foreseen: an estimate while many suspects are left, else inf; used until the node is
            unfolded, if it is lower.
        options: choices worth unfolding, best first, with their estimates.
        branches: what has been unfolded.
    """

    situation: Situation
    depth: int
    value: float = np.inf
    floor: float = 0.0
    estimate: float = np.inf
    first: Choice = GIVE_UP
    foreseen: float = np.inf
    options: list[tuple[float, Choice]] = field(default_factory=list)
    branches: list[Branch] = field(default_factory=list)

    @property
    def gap(self) -> float:
        """How much unfolding could lower it at most; nothing once it is unfolded or ends here."""
        if self.branches or not self.options or self.options[0][1].kind == "stop":
            return 0.0
        return self.value - self.floor

    def back_up(self) -> None:
        """Take the value from what was unfolded, if anything was."""
        if self.branches:
            self.value = min(self.estimate, *(branch.value for branch in self.branches))

    def best(self) -> Branch | None:
        """The unfolded branch that gives the node its value, if one does."""
        good = [branch for branch in self.branches if branch.value < self.estimate]
        return min(good, key=lambda branch: branch.value) if good else None


def stand_of(nodes: list[Node]) -> Stand:
    """The situations of some nodes side by side."""
    return Stand(
        mass=np.array([node.situation.mass for node in nodes]),
        place=np.array([node.situation.place for node in nodes], dtype=np.intp),
        left=np.array([node.situation.left for node in nodes]),
        tried=np.array([node.situation.tried for node in nodes], dtype=bool).reshape(
            len(nodes), -1
        ),
    )


def assess(board: Board, nodes: list[Node], keep: int | None) -> None:
    """Give each node its myopic value and its options."""
    if not nodes:
        return
    table = tabulate(board, stand_of(nodes), keep)
    for index, node in enumerate(nodes):
        node.floor = float(board.by_class(node.situation.mass) @ board.floor)
        node.options = _options(board, node, table, index)
        node.estimate, node.first = least(board, node, table, index)
        node.foreseen = float(table.ahead.cost[index] * node.situation.mass.sum())
        node.value = min(node.estimate, node.foreseen)


def least(board: Board, node: Node, table: Table, index: int) -> tuple[float, Choice]:
    """The myopic cost of a node of the table and the action it begins with."""
    checks = table.check[index]
    ladder = float(table.ladder[index])
    if len(checks) and checks.min() < ladder:
        return float(checks.min()), Choice("check", int(checks.argmin()))
    return ladder, ladder_choice(board, node, int(table.rung[index]))


def _options(board: Board, node: Node, table: Table, index: int) -> list[tuple[float, Choice]]:
    costs = table.check[index] + table.charge[index]
    ladder = (float(table.ladder[index]), ladder_choice(board, node, int(table.rung[index])))
    order = np.argsort(costs, kind="stable")
    checks = [
        (float(costs[column]), Choice("check", int(column)))
        for column in order[:4] if np.isfinite(costs[column])
    ]
    options = sorted([ladder, *checks], key=lambda option: option[0])
    rate = table.ahead.rate[index]
    if len(rate) and rate.max() > 0.0:
        # Many suspects are left: what tells most for its price goes first.
        telling = Choice("check", int(rate.argmax()))
        rest = [option for option in options if option[1] != telling]
        return [(options[0][0], telling), *rest]
    return options


def ladder_choice(board: Board, node: Node, rung: int) -> Choice:
    """The ladder's first action as a choice."""
    if rung != STOP:
        return Choice("repair", rung)
    return Choice("stop", int((node.situation.mass @ board.row_ending).argmin()))


def branch_out(board: Board, node: Node, choice: Choice) -> Branch:
    """Unfold one action at a node; the children still have to be assessed."""
    if choice.kind == "stop":
        cost = float(node.situation.mass @ board.row_ending[:, choice.index])
        return Branch(choice, cost, [])
    step = follow_check if choice.kind == "check" else follow_repair
    cost, after = step(board, node.situation, choice.index)
    whole = node.situation.mass.sum()
    cost += sum(
        node.value * situation.mass.sum() / whole
        for situation in after if situation.mass.sum() <= RARE * whole
    )
    children = [
        Node(situation, node.depth + 1)
        for situation in after if situation.mass.sum() > RARE * whole
    ]
    return Branch(choice, cost, children)


def follow_check(board: Board, here: Situation, check: int) -> tuple[float, list[Situation]]:
    """Cost of a check and the situations after its outcomes; masses add up to the one before."""
    at = np.array([here.place])
    board.places.fill(at, board.check_columns[check : check + 1])
    whole = float(here.mass.sum())
    cost = whole * float(board.places.price[here.place, check] + board.look_cost[check])
    left = here.left.copy()
    left[check] -= 1
    left[board.lost_to_check[check]] = 0
    left[check] = max(0, min(left[check], here.left[check] - 1))
    there = int(board.places.next[here.place, check])
    columns = np.flatnonzero(board.check_of == check)
    return cost, [
        Situation(here.mass * board.outcome[:, column], there, left, here.tried)
        for column in columns
    ]


def follow_repair(board: Board, here: Situation, repair: int) -> tuple[float, list[Situation]]:
    """Cost of a repair with its proof, and the one situation left when the proof fails."""
    column = len(board.checks) + repair
    board.places.fill(np.array([here.place]), board.repair_columns[repair : repair + 1])
    cure, share, miss = board.cure[repair], board.share[repair], board.miss[repair]
    tariff = board.tariff
    whole, stays = float(here.mass.sum()), here.mass * (1.0 - cure - share)
    uncured = float(here.mass @ (1.0 - cure))
    cost = whole * float(board.places.price[here.place, column] + board.repair_cost[repair])
    cost += tariff.wrong_repair * float(stays.sum()) + tariff.callback * float(miss) * uncured
    mass: Floats = stays.copy()
    np.add.at(mass, board.into[repair], here.mass * share)
    tried = here.tried.copy()
    tried[repair] = True
    left = np.where(board.lost_to_repair[repair], 0, here.left)
    there = int(board.places.next[here.place, column])
    return cost, [Situation(mass * (1.0 - miss), there, left, tried)]
