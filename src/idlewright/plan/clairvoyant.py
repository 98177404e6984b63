"""A bound no plan beats: what each row would cost if it were known from the start."""

from __future__ import annotations

import numpy as np

from idlewright.plan.board import Board, Situation
from idlewright.plan.outlook import Ints


class Clairvoyant:
    """Least cost of each class of a board when it is known, from every car state; remembered."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._known: dict[tuple[int, int, tuple[int, ...]], float] = {}

    def bound(self, here: Situation) -> float:
        """Least cost of a situation if every row were known, scaled by its mass."""
        tried = tuple(np.flatnonzero(here.tried).tolist())
        masses: list[float] = self._board.by_class(here.mass).tolist()
        return sum(
            mass * self._cost(index, here.place, tried)
            for index, mass in enumerate(masses) if mass > 0.0
        )

    def _cost(self, index: int, place: int, tried: tuple[int, ...]) -> float:
        key = (index, place, tried)
        if key not in self._known:
            useful = self._board.class_cure[index] + self._board.class_share[index] > 0.0
            self._known[key] = min(
                [float(self._board.ending[index].min())]
                + [
                    self._by_repair(index, place, tried, repair)
                    for repair in np.flatnonzero(useful).tolist() if repair not in tried
                ]
            )
        return self._known[key]

    def _by_repair(self, index: int, place: int, tried: tuple[int, ...], repair: int) -> float:
        board, tariff = self._board, self._board.tariff
        column = len(board.checks) + repair
        columns: Ints = np.array([column], dtype=np.intp)
        board.places.fill(np.array([place]), columns)
        price = float(board.places.price[place, column] + board.repair_cost[repair])
        if not np.isfinite(price):
            return price
        there, after = int(board.places.next[place, column]), tuple(sorted({*tried, repair}))
        miss = float(board.miss[repair])
        shared = float(board.class_share[index, repair])
        stays = 1.0 - float(board.class_cure[index, repair]) - shared
        price += tariff.wrong_repair * stays + tariff.callback * miss * (stays + shared)
        if stays > 0.0:
            price += stays * (1.0 - miss) * self._cost(index, there, after)
        if shared > 0.0:
            into = int(board.class_into[index, repair])
            price += shared * (1.0 - miss) * self._cost(into, there, after)
        return price
