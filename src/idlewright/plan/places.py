"""Numbered car states, and what it costs to go from each of them to each action.

The look-ahead meets the same few car states again and again, so each is numbered once (a *place*)
and its row of set-up costs is filled when first asked for. A fading value's remaining time is kept
in quarters of its life: the look-ahead is that coarse, while the real job knows its own clock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.plan.outlook import Floats, Ints, Tariff
from idlewright.plan.setup import Journey, SetUp, State

QUARTERS = 4
"""Parts in which the look-ahead counts down a fading state."""


@dataclass(frozen=True, slots=True)
class Visit:
    """What an action asks of the car and does to it: needs, what it leaves, minutes it takes."""

    needs: State
    leaves: State
    minutes: float


Key = tuple[tuple[tuple[str, str], ...], tuple[tuple[str, int], ...]]


class Places:
    """Car states met so far, numbered from 0.

    Args:
        setup: the car's state machine.
        tariff: prices of minutes.
        visits: one per action; their order numbers the columns of `price` and `next`.

    Attributes:
        price: (S, A) set-up money from each place to each action, inf where impossible. A row is
            valid only after `fill`.
        next: (S, A) place after the action.
    """

    def __init__(self, setup: SetUp, tariff: Tariff, visits: Sequence[Visit]) -> None:
        self.setup = setup
        self._tariff = tariff
        self._names = _names_that_matter(setup, visits)
        self._fading = any(setup.variables[name].fades for name in self._names)
        self._groups = self._group(visits)
        self._number: dict[Key, int] = {}
        self._keys: list[Key] = []
        actions = len(visits)
        self.price: Floats = np.full((16, actions), np.inf)
        self.next: Ints = np.zeros((16, actions), dtype=np.intp)
        self._filled = np.zeros((16, len(self._groups)), dtype=bool)
        self._group_of = np.zeros(actions, dtype=np.intp)
        for index, (_, members) in enumerate(self._groups):
            self._group_of[members] = index

    def place(self, state: State, left: Mapping[str, float] | None = None) -> int:
        """The number of a car state; `left` holds the minutes left of its fading values."""
        return self._intern(state, left or {})

    def state(self, place: int) -> dict[str, str]:
        """The state variables that matter at a place."""
        return dict(self._keys[place][0])

    def journey(self, place: int, needs: State) -> Journey | None:
        """The cheapest journey from a place to `needs`, or None."""
        journey = self.setup.reach(self.state(place), needs)
        if journey is None or not self._fading:
            return journey
        left = self._left(place)
        _, rest = self.setup.later(self.state(place), left, journey.minutes + journey.wait)
        if all(name in rest or name not in needs for name in left):
            return journey
        # A value it relies on fades on the way: treat it as gone from the start.
        stale, _ = self.setup.later(self.state(place), left, journey.minutes + journey.wait)
        return self.setup.reach(stale, needs)

    def fill(self, places: Ints, actions: Ints) -> None:
        """Make `price` and `next` valid for these places (any shape) and these action columns."""
        groups = np.unique(self._group_of[actions])
        for place in np.unique(places):
            for group in groups[~self._filled[place, groups]]:
                self._fill(int(place), int(group))

    def _fill(self, place: int, group: int) -> None:
        visit, members = self._groups[group]
        self._filled[place, group] = True
        journey = self.journey(place, visit.needs)
        if journey is None:
            return
        spent = self._tariff.minute * journey.minutes + self._tariff.waiting * journey.wait
        state = {**journey.state, **visit.leaves}
        left: dict[str, float] = {}
        if self._fading:
            passed = journey.minutes + journey.wait
            moved = {move.name for move in journey.moves} | set(visit.leaves)
            kept = {n: v - passed for n, v in self._left(place).items() if n not in moved}
            state, left = self.setup.later(state, kept, visit.minutes)
        there = self._intern(state, left)
        self.price[place, members] = spent
        self.next[place, members] = there

    def _intern(self, state: State, left: Mapping[str, float]) -> int:
        values = tuple((name, state[name]) for name in self._names if name in state)
        quarters = tuple(
            (name, self._quarters(name, state[name], left))
            for name in self._names
            if name in state and state[name] in self.setup.variables[name].fades
        )
        key = (values, quarters)
        number = self._number.get(key)
        if number is None:
            number = self._number[key] = len(self._keys)
            self._keys.append(key)
            if number >= len(self.price):
                self._grow()
        return number

    def _quarters(self, name: str, value: str, left: Mapping[str, float]) -> int:
        lasts, _ = self.setup.variables[name].fades[value]
        return max(1, round(QUARTERS * min(left.get(name, lasts), lasts) / lasts))

    def _left(self, place: int) -> dict[str, float]:
        values, quarters = self._keys[place]
        state = dict(values)
        return {
            name: quarter / QUARTERS * self.setup.variables[name].fades[state[name]][0]
            for name, quarter in quarters
        }

    def _grow(self) -> None:
        more = len(self.price)
        self.price = np.concatenate([self.price, np.full_like(self.price, np.inf)])
        self.next = np.concatenate([self.next, np.zeros_like(self.next)])
        self._filled = np.concatenate(
            [self._filled, np.zeros((more, self._filled.shape[1]), dtype=bool)]
        )

    def _group(self, visits: Sequence[Visit]) -> list[tuple[Visit, Ints]]:
        """Actions that differ in nothing a car state can show share one column of work."""
        members: dict[tuple[object, ...], list[int]] = {}
        first: dict[tuple[object, ...], Visit] = {}
        for index, visit in enumerate(visits):
            key = (
                tuple(sorted(visit.needs.items())), tuple(sorted(visit.leaves.items())),
                visit.minutes if self._fading else 0.0,
            )
            members.setdefault(key, []).append(index)
            first.setdefault(key, visit)
        return [(first[key], np.array(ids, dtype=np.intp)) for key, ids in members.items()]


def _names_that_matter(setup: SetUp, visits: Sequence[Visit]) -> list[str]:
    """State variables some action names, and those their changes need in turn."""
    pending = {name for visit in visits for name in (*visit.needs, *visit.leaves)}
    found: set[str] = set()
    while pending:
        name = pending.pop()
        if name in found or name not in setup.variables:
            continue
        found.add(name)
        variable = setup.variables[name]
        pending.update(other for needs in variable.needs.values() for other in needs)
        if variable.fades:
            pending.update(other for needs in variable.needs.values() for other in needs)
    return sorted(found)
