"""Near the end of a job the plan is exact: few suspects and checks left, all ways are followed.

Depth first, best bound first; a way is dropped when even a clairvoyant could not make it pay. The
search gives up, and the roll-out stands, when it has met its budget of situations. Checks that
tell no two possible rows apart are not made for the car state they would leave.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idlewright.plan.board import Board, Choice, Situation
from idlewright.plan.clairvoyant import Clairvoyant
from idlewright.plan.focus import LIGHT
from idlewright.plan.tree import Branch, Node, follow_check, follow_repair

MOST_CLASSES = 8
MOST_CHECKS = 8
MOST_SITUATIONS = 800
GONE = 1e-12
DIGITS = 10
ALIKE = 1e-9


class _OutOfBudgetError(Exception):
    """The board is too large to be searched to the end."""


@dataclass(frozen=True, slots=True)
class _Found:
    """Least cost of a situation of mass one, and the action to begin with."""

    cost: float
    choice: Choice


def exact_branch(board: Board, here: Situation, budget: int = MOST_SITUATIONS) -> Branch | None:
    """The optimal action with everything that follows it, or None if the board is too large.

    Args:
        board: the outlook as arrays.
        here: the situation.
        budget: most situations to be met.
    """
    if not small(board, here):
        return None
    search = _Search(board, budget)
    try:
        return search.branch(Node(here, 0))
    except _OutOfBudgetError:
        return None


def small(board: Board, here: Situation) -> bool:
    """True if few enough classes carry the mass and few enough checks are left."""
    classes = np.sort(board.by_class(here.mass))[::-1]
    heavy = int((np.cumsum(classes) < (1.0 - LIGHT) * classes.sum()).sum()) + 1
    return heavy <= MOST_CLASSES and int((here.left > 0).sum()) <= MOST_CHECKS


class _Search:
    def __init__(self, board: Board, budget: int) -> None:
        self._board = board
        self._budget = budget
        self._bounds = Clairvoyant(board)
        self._known: dict[tuple[int, bytes], _Found] = {}

    def best(self, here: Situation) -> _Found:
        """Least cost from a situation of mass one."""
        here = self._bare(here)
        key = _key(here)
        found = self._known.get(key)
        if found is None:
            self._budget -= 1
            if self._budget < 0:
                raise _OutOfBudgetError
            found = self._known[key] = self._try_all(here)
        return found

    def branch(self, node: Node) -> Branch:
        """The optimal action at a node, and the optimal ones after it."""
        here = node.situation
        found = self.best(_whole(here))
        node.value = found.cost * float(here.mass.sum())
        cost, after = self._follow(here, found.choice)
        children = [Node(s, node.depth + 1) for s in after if s.mass.sum() > GONE]
        for child in children:
            child.branches = [self.branch(child)]
        return Branch(found.choice, cost, children)

    def _try_all(self, here: Situation) -> _Found:
        board = self._board
        endings = here.mass @ board.row_ending
        best = _Found(float(endings.min()), Choice("stop", int(endings.argmin())))
        ways: list[tuple[float, int, Choice, list[Situation], list[float]]] = []
        for choice in self._offers(here):
            cost, after = self._follow(here, choice)
            after = [s for s in after if s.mass.sum() > GONE]
            bounds = [self._bounds.bound(s) for s in after]
            ways.append((cost + sum(bounds), len(ways), choice, after, bounds))
        for bound, _, choice, after, bounds in sorted(ways, key=lambda way: way[:2]):
            if bound >= best.cost:
                break
            total = bound
            for situation, least in zip(after, bounds, strict=True):
                mass = float(situation.mass.sum())
                total += mass * self.best(_whole(situation)).cost - least
                if total >= best.cost:
                    break
            if total < best.cost:
                best = _Found(total, choice)
        return best

    def _bare(self, here: Situation) -> Situation:
        """Without the looks that could tell nothing any more about rows that are still possible."""
        board = self._board
        if not board.checks:
            return here
        rows = here.mass > GONE
        while board.shares:
            more = rows.copy()
            more[board.into[:, rows][board.share[:, rows] > 0.0]] = True
            if (more == rows).all():
                break
            rows = more
        spread = np.ptp(board.outcome[rows], axis=0)
        tells = np.maximum.reduceat(spread, board.first) > ALIKE
        return Situation(here.mass, here.place, np.where(tells, here.left, 0), here.tried)

    def _offers(self, here: Situation) -> list[Choice]:
        board = self._board
        columns = np.append(board.check_columns, board.repair_columns)
        board.places.fill(np.array([here.place]), columns)
        reach = np.isfinite(board.places.price[here.place])
        cures = (here.mass @ (board.cure + board.share).T) > 0.0
        checks = np.flatnonzero((here.left > 0) & reach[: len(board.checks)])
        repairs = np.flatnonzero(~here.tried & cures & reach[len(board.checks):])
        return [
            *(Choice("check", index) for index in checks.tolist()),
            *(Choice("repair", index) for index in repairs.tolist()),
        ]

    def _follow(self, here: Situation, choice: Choice) -> tuple[float, list[Situation]]:
        if choice.kind == "stop":
            return float(here.mass @ self._board.row_ending[:, choice.index]), []
        step = follow_check if choice.kind == "check" else follow_repair
        return step(self._board, here, choice.index)


def _whole(here: Situation) -> Situation:
    return Situation(here.mass / here.mass.sum(), here.place, here.left, here.tried)


def _key(here: Situation) -> tuple[int, bytes]:
    belief = np.round(here.mass, DIGITS) + 0.0
    return here.place, belief.tobytes() + here.left.tobytes() + here.tried.tobytes()
