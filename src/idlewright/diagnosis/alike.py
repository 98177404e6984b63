"""Rows whose fault no reading can show: all as likely as the good car, so one stands for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from idlewright.diagnosis.gaussian import inside_range
from idlewright.diagnosis.pieces import Piece, Weighed
from idlewright.diagnosis.world import BoolArray, Rows
from idlewright.model.cells import IntArray
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray


@dataclass(frozen=True, slots=True)
class Alike:
    """Who stands for whom.

    Attributes:
        stands: the row that stands for each, itself if readings can show its fault, (R,).
        own: log prior of each row, its cell's share inside the range included where it is stood
            for, (R,). prior: the same, but of those who stand the largest they stand for, (R,).
        centre, spread: severity of each row before any reading, (R,).
    """

    stands: IntArray
    own: FloatArray
    prior: FloatArray
    centre: FloatArray
    spread: FloatArray

    @staticmethod
    def find(
        model: CompiledModel,
        rows: Rows,
        prior: FloatArray,
        latents: Sequence[int],
        times: Sequence[int],
    ) -> Alike:
        """Rows alike under readings of some latents at some times.

        Args:
            prior: log prior of each row, words with stated odds included, (R,).
        """
        cells = model.cells
        shown = _shown(model, rows, latents, times)
        good = cells.fault[rows.cell] < 0
        stands = np.arange(len(rows))
        for variant in np.unique(cells.variant[rows.cell]):
            here = cells.variant[rows.cell] == variant
            first = np.flatnonzero(here & good)
            if len(first):
                stands[here & ~shown] = first[0]
        centre, spread = cells.centre[rows.cell], cells.spread[rows.cell]
        moved = (stands != np.arange(len(rows))) & ~rows.blind
        zero, one = np.zeros(len(rows)), np.ones(len(rows))
        inside = inside_range(zero, one, centre, spread**2)
        own = prior + np.where(moved, inside, 0.0)
        largest = own.copy()
        np.maximum.at(largest, stands, own)
        return Alike(stands, own, largest, centre, spread)

    def standing(self, row: IntArray) -> IntArray:
        """The rows that stand for the given ones, each once."""
        return np.unique(self.stands[row])

    def expanded(self, weighed: Weighed, alive: IntArray) -> Weighed:
        """Everyone's weight and posterior; rows not alive keep what they had."""
        evidence = weighed.ln_row - self.prior
        ln_row = evidence + self.own
        ln_row[alive] = evidence[self.stands[alive]] + self.own[alive]
        pieces = tuple(self._more(piece, alive) for piece in weighed.pieces)
        return replace(weighed, ln_row=ln_row, pieces=pieces)

    def _more(self, piece: Piece, alive: IntArray) -> Piece:
        """A piece with the rows it stands for beside its own."""
        place = np.full(len(self.stands), -1)
        place[piece.row] = np.arange(len(piece.row))
        looked_at = place >= 0
        looked_at[alive] |= place[self.stands[alive]] >= 0
        row = np.flatnonzero(looked_at)
        source = np.where(place[row] >= 0, place[row], place[self.stands[row]])
        more = piece.take(source)
        stood_for = place[row] < 0
        return replace(
            more,
            row=row,
            ln_weight=more.ln_weight + self.own[row] - self.prior[piece.row[source]],
            u_mean=np.where(stood_for, self.centre[row], more.u_mean),
            u_variance=np.where(stood_for, self.spread[row] ** 2, more.u_variance),
        )


def _shown(
    model: CompiledModel, rows: Rows, latents: Sequence[int], times: Sequence[int]
) -> BoolArray:
    """True for rows whose fault, active then, can change one of the latents, (R,)."""
    fault = model.cells.fault[rows.cell]
    shown = np.zeros(len(rows), dtype=bool)
    for latent, time in set(zip(latents, times, strict=True)):
        touching = np.append(model.touching(latent), False)
        shown |= touching[fault] & rows.active[:, time]
    return shown
