"""What an action costs to get ready for and what it changes, by the few things it looks at.

An errand looks at the variables its needs can touch and at those that fade while it lasts; the rest
of the car's state stands as it is. So few different trips answer for thousands of car states, and
they are the same in every proposal about cars with these variables and prices: they are kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from idlewright.family.kinds import StateVariable
from idlewright.plan.outlook import Tariff
from idlewright.plan.setup import Journey, SetUp, State

QUARTERS = 4
"""Parts in which the look-ahead counts down a fading state."""

MOST_TRIPS = 20_000
"""Trips one errand keeps; the shipped families have a few dozen."""

MOST_CARS = 4
"""Sets of variables and prices whose errands are kept."""

Mark = str | tuple[str, int] | None
"""A variable's value; with the quarters left of its life if it fades; None where not known."""

Marks = tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Visit:
    """What an action asks of the car and does to it: needs, what it leaves, minutes it takes."""

    needs: State
    leaves: State
    minutes: float


@dataclass(frozen=True, slots=True)
class Trip:
    """Money to get the car ready, and the marks that differ after the action."""

    price: float
    changes: tuple[tuple[str, Mark], ...]


class Errand:
    """One action's trips.

    Args:
        setup: the car's state machine. tariff: prices of minutes.
        visit: what the action asks and does.
        fading: the variables whose fading counts.

    Attributes:
        names: the variables it looks at, in the order of the marks it is given.
    """

    def __init__(self, setup: SetUp, tariff: Tariff, visit: Visit, fading: tuple[str, ...]) -> None:
        self._setup = setup
        self._tariff = tariff
        self._visit = visit
        self._fading = fading
        looks = {*setup.touched(visit.needs), *fading}
        for name in fading:
            looks.update(*setup.variables[name].needs.values())
        self.names = tuple(sorted(looks))
        self._known: dict[Marks, Trip | None] = {}

    def trip(self, marks: Marks) -> Trip | None:
        """The trip from a car whose `names` have these marks; None if it cannot be got ready."""
        if marks not in self._known:
            if len(self._known) >= MOST_TRIPS:
                self._known.clear()
            self._known[marks] = self._make(dict(zip(self.names, marks, strict=True)))
        return self._known[marks]

    def _make(self, before: Mapping[str, Mark]) -> Trip | None:
        setup, tariff, visit = self._setup, self._tariff, self._visit
        state, left = state_of(setup, before)
        journey = ready(setup, state, left, visit.needs)
        if journey is None:
            return None
        after, rest = {**journey.state, **visit.leaves}, dict[str, float]()
        if self._fading:
            passed = journey.minutes + journey.wait
            moved = {move.name for move in journey.moves} | set(visit.leaves)
            kept = {name: time - passed for name, time in left.items() if name not in moved}
            after, rest = setup.later(after, kept, visit.minutes)
        marks = {
            name: mark_of(setup, name, value, rest)
            for name, value in after.items()
            if name in setup.variables
        }
        return Trip(
            tariff.minute * journey.minutes + tariff.waiting * journey.wait,
            tuple((name, mark) for name, mark in marks.items() if before.get(name) != mark),
        )


class Errands:
    """The errands of all actions on cars with the same variables and prices.

    Args:
        setup: the car's state machine. tariff: prices of minutes.
    """

    def __init__(self, setup: SetUp, tariff: Tariff) -> None:
        self.setup = setup
        self._tariff = tariff
        self._known: dict[tuple[object, ...], Errand] = {}

    def of(self, visit: Visit, fading: tuple[str, ...]) -> Errand:
        """The errand of a visit; visits that differ in nothing a car state can show share one."""
        key = (
            frozenset(visit.needs.items()),
            frozenset(visit.leaves.items()),
            visit.minutes if fading else 0.0,
            fading,
        )
        if key not in self._known:
            self._known[key] = Errand(self.setup, self._tariff, visit, fading)
        return self._known[key]


_KEPT: list[tuple[Mapping[str, StateVariable], Tariff, Errands]] = []


def errands_for(variables: Mapping[str, StateVariable], tariff: Tariff) -> Errands:
    """The errands on cars with these variables and prices, kept between proposals."""
    for kept, prices, errands in _KEPT:
        if prices == tariff and kept == variables:
            return errands
    made = Errands(SetUp(variables, tariff.minute, tariff.waiting), tariff)
    _KEPT.append((variables, tariff, made))
    del _KEPT[:-MOST_CARS]
    return made


def ready(setup: SetUp, state: State, left: Mapping[str, float], needs: State) -> Journey | None:
    """The cheapest journey to `needs`, minding what fades on the way; None if there is none.

    Args:
        setup: the car's state machine. state: the state now.
        left: minutes left of fading values; a missing one is not counted down.
        needs: what must hold at the end.
    """
    journey = setup.reach(state, needs)
    if journey is None or not left:
        return journey
    stale, rest = setup.later(state, left, journey.minutes + journey.wait)
    if all(name in rest or name not in needs for name in left):
        return journey
    # A value it relies on fades on the way: treat it as gone from the start.
    return setup.reach(stale, needs)


def state_of(setup: SetUp, marks: Mapping[str, Mark]) -> tuple[dict[str, str], dict[str, float]]:
    """The known values of some marks, and the minutes left of those that fade."""
    state, left = dict[str, str](), dict[str, float]()
    for name, mark in marks.items():
        if isinstance(mark, str):
            state[name] = mark
        elif mark is not None:
            state[name], quarter = mark
            left[name] = quarter / QUARTERS * setup.variables[name].fades[mark[0]][0]
    return state, left


def mark_of(setup: SetUp, name: str, value: str, left: Mapping[str, float]) -> Mark:
    """The mark of a variable's value; `left` holds the minutes left of fading values."""
    fades = setup.variables[name].fades
    if value not in fades:
        return value
    lasts, _ = fades[value]
    return value, max(1, round(QUARTERS * min(left.get(name, lasts), lasts) / lasts))


def fading_among(setup: SetUp, names: Iterable[str]) -> tuple[str, ...]:
    """Those of some variables that have values which fade."""
    return tuple(name for name in names if setup.variables[name].fades)
