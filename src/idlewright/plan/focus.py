"""The part of a board that matters for a few situations: heavy classes, and repairs that help them.

Classes that together hold a thousandth of every situation's mass are lumped into one that no
repair cures and that is ended at their mean cost, so mass is kept and the ladder gets short rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idlewright.plan.board import Board
from idlewright.plan.outlook import Floats, Ints

LIGHT = 1e-3
"""Share of a situation's mass that may be lumped."""

FEW = 12
"""Boards with at most so many classes are not narrowed."""

DUST = 1e-12
"""Masses below this share are set to zero: subnormal numbers slow every product down."""


@dataclass(frozen=True, slots=True)
class Focus:
    """K classes (the last one lumped, if any was) and R repairs of a board.

    Attributes:
        classes: board's class numbers that are kept. repairs: board's repair numbers kept.
        lumped: rows of the lumped classes, empty when none is.
        cure, share: (K, R). into: (K, R) class numbers here. shares: any share above zero.
        mishap: (R,) money for each unit of uncured mass. miss: (R,). repair_cost: (R,).
        ending: (K, E), floor: (K,).
    """

    board: Board
    classes: Ints
    repairs: Ints
    lumped: Ints
    cure: Floats
    share: Floats
    into: Ints
    shares: bool
    mishap: Floats
    miss: Floats
    repair_cost: Floats
    ending: Floats
    floor: Floats

    def by_class(self, mass: Floats) -> Floats:
        """(N, K) class masses of row masses (N, H)."""
        kept = self.board.by_class(mass)[:, self.classes]
        if not len(self.lumped):
            return np.ascontiguousarray(kept)
        return np.concatenate([kept, mass[:, self.lumped].sum(axis=1, keepdims=True)], axis=1)

    def split(self, mass: Floats) -> Floats:
        """(N, Q, K) class masses after each outcome of each check."""
        board = self.board
        parts = np.empty((len(self.floor), len(mass), board.outcome.shape[1]))
        for index, number in enumerate(self.classes):
            begin, end = board.edges[number], board.edges[number + 1]
            np.matmul(mass[:, begin:end], board.outcome[begin:end], out=parts[index])
        if len(self.lumped):
            np.matmul(mass[:, self.lumped], board.outcome[self.lumped], out=parts[-1])
        parts[parts < DUST * mass.sum(axis=1)[:, None]] = 0.0
        return np.ascontiguousarray(parts.transpose(1, 2, 0))

    def price(self, places: Ints) -> Floats:
        """(N, R) money to get from each place (N,) to each repair and to do it."""
        columns = len(self.board.checks) + self.repairs
        return np.asarray(self.board.places.prices(places, columns) + self.repair_cost)

    def next_place(self, place: Ints, pick: Ints) -> Ints:
        """Places after repairs `pick` (numbers here) from filled places."""
        columns = len(self.board.checks) + self.repairs[pick]
        return np.asarray(self.board.places.next[place, columns])


def focus(board: Board, mass: Floats) -> Focus:
    """Narrow a board to what matters for situations with row masses (N, H)."""
    classes = board.by_class(mass)
    kept = _heavy(board, classes)
    every = len(kept) == classes.shape[1]
    cure, share = board.class_cure[kept], board.class_share[kept]
    useful = (cure + share).any(axis=0)
    repairs = np.flatnonzero(useful)
    place_of = np.zeros(classes.shape[1], dtype=np.intp)
    place_of[kept] = np.arange(len(kept))
    cure, share = cure[:, repairs], share[:, repairs]
    into = place_of[board.class_into[np.ix_(kept, repairs)]]
    ending, floor = board.ending[kept], board.floor[kept]
    lumped = np.zeros(0, dtype=np.intp)
    if not every:
        light = np.ones(classes.shape[1], dtype=bool)
        light[kept] = False
        rest, lumped = np.flatnonzero(light), np.flatnonzero(light[board.class_of])
        weight = classes[:, rest].sum(axis=0) + np.finfo(float).tiny
        mean = weight @ board.ending[rest] / weight.sum()
        nothing = np.zeros((1, len(repairs)))
        cure, share = np.concatenate([cure, nothing]), np.concatenate([share, nothing])
        into = np.concatenate([into, np.full((1, len(repairs)), len(kept), dtype=np.intp)])
        ending = np.concatenate([ending, mean[None]])
        floor = np.append(floor, board.floor[rest].min())
    tariff = board.tariff
    miss = board.miss[repairs]
    return Focus(
        board=board, classes=kept, repairs=repairs, lumped=lumped,
        cure=np.ascontiguousarray(cure), share=np.ascontiguousarray(share), into=into,
        shares=bool(share.any()), mishap=tariff.wrong_repair + tariff.callback * miss, miss=miss,
        repair_cost=board.repair_cost[repairs], ending=ending, floor=floor,
    )


def _heavy(board: Board, classes: Floats) -> Ints:
    """Classes that hold all but a light tail of some situation, and those they can turn into."""
    count = classes.shape[1]
    if count <= FEW:
        return np.arange(count)
    order = np.argsort(classes, axis=1, kind="stable")
    tail = np.cumsum(np.take_along_axis(classes, order, axis=1), axis=1)
    rows, ranks = np.nonzero(tail > LIGHT * classes.sum(axis=1, keepdims=True))
    keep = np.zeros(count, dtype=bool)
    keep[order[rows, ranks]] = True
    if board.shares:
        number, repair = np.nonzero(keep[:, None] & (board.class_share > 0.0))
        keep[board.class_into[number, repair]] = True
    return np.flatnonzero(keep)
