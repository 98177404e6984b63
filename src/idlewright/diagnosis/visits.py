"""Linearising many hypotheses at their own places, each latent once for all that ask for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from idlewright.diagnosis.evidence import Weigher
from idlewright.diagnosis.world import BoolArray, Rows
from idlewright.model.cells import IntArray
from idlewright.model.compiled import Lines
from idlewright.model.scalars import FloatArray

STEP_LIMIT = 5.0
"""Straight lines are not followed further than this, standard deviations."""


@dataclass(frozen=True, slots=True)
class _Group:
    """Worlds of one asker in one epoch: a cell and a place each.

    Attributes:
        asker: whose. start: of its worlds among the epoch's. member: its rows, (n,).
        latents: wanted there. quiet: good cars, for the times when the fault is not active.
    """

    asker: int
    start: int
    member: IntArray
    latents: frozenset[int]
    quiet: bool


@dataclass(frozen=True, slots=True)
class _Asked:
    rows: Rows
    sees: BoolArray
    z: FloatArray
    latents: Sequence[int]
    times: Sequence[int]


class Visits:
    """Requests for lines through given places, answered together.

    A car at different times of one epoch is the same car as long as its fault is active at all of
    them, so times of one epoch share their worlds; rows whose fault is quiet at some time, and
    would show in what was read then, visit the good car as well.
    """

    def __init__(self, weigher: Weigher) -> None:
        self._weigher = weigher
        self._asked: list[_Asked] = []
        self._cell: dict[int, list[IntArray]] = {}
        self._z: dict[int, list[FloatArray]] = {}
        self._level: dict[int, list[FloatArray]] = {}
        self._groups: dict[int, list[_Group]] = {}

    def ask(
        self,
        rows: Rows,
        sees: BoolArray,
        z: FloatArray,
        level: float,
        latents: Sequence[int],
        times: Sequence[int],
    ) -> None:
        """Ask for lines.

        Args:
            rows: hypotheses, (W,). sees: False where no factor sees the fault, (W,). z: where,
                (W, K). level: tolerance widening. latents, times: of the factors, (m,).
        """
        asker = len(self._asked)
        self._asked.append(_Asked(rows, sees, z, latents, times))
        epochs = [self._weigher.epoch_of_time[t] for t in times]
        for epoch in sorted(set(epochs)):
            here = [k for k, e in enumerate(epochs) if e == epoch]
            read = [latents[k] for k in here], [times[k] for k in here]
            own, quiet = self._sources(rows, sees, *read)
            wanted = frozenset(latents[k] for k in here)
            everyone = np.arange(len(rows))
            self._visit(epoch, _Group(asker, 0, everyone, wanted, False), own, z, level)
            if len(quiet):
                cells = self._weigher.model.cells
                good = cells.good[cells.variant[rows.cell[quiet]]]
                self._visit(epoch, _Group(asker, 0, quiet, wanted, True), good, z, level)

    def _sources(
        self, rows: Rows, sees: BoolArray, latents: Sequence[int], times: Sequence[int]
    ) -> tuple[IntArray, IntArray]:
        """Cell each row visits, and the rows that must visit the good car too."""
        model = self._weigher.model
        good = model.cells.good[model.cells.variant[rows.cell]]
        active = rows.active[:, sorted(set(times))].any(axis=1) & sees
        quiet = np.zeros(len(rows), dtype=bool)
        for latent, time in zip(latents, times, strict=True):
            quiet |= active & ~rows.active[:, time] & model.rows(latent).own[rows.cell]
        return np.where(active, rows.cell, good), np.flatnonzero(quiet)

    def _visit(
        self, epoch: int, group: _Group, cell: IntArray, z: FloatArray, level: float
    ) -> None:
        cells = self._cell.setdefault(epoch, [])
        start = sum(len(part) for part in cells)
        cells.append(cell)
        local = self._weigher.columns.local(z[group.member], epoch)
        self._z.setdefault(epoch, []).append(np.clip(local, -STEP_LIMIT, STEP_LIMIT))
        self._level.setdefault(epoch, []).append(np.full(len(cell), level))
        self._groups.setdefault(epoch, []).append(replace(group, start=start))

    def lines(self) -> Iterator[tuple[FloatArray, FloatArray]]:
        """For each asker in order: means (W, m) and slopes (W, m, K) of its factors."""
        weigher = self._weigher
        found = [
            (
                np.empty((len(one.rows), len(one.latents))),
                np.zeros((len(one.rows), len(one.latents), weigher.width)),
            )
            for one in self._asked
        ]
        for epoch in self._cell:
            self._fill(epoch, found)
        yield from found

    def _fill(self, epoch: int, found: list[tuple[FloatArray, FloatArray]]) -> None:
        """Solve one epoch's worlds and hand the results to the askers (in place)."""
        weigher, groups = self._weigher, self._groups[epoch]
        cell = np.concatenate(self._cell[epoch])
        z = np.concatenate(self._z[epoch])
        widen = np.concatenate(self._level[epoch])
        visit = weigher.model.visit(cell, z, widen)
        z_rows = np.ascontiguousarray(z.T)
        for latent in sorted(frozenset().union(*(group.latents for group in groups))):
            users = [group for group in groups if latent in group.latents]
            which = np.concatenate(
                [np.arange(group.start, group.start + len(group.member)) for group in users]
            )
            lines = visit.lines(latent, which)
            there = z_rows[lines.columns[:, None], which]
            x = lines.x - (lines.by_z * there).sum(axis=0) - lines.by_u * z_rows[-1, which]
            start = 0
            for group in users:
                part = slice(start, start + len(group.member))
                start = part.stop
                own = Lines(x[part], lines.columns, lines.by_z[:, part], lines.by_u[part])
                self._hand_over(epoch, group, latent, own, found[group.asker])

    def _hand_over(
        self,
        epoch: int,
        group: _Group,
        latent: int,
        lines: Lines,
        found: tuple[FloatArray, FloatArray],
    ) -> None:
        """Write one group's lines where its asker reads the latent, in extended columns."""
        asked, weigher = self._asked[group.asker], self._weigher
        mean, slopes = found
        columns = weigher.maps[epoch][lines.columns]
        for k, (own, time) in enumerate(zip(asked.latents, asked.times, strict=True)):
            if own != latent or weigher.epoch_of_time[time] != epoch:
                continue
            if not group.quiet:
                mean[:, k] = lines.x
                slopes[:, k, columns] = lines.by_z.T
                slopes[:, k, -1] = lines.by_u
                continue
            quiet = np.flatnonzero(~asked.rows.active[group.member, time])
            rows = group.member[quiet]
            mean[rows, k] = lines.x[quiet]
            slopes[rows, k] = 0.0
            slopes[rows[:, None], k, columns] = lines.by_z.T[quiet]
            slopes[rows, k, -1] = lines.by_u[quiet]
