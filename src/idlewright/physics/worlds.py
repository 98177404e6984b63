"""The numbers a circuit is solved for: checked, and sorted into what varies and what does not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.errors import BadInput, Problem
from idlewright.physics.tape import Row

Rows = NDArray[np.float64] | Sequence[NDArray[np.float64] | float]
"""(E, W) or (E, 1) array, or a sequence of E rows of one or W numbers each."""


@dataclass(frozen=True, slots=True)
class Worlds:
    """Checked inputs of E branches in W worlds.

    Attributes:
        rows: 2 E rows, conductances (S) then electromotive forces (V), each (1,) or (W,).
        width: W.
        wide: for each row, True if it has one number per world.
        driven: for each branch, False if its electromotive force is 0 in every world.
        guarded: some conductance is exactly 0 in some world.
    """

    rows: list[Row]
    width: int
    wide: tuple[bool, ...]
    driven: tuple[bool, ...]
    guarded: bool

    @property
    def kind(self) -> tuple[tuple[bool, ...], tuple[bool, ...], bool]:
        """What a program must be compiled for."""
        return self.wide, self.driven, self.guarded


def check_worlds(conductance: Rows, emf: Rows, branches: int) -> Worlds:
    """Check the inputs of a circuit with so many branches.

    Raises:
        BadInput: a wrong shape; a conductance that is negative, NaN or infinite; an electromotive
            force that is NaN or infinite.
    """
    g_rows = _as_rows("conductance", conductance, branches)
    e_rows = _as_rows("emf", emf, branches)
    width = _common_width(g_rows + e_rows)
    lowest, highest = _bounds(conductance, g_rows)
    if not (np.all(lowest >= 0.0) and np.all(highest < np.inf)):
        raise BadInput(_worst("conductance", g_rows, "a finite number of siemens, 0 or more"))
    least, most = _bounds(emf, e_rows)
    if not (np.all(least > -np.inf) and np.all(most < np.inf)):
        raise BadInput(_worst("emf", e_rows, "a finite number of volts"))
    driven = (least != 0.0) | (most != 0.0)
    return Worlds(
        rows=g_rows + e_rows,
        width=width,
        wide=tuple(row.size == width for row in g_rows + e_rows),
        driven=tuple(driven.tolist()),
        guarded=bool(np.any(lowest == 0.0)),
    )


def _as_rows(what: str, values: Rows, branches: int) -> list[Row]:
    """E one-dimensional rows."""
    if isinstance(values, np.ndarray) and values.ndim != 2:
        raise BadInput(
            Problem(
                says=f"{what} has {values.ndim} dimension(s)",
                expected="one row per branch, one column per world",
            )
        )
    if isinstance(values, np.ndarray):
        rows = list(np.ascontiguousarray(values, dtype=np.float64))
    else:
        rows = [np.array(row, dtype=np.float64, ndmin=1) for row in values]
    if len(rows) != branches or any(row.ndim != 1 for row in rows):
        raise BadInput(
            Problem(says=f"{what} has {len(rows)} rows", expected=f"one row for each of {branches}")
        )
    return rows


def _common_width(rows: Sequence[Row]) -> int:
    """The number of worlds; rows of one number fit any."""
    widths = {row.size for row in rows}
    several = widths - {1}
    if len(several) > 1:
        raise BadInput(
            Problem(
                says=f"rows have {', '.join(map(str, sorted(widths)))} worlds",
                expected="the same number of worlds in each row, or one number for all",
            )
        )
    return several.pop() if several else 1


def _bounds(given: Rows, rows: Sequence[Row]) -> tuple[Row, Row]:
    """Least and greatest of each row, NaN where there is one."""
    if isinstance(given, np.ndarray):
        if given.shape[1] == 0:
            return np.ones(len(rows)), np.ones(len(rows))
        return np.asarray(given.min(axis=1)), np.asarray(given.max(axis=1))
    return (
        np.array([row.min(initial=np.inf) for row in rows]),
        np.array([row.max(initial=-np.inf) for row in rows]),
    )


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
