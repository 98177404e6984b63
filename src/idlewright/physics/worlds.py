"""The numbers a circuit is solved for: checked, and sorted into what varies and what does not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.errors import BadInput, Problem
from idlewright.physics.tape import Row

Rows = NDArray[np.float64] | Sequence[NDArray[np.float64] | float]
"""(E, W) or (E, 1) array, or a sequence of E rows of one or W numbers each."""


_INFINITE_BITS = np.float64(np.inf).view(np.uint64)
"""As whole numbers, the bits of 0 and of all positive numbers lie below those of infinity, those of
NaN and of all negative numbers above: one pass over the memory finds any number of no use."""


@dataclass(frozen=True, slots=True)
class Worlds:
    """Checked inputs of E branches in W worlds.

    Attributes:
        rows: 2 E rows, conductances (S) then electromotive forces (V), each (1,) or (W,).
        width: W.
        wide: for each row, True if it has one number per world.
        driven: for each branch, False if its electromotive force is 0 in every world.
    """

    rows: list[Row]
    width: int
    wide: tuple[bool, ...]
    driven: tuple[bool, ...]

    @property
    def kind(self) -> tuple[tuple[bool, ...], tuple[bool, ...]]:
        """What a program must be compiled for."""
        return self.wide, self.driven

    def only(self, branches: Sequence[int], forces: Mapping[int, Row] | None = None) -> Worlds:
        """The same for some of the branches, in the order given.

        Args:
            branches: which.
            forces: electromotive forces that differ from here, by branch index here.
        """
        count = len(self.driven)
        e_rows = [self.rows[count + branch] for branch in branches]
        driven = [self.driven[branch] for branch in branches]
        for at, branch in enumerate(branches):
            if forces and branch in forces:
                e_rows[at] = forces[branch]
                driven[at] = bool(np.any(forces[branch]))
        rows = [self.rows[branch] for branch in branches] + e_rows
        wide = tuple([row.size == self.width for row in rows])
        return Worlds(rows, self.width, wide, tuple(driven))


def check_worlds(conductance: Rows, emf: Rows, branches: int) -> Worlds:
    """Check the inputs of a circuit with so many branches.

    Raises:
        BadInput: a wrong shape; a conductance that is negative, NaN or infinite; an electromotive
            force that is NaN or infinite.
    """
    g_rows, g_widths = _as_rows("conductance", conductance, branches)
    e_rows, e_widths = _as_rows("emf", emf, branches)
    rows, widths = g_rows + e_rows, g_widths + e_widths
    width = _common_width(widths)
    if width == 0:
        return Worlds(rows, 0, (False,) * len(rows), (False,) * branches)
    if not all(_usable(piece) for piece in _pieces(conductance, g_rows)):
        problems = _worst("conductance", g_rows, "a finite number of siemens, 0 or more")
        if problems:  # none if it was a 0 with a sign
            raise BadInput(problems)
    least, most = _extremes(emf, e_rows)
    if not (least.min() > -np.inf and most.max() < np.inf):
        raise BadInput(_worst("emf", e_rows, "a finite number of volts"))
    return Worlds(
        rows=rows,
        width=width,
        wide=tuple(map(width.__eq__, widths)),
        driven=tuple(((least != 0.0) | (most != 0.0)).tolist()),
    )


def _as_rows(what: str, values: Rows, branches: int) -> tuple[list[Row], list[int]]:
    """E one-dimensional rows, and how many numbers each has."""
    if isinstance(values, np.ndarray):
        if values.ndim != 2:
            raise BadInput(
                Problem(
                    says=f"{what} has {values.ndim} dimension(s)",
                    expected="one row per branch, one column per world",
                )
            )
        rows = list(np.ascontiguousarray(values, dtype=np.float64))
        widths = [values.shape[1]] * len(rows)
    else:
        rows = [np.asarray(row, dtype=np.float64).reshape(-1) for row in values]
        widths = [row.size for row in rows]
    if len(rows) != branches:
        raise BadInput(
            Problem(says=f"{what} has {len(rows)} rows", expected=f"one row for each of {branches}")
        )
    return rows, widths


def _common_width(widths: Sequence[int]) -> int:
    """The number of worlds; rows of one number fit any."""
    several = set(widths) - {1}
    if len(several) > 1:
        raise BadInput(
            Problem(
                says=f"rows have {', '.join(map(str, sorted(set(widths))))} worlds",
                expected="the same number of worlds in each row, or one number for all",
            )
        )
    return several.pop() if several else 1


def _pieces(given: Rows, rows: Sequence[Row]) -> list[NDArray[np.float64]]:
    """The same numbers in as few arrays as they lie in."""
    if isinstance(given, np.ndarray):
        return [np.asarray(given, dtype=np.float64)]
    single = [row for row in rows if row.size == 1]
    return [row for row in rows if row.size > 1] + ([np.concatenate(single)] if single else [])


def _usable(numbers: NDArray[np.float64]) -> bool:
    """True if all are finite and none has a minus sign."""
    return bool(np.maximum.reduce(numbers.view(np.uint64), axis=None) < _INFINITE_BITS)


def _extremes(given: Rows, rows: Sequence[Row]) -> tuple[Row, Row]:
    """Least and greatest of each row, NaN where there is one."""
    if isinstance(given, np.ndarray):
        return np.minimum.reduce(given, axis=1), np.maximum.reduce(given, axis=1)
    if all(row.size == 1 for row in rows):
        numbers = np.concatenate(rows)
        return numbers, numbers
    return np.array([row.min() for row in rows]), np.array([row.max() for row in rows])


def _worst(what: str, rows: Sequence[Row], expected: str) -> list[Problem]:
    """One problem for each row with a number that cannot be used."""
    problems = []
    for branch, row in enumerate(rows):
        bad = ~np.isfinite(row) | ((row < 0.0) & (what == "conductance"))
        if bad.any():
            world = int(np.argmax(bad))
            problems.append(
                Problem(
                    says=f"{what} of branch {branch} is {row[world]} in world {world}",
                    expected=expected,
                )
            )
    return problems
