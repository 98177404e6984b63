"""Numbered car states, and what it costs to go from each of them to each action.

The look-ahead meets the same few car states again and again, so each is numbered once (a *place*)
and its row of set-up costs is filled when first asked for. A fading value's remaining time is kept
in quarters of its life: the look-ahead is that coarse, while the real job knows its own clock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from idlewright.plan.errands import (
    Errand,
    Errands,
    Marks,
    Visit,
    fading_among,
    mark_of,
    ready,
    state_of,
)
from idlewright.plan.outlook import Floats, Ints
from idlewright.plan.setup import Journey, SetUp, State


class Places:
    """Car states met so far, numbered from 0.

    Args:
        errands: on cars of this kind.
        visits: one per action; their order numbers the columns of `price` and `next`.

    Attributes:
        price: (S, A) set-up money from each place to each action, inf where impossible. A row is
            valid only after `fill`.
        next: (S, A) place after the action.
    """

    def __init__(self, errands: Errands, visits: Sequence[Visit]) -> None:
        self._setup = setup = errands.setup
        self._names = _names_that_matter(setup, visits)
        fading = fading_among(setup, self._names)
        wanted = [errands.of(visit, fading) for visit in visits]
        number = {errand: index for index, errand in enumerate(dict.fromkeys(wanted))}
        self._group_of = np.array([number[errand] for errand in wanted], dtype=np.intp)
        self._at = {name: index for index, name in enumerate(self._names)}
        self._groups: list[tuple[Errand, list[int]]] = [
            (errand, [self._at[name] for name in errand.names]) for errand in number
        ]
        self._number: dict[Marks, int] = {}
        self._marks: list[Marks] = []
        self.price: Floats = np.full((16, len(visits)), np.inf)
        self.next: Ints = np.zeros((16, len(visits)), dtype=np.intp)
        self._filled = np.zeros((16, len(self._groups)), dtype=bool)

    def place(self, state: State, left: Mapping[str, float] | None = None) -> int:
        """The number of a car state; `left` holds the minutes left of its fading values."""
        return self._intern(
            tuple(
                [
                    mark_of(self._setup, name, state[name], left or {}) if name in state else None
                    for name in self._names
                ]
            )
        )

    def state(self, place: int) -> dict[str, str]:
        """The state variables that matter at a place."""
        return self._state(place)[0]

    def journey(self, place: int, needs: State) -> Journey | None:
        """The cheapest journey from a place to `needs`, or None."""
        return ready(self._setup, *self._state(place), needs)

    def fill(self, places: Ints, actions: Ints) -> None:
        """Make `price` and `next` valid for these places (any shape) and these action columns."""
        self._fill(self._distinct(places)[0], actions)

    def prices(self, places: Ints, actions: Ints) -> Floats:
        """(N, A) set-up money from each place (N,) to each of some actions (A,)."""
        # Many situations stand at few places: only those rows are gathered from the table.
        rows, which = self._distinct(places)
        self._fill(rows, actions)
        return np.asarray(self.price[rows[:, None], actions][which])

    def _distinct(self, places: Ints) -> tuple[Ints, Ints]:
        """Each of some places once, and which of them each one is."""
        met = np.zeros(len(self._marks), dtype=bool)
        met[places] = True
        return np.flatnonzero(met), (np.cumsum(met) - 1)[places]

    def _fill(self, rows: Ints, actions: Ints) -> None:
        missing = ~self._filled[rows[:, None], self._group_of[actions]]
        if not missing.any():
            return
        rows, wanted = rows[missing.any(axis=1)], np.zeros(len(self._groups), dtype=bool)
        wanted[self._group_of[actions[missing.any(axis=0)]]] = True
        # Actions that share an errand are filled together, asked for or not.
        columns, groups = np.flatnonzero(wanted[self._group_of]), np.flatnonzero(wanted)
        place_of = (np.cumsum(wanted) - 1)[self._group_of[columns]]
        trips = [[self._go(place, group) for group in groups.tolist()] for place in rows.tolist()]
        price, there = zip(*[zip(*row, strict=True) for row in trips], strict=True)
        self.price[rows[:, None], columns] = np.array(price)[:, place_of]
        self.next[rows[:, None], columns] = np.array(there, dtype=np.intp)[:, place_of]
        self._filled[rows[:, None], groups] = True

    def _go(self, place: int, group: int) -> tuple[float, int]:
        """Price of an errand from a place, and the place after it."""
        errand, at = self._groups[group]
        marks = self._marks[place]
        trip = errand.trip(tuple([marks[index] for index in at]))
        if trip is None:
            return np.inf, 0
        if not trip.changes:
            return trip.price, place
        after = list(marks)
        for name, mark in trip.changes:
            after[self._at[name]] = mark
        return trip.price, self._intern(tuple(after))

    def _intern(self, marks: Marks) -> int:
        number = self._number.get(marks)
        if number is None:
            number = self._number[marks] = len(self._marks)
            self._marks.append(marks)
            if number >= len(self.price):
                self._grow()
        return number

    def _state(self, place: int) -> tuple[dict[str, str], dict[str, float]]:
        return state_of(self._setup, dict(zip(self._names, self._marks[place], strict=True)))

    def _grow(self) -> None:
        self.price = np.concatenate([self.price, np.full_like(self.price, np.inf)])
        self.next = np.concatenate([self.next, np.zeros_like(self.next)])
        self._filled = np.concatenate([self._filled, np.zeros_like(self._filled)])


def _names_that_matter(setup: SetUp, visits: Sequence[Visit]) -> list[str]:
    """State variables some action names, and those their changes need in turn."""
    pending = {name for visit in visits for name in (*visit.needs, *visit.leaves)}
    found: set[str] = set()
    while pending:
        name = pending.pop()
        if name in found or name not in setup.variables:
            continue
        found.add(name)
        for needs in setup.variables[name].needs.values():
            pending.update(needs)
    return sorted(found)
