"""Getting the car ready: the cheapest ordered moves from the state it is in to the state needed.

A move changes one state variable to one value and may itself need others first ("key off before
unplugging"), which may then have to be put back. The cheapest order is found by A* over the few
values that can matter, so what one check leaves behind makes the next one cheap or dear.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import count
from typing import NamedTuple

from idlewright.family.kinds import StateVariable

State = Mapping[str, str]
Pair = tuple[str, str]
Values = tuple[str | None, ...]
Waypoint = tuple[float, int, float, Values, tuple[Pair, ...]]
"""Least price by way of it, tie-breaker, price so far, state, moves so far."""

NEARLY_FREE = 1e-6
"""Price of a move that takes no time: among equal journeys the one with fewest moves is taken."""


MOST_KNOWN = 50_000
"""Journeys that are kept; the shipped families have a few hundred."""


@dataclass(frozen=True, slots=True)
class Move:
    """One change to the car's state, with its minutes and the cautions shown before it.

    `before` is "" when it was not known.
    """

    name: str
    before: str
    after: str
    minutes: float
    wait: float
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Journey:
    """Moves in order, their hands-on and waiting minutes, and the state they lead to."""

    moves: tuple[Move, ...]
    minutes: float
    wait: float
    state: State


class _Step(NamedTuple):
    variable: int
    value: str
    price: float
    needs: tuple[tuple[int, str], ...]
    pair: Pair


class SetUp:
    """The car's state variables as a machine that can be driven.

    Args:
        variables: state variables by name.
        minute, waiting: price of a hands-on and of a waiting minute, used to compare journeys.
    """

    def __init__(
        self, variables: Mapping[str, StateVariable], minute: float = 1.0, waiting: float = 0.1
    ) -> None:
        self.variables = variables
        self._minute = minute
        self._waiting = waiting
        self._touched: dict[frozenset[Pair], tuple[str, ...]] = {}
        self._known: dict[tuple[frozenset[Pair], Values], Journey | None] = {}

    def reach(self, state: State, needs: State) -> Journey | None:
        """The cheapest journey from `state` to one in which all of `needs` holds.

        Variables missing from `state` are unknown and have to be set. None if it cannot be done.
        """
        goal = frozenset(needs.items())
        names = self._touched.get(goal) or self.touched(needs)
        key = (goal, tuple([state.get(name) for name in names]))
        if key not in self._known:
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            part = {name: state[name] for name in names if name in state}
            self._known[key] = self._search(part, needs)
        journey = self._known[key]
        return journey and replace(journey, state={**state, **journey.state})

    def touched(self, needs: State) -> tuple[str, ...]:
        """The variables that a journey to `needs` looks at or moves; no others play a part."""
        goal = frozenset(needs.items())
        if goal not in self._touched:
            seen: set[Pair] = set()
            pending = list(needs.items())
            while pending:
                name, value = pair = pending.pop()
                if pair not in seen and name in self.variables:
                    pending += self.variables[name].needs.get(value, {}).items()
                seen.add(pair)
            self._touched[goal] = tuple(sorted({name for name, _ in seen}))
        return self._touched[goal]

    def possible(self, name: str, value: str) -> bool:
        """True if somebody can bring `name` to `value` (its minutes or wait are stated)."""
        variable = self.variables.get(name)
        return variable is not None and (value in variable.minutes or value in variable.wait)

    def stays(self, name: str, state: State) -> bool:
        """True if the present value does not fade now: what was needed to reach it still holds."""
        variable = self.variables[name]
        needs = variable.needs.get(state[name], {})
        return bool(needs) and all(state.get(other) == value for other, value in needs.items())

    def later(
        self, state: State, left: Mapping[str, float], minutes: float
    ) -> tuple[dict[str, str], dict[str, float]]:
        """State after `minutes` have passed, and the minutes left of each value that fades.

        Args:
            state: the state now.
            left: minutes left of fading values; a missing one has just been reached.
            minutes: time passed, >= 0.
        """
        after, remaining = dict(state), dict[str, float]()
        for name, value in state.items():
            variable = self.variables.get(name)
            if variable is None or value not in variable.fades:
                continue
            lasts, turns_into = variable.fades[value]
            rest = lasts if self.stays(name, state) else left.get(name, lasts) - minutes
            if rest > 0.0:
                remaining[name] = rest
                continue
            after[name] = turns_into
            if turns_into in variable.fades:
                remaining[name] = variable.fades[turns_into][0]
        return after, remaining

    def _price(self, name: str, value: str) -> float:
        variable = self.variables[name]
        work = self._minute * variable.minutes.get(value, 0.0)
        return NEARLY_FREE + work + self._waiting * variable.wait.get(value, 0.0)

    def _useful(self, state: State, needs: State) -> list[Pair]:
        """Values worth moving to: unmet needs, what those need, and needs that this would upset."""
        useful: dict[Pair, None] = {}
        pending = [(name, value) for name, value in needs.items() if state.get(name) != value]
        while pending:
            pair = pending.pop()
            if pair in useful or not self.possible(*pair):
                continue
            useful[pair] = None
            for name, value in self.variables[pair[0]].needs.get(pair[1], {}).items():
                pending.append((name, value))
                if name in needs:
                    pending.append((name, needs[name]))
        return sorted(useful)

    def _search(self, state: dict[str, str], needs: State) -> Journey | None:
        useful = self._useful(state, needs)
        names = sorted({name for name, _ in useful})
        index = {name: i for i, name in enumerate(names)}
        if any(state.get(name) != value for name, value in needs.items() if name not in index):
            return None
        steps = self._steps(state, useful, index)
        price = {(step.variable, step.value): step.price for step in steps}
        # What each variable still costs if it is not as needed: never more than what it will cost.
        goals = {i: needs[name] for name, i in index.items() if name in needs}
        still = {i: price.get((i, value), 0.0) for i, value in goals.items()}
        start = tuple(state.get(name) for name in names)
        tie = count()
        first = sum(still[i] for i, value in goals.items() if start[i] != value)
        queue: list[Waypoint] = [(first, next(tie), 0.0, start, ())]
        settled: set[Values] = set()
        while queue:
            bound, _, spent, here, path = heapq.heappop(queue)
            if here in settled:
                continue
            settled.add(here)
            if all(here[i] == value for i, value in goals.items()):
                return self._journey(state, path)
            rest = bound - spent
            for step in steps:
                i = step.variable
                if here[i] == step.value or any(here[j] != v for j, v in step.needs):
                    continue
                there = (*here[:i], step.value, *here[i + 1 :])
                if there in settled:
                    continue
                goal = goals.get(i)
                change = still.get(i, 0.0) * ((here[i] == goal) - (step.value == goal))
                cost = spent + step.price
                heapq.heappush(
                    queue, (cost + rest + change, next(tie), cost, there, (*path, step.pair))
                )
        return None

    def _steps(
        self, state: State, useful: list[Pair], index: Mapping[str, int]
    ) -> list[_Step]:
        """The useful moves, with variables by their index and needs that can change on the way."""
        steps = []
        for name, value in useful:
            needs = self.variables[name].needs.get(value, {})
            if any(state.get(n) != v for n, v in needs.items() if n not in index):
                continue
            wanted = tuple((index[n], v) for n, v in needs.items() if n in index)
            pair = (name, value)
            steps.append(_Step(index[name], value, self._price(*pair), wanted, pair))
        return steps

    def _journey(self, state: dict[str, str], path: tuple[Pair, ...]) -> Journey:
        here, moves = dict(state), list[Move]()
        for name, value in path:
            variable = self.variables[name]
            moves.append(Move(
                name=name, before=here.get(name, ""), after=value,
                minutes=variable.minutes.get(value, 0.0), wait=variable.wait.get(value, 0.0),
                cautions=variable.cautions,
            ))
            here[name] = value
        return Journey(
            moves=tuple(moves), minutes=sum(move.minutes for move in moves),
            wait=sum(move.wait for move in moves), state=here,
        )
