"""One family and one sheet, compiled: every observable, linearised in every cell, on demand."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from idlewright.family.kinds import Family, Sheet
from idlewright.model.bank import BankRows, Solved, bank_rows
from idlewright.model.cells import (
    FINE_STEP,
    STANDARD_STEP,
    Cells,
    IntArray,
    Placed,
    cut_into_cells,
    place,
)
from idlewright.model.engine_fit import fit_engine
from idlewright.model.latents import Latent
from idlewright.model.physics_of import Physics
from idlewright.model.scalars import FloatArray, ScalarTable, resolve_scalars
from idlewright.model.worlds import Gradient

MOST_PLACED = 16
"""Sets of worlds kept while the bank is filled: more would cost memory and save little work."""

STANDARD_OHM = 10e6
"""Input resistance of the usual digital multimeter on volts (common practice, no source)."""


@dataclass(slots=True)
class CompiledModel:
    """Physics, cells and the linearised bank of one family and sheet.

    Attributes:
        family, sheet: what it was compiled from. table: scalars. physics: solvers by state.
        cells: hypotheses in cells. columns: T + 1 = tolerances, then severity.
    """

    family: Family
    sheet: Sheet
    table: ScalarTable
    physics: Physics
    cells: Cells
    fine: bool = False
    _latents: list[Latent] = field(default_factory=list)
    _number: dict[Latent, int] = field(default_factory=dict)
    _bank: dict[int, BankRows] = field(default_factory=dict)
    _placed: dict[bytes, Placed] = field(default_factory=dict)
    _touching: dict[int, NDArray[np.bool_]] = field(default_factory=dict)

    @property
    def columns(self) -> int:
        """Number of tolerance columns plus one for severity."""
        return len(self.cells.tolerance) + 1

    def number_of(self, latent: Latent) -> int:
        """The latent's number in this model; new ones are added."""
        if latent not in self._number:
            self._number[latent] = len(self._latents)
            self._latents.append(latent)
        return self._number[latent]

    @property
    def latents_known(self) -> int:
        """How many latents have numbers."""
        return len(self._latents)

    def latent(self, number: int) -> Latent:
        """The latent with a number."""
        return self._latents[number]

    def rows(self, number: int) -> BankRows:
        """A latent at every cell's centre."""
        if number not in self._bank:
            self._bank[number] = self._fill(number)
        return self._bank[number]

    def bank(self, numbers: Sequence[int]) -> tuple[FloatArray, FloatArray]:
        """Means (C, n) and derivatives (C, n, T + 1) of latents at every cell's centre."""
        return self.bank_at(numbers, np.arange(len(self.cells)))

    def bank_at(self, numbers: Sequence[int], cell: IntArray) -> tuple[FloatArray, FloatArray]:
        """Means (R, n) and derivatives (R, n, T + 1) of latents at some cells' centres, (R,)."""
        mean = np.empty((len(cell), len(numbers)))
        slopes = np.empty((len(cell), len(numbers), self.columns))
        for column, number in enumerate(numbers):
            mean[:, column], slopes[:, column] = self.rows(number).at(cell)
        return mean, slopes

    def lines_at(
        self, numbers: Sequence[int], cell: IntArray
    ) -> tuple[FloatArray, NDArray[np.float32]]:
        """As `bank_at`, derivatives in single precision: enough for a prediction, half the work."""
        mean = np.empty((len(cell), len(numbers)))
        slopes = np.empty((len(cell), len(numbers), self.columns), dtype=np.float32)
        for column, number in enumerate(numbers):
            mean[:, column], slopes[:, column] = self.rows(number).at(cell)
        return mean, slopes

    def touching(self, number: int) -> NDArray[np.bool_]:
        """Faults that can change a latent at all, (F,)."""
        if number not in self._touching:
            centres = self._centres(self.cells.good)
            _, gradient = self._latents[number].evaluate(self.physics, centres.worlds)
            self._touching[number] = self._acting_on(gradient.index)[:-1]
        return self._touching[number]

    def _fill(self, number: int) -> BankRows:
        """One latent at every cell's centre.

        Cells whose fault cannot touch the latent look like the good car; variants that differ in
        nothing the latent sees look like the first such variant's block.
        """
        good = self.cells.good
        lines, index = self._lines(self._centres(good), number)
        parts = [lines]
        touched = self._touched(index)
        block = len(self.cells) // len(good)
        nominal = self.table.nominal[:, index]
        sees = np.repeat(np.arange(len(good)), block)
        worked_out = len(good)
        for variant, start in enumerate(good):
            mine = slice(start, start + block)
            twin = next(v for v in range(variant + 1) if (nominal[v] == nominal[variant]).all())
            if twin < variant:
                sees[mine] = sees[good[twin] : good[twin] + block]
                continue
            here = start + np.flatnonzero(touched[mine])
            if len(here):
                parts.append(self._lines(self._centres(here), number)[0])
                sees[here] = worked_out + np.arange(len(here))
                worked_out += len(here)
        return bank_rows(self._together(parts, sees), self.cells, self.columns)

    def _lines(self, placed: Placed, number: int) -> tuple[Lines, IntArray]:
        """One latent in some worlds, and the scalars it depends on."""
        x, gradient = self._latents[number].evaluate(self.physics, placed.worlds)
        return Lines(x, *self._by_column(gradient, placed)), gradient.index

    def _together(self, parts: Sequence[Lines], sees: IntArray) -> Solved:
        """What was worked out for several groups of cells, one after another."""
        columns = np.unique(np.concatenate([*(part.columns for part in parts), [self.columns - 1]]))
        slopes = np.zeros((sum(len(part.x) for part in parts), len(columns)))
        start = 0
        for part in parts:
            rows = slice(start, start + len(part.x))
            slopes[rows, np.searchsorted(columns, part.columns)] = part.by_z.T
            slopes[rows, -1] = part.by_u
            start = rows.stop
        used = (slopes != 0.0).any(axis=0)
        x = np.concatenate([part.x for part in parts])
        return Solved(x, slopes[:, used], columns[used], sees)

    def _centres(self, which: IntArray) -> Placed:
        """Worlds at the centres of some cells; the last ones are kept, since latents share them."""
        key = which.tobytes()
        found = self._placed.pop(key, None)
        if found is None:
            z = np.zeros((len(which), self.columns))
            found = place(self.table, self.cells, which, z)
            while len(self._placed) >= MOST_PLACED:
                self._placed.pop(next(iter(self._placed)))
        self._placed[key] = found
        return found

    def _touched(self, scalars: IntArray) -> NDArray[np.bool_]:
        """Cells whose fault acts on any of the given scalars, (C,)."""
        return self._acting_on(scalars)[self.cells.fault]

    def _acting_on(self, scalars: IntArray) -> NDArray[np.bool_]:
        """Faults that act on any of the given scalars, the good car (never) last, (F + 1,)."""
        wanted = set(scalars.tolist())
        index = self.table.index
        return np.array(
            [any(index[s.scalar] in wanted for s in fault.spans) for fault in self.cells.faults]
            + [False]
        )

    def forget_worlds(self) -> None:
        """Drop intermediate results of the bank's own worlds (they come back when needed)."""
        self._placed.clear()

    def linearise(
        self,
        which: IntArray,
        z: FloatArray,
        numbers: Sequence[int],
        widen: FloatArray | float = 1.0,
    ) -> tuple[FloatArray, FloatArray]:
        """Latents (W, n) and derivatives by z (W, n, T + 1) at points z (W, T + 1) of cells."""
        visit = self.visit(which, z, widen)
        x = np.empty((len(which), len(numbers)))
        slopes = np.empty((len(which), len(numbers), self.columns))
        for column, number in enumerate(numbers):
            x[:, column], slopes[:, column, :] = self._evaluate(visit.placed, number)
        return x, slopes

    def visit(self, which: IntArray, z: FloatArray, widen: FloatArray | float = 1.0) -> Visit:
        """Worlds at points z (W, T + 1) of cells, for linearising one latent after another."""
        return Visit(self, place(self.table, self.cells, which, z, widen))

    def _evaluate(self, placed: Placed, number: int) -> tuple[FloatArray, FloatArray]:
        x, gradient = self._latents[number].evaluate(self.physics, placed.worlds)
        return x, self._project(gradient, placed)

    def _project(self, gradient: Gradient, placed: Placed) -> FloatArray:
        """Derivatives by tolerance coordinates and severity, (W, T + 1)."""
        columns, by_z, by_u = self._by_column(gradient, placed)
        out = np.zeros((placed.worlds.width, self.columns))
        out[:, columns] = by_z.T
        out[:, -1] = by_u
        return out

    def _by_column(
        self, gradient: Gradient, placed: Placed
    ) -> tuple[IntArray, FloatArray, FloatArray]:
        """The tolerance columns that matter (k,), derivatives by them (k, W), by severity (W,)."""
        columns = self._column_of()[gradient.index]
        known = columns >= 0
        by_z = placed.per_z[gradient.index[known]]
        by_z *= gradient.value[known]
        by_u = np.einsum("kw,kw->w", gradient.value, placed.per_u[gradient.index])
        return columns[known], by_z, by_u

    def _column_of(self) -> IntArray:
        column = np.full(len(self.table.ids), -1, dtype=np.int64)
        column[self.cells.tolerance] = np.arange(len(self.cells.tolerance))
        return column


@dataclass(frozen=True, slots=True)
class Lines:
    """One latent on straight lines in W worlds.

    Attributes:
        x: value, (W,). columns: tolerances that move it, (k,). by_z: derivatives by them, (k, W).
        by_u: derivative by severity's z, (W,).
    """

    x: FloatArray
    columns: IntArray
    by_z: FloatArray
    by_u: FloatArray


@dataclass(slots=True)
class Visit:
    """Worlds of a model at given places; latents are solved in all or some of them."""

    model: CompiledModel
    placed: Placed
    _some: dict[bytes, Placed] = field(default_factory=dict)

    def lines(self, number: int, which: IntArray) -> Lines:
        """A latent and its derivatives by z in some of the worlds, (W,)."""
        placed = self.placed
        if len(which) < placed.worlds.width:
            key = which.tobytes()
            if key not in self._some:
                self._some[key] = placed.take(which)
            placed = self._some[key]
        return self.model._lines(placed, number)[0]


def compile_model(family: Family, sheet: Sheet, *, fine: bool = False) -> CompiledModel:
    """Compile a family for one vehicle.

    Args:
        family: from load_family. sheet: from load_sheet. fine: narrower cells.

    Returns:
        The model; observables are linearised when first asked for.

    Raises:
        BadInput: the sheet lacks a value that has no usual one, or the engine cannot show the
            sheet's idle figures.
    """
    table = resolve_scalars(family, sheet)
    table, share, torque = fit_engine(family, sheet, table)
    physics = Physics(family, table, share, torque)
    step = FINE_STEP if fine else STANDARD_STEP
    cells = cut_into_cells(table, tuple(family.faults.values()), step)
    return CompiledModel(family, sheet, table, physics, cells, fine)


def model_key(family: Family, sheet: Sheet, version: str, fine: bool) -> str:
    """Content key of a compiled model: changes whenever anything it depends on does."""
    text = "\n".join((version, family.sha256, sheet.sha256, str(fine)))
    return hashlib.sha256(text.encode()).hexdigest()
