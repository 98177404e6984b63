"""The exact optimum of a small outlook, by plain recursion over beliefs. For tests and studies.

Nothing here is shared with the look-ahead but the car's state machine: rows are Python lists, every
check, repair and ending is tried at every belief, and equal beliefs are met once. Perishable
evidence, repeats, set-up, imperfect repairs, proofs that miss and rows of two faults are all
honoured; fading states are not. It grows without mercy: about eight rows and eight checks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from idlewright.errors import BadInput, Problem
from idlewright.plan.outlook import CheckOption, Outlook, RepairOption
from idlewright.plan.setup import Journey, SetUp

Belief = tuple[float, ...]
Act = tuple[str, str]
"""Kind ("check", "repair", "stop") and id."""

DIGITS = 12
GONE = 1e-13
MOST_STATES = 2_000_000


class Best(NamedTuple):
    """Least expected cost to a proven cure or an ending, and the action to begin with."""

    cost: float
    act: Act


class Spot(NamedTuple):
    """Where a job stands: normalised belief, car state, looks left and repairs tried."""

    belief: Belief
    state: tuple[tuple[str, str], ...]
    left: tuple[int, ...]
    tried: tuple[bool, ...]


class ExactPlan:
    """The exact plan of an outlook.

    Args:
        outlook: a small one; nothing is filtered by tools or money.
        setup: another way to get the car ready than by its state variables.
    """

    def __init__(self, outlook: Outlook, setup: SetUp | None = None) -> None:
        self._outlook = outlook
        self._setup = setup or SetUp(
            outlook.variables, outlook.tariff.minute, outlook.tariff.waiting
        )
        self._known: dict[tuple[object, ...], Best] = {}
        self._journeys: dict[tuple[object, ...], Journey | None] = {}
        self._tables = [check.outcome.T.tolist() for check in outlook.checks]
        self._spoils = [_spoiled(outlook.checks, _check_spoils(c)) for c in outlook.checks]
        self._repair_spoils = [_spoiled(outlook.checks, r.spoils) for r in outlook.repairs]
        self._cure = [repair.cure.tolist() for repair in outlook.repairs]
        rows = len(outlook.weight)
        self._share = [
            [0.0] * rows if r.share is None else r.share.tolist() for r in outlook.repairs
        ]
        self._into = [
            list(range(rows)) if r.into is None else r.into.tolist() for r in outlook.repairs
        ]
        self._endings = [ending.cost.tolist() for ending in outlook.endings]

    def start(self, state: Mapping[str, str]) -> Spot:
        """The outlook's own belief with the car in `state`."""
        return Spot(
            tuple(self._outlook.weight.tolist()), tuple(sorted(state.items())),
            tuple(check.repeats for check in self._outlook.checks),
            (False,) * len(self._outlook.repairs),
        )

    def best(self, spot: Spot) -> Best:
        """Least expected cost from a spot.

        Raises:
            BadInput: the outlook is too large for this.
        """
        key = (tuple([round(w, DIGITS) for w in spot.belief]), *spot[1:])
        found = self._known.get(key)
        if found is None:
            if len(self._known) > MOST_STATES:
                raise BadInput(Problem("the outlook is too large for an exact plan",
                                       "a handful of rows and checks", "use the look-ahead"))
            costs = [(self.cost_of(spot, act), act) for act in self.acts(spot)]
            found = self._known[key] = Best(*min(costs))
        return found

    def acts(self, spot: Spot) -> list[Act]:
        """Everything that can be done at a spot."""
        acts: list[Act] = [("stop", ending.id) for ending in self._outlook.endings]
        acts += [
            ("check", check.id)
            for check, left in zip(self._outlook.checks, spot.left, strict=True)
            if left > 0 and check.allowed and self._journey(spot, check) is not None
        ]
        acts += [
            ("repair", repair.id)
            for repair, tried in zip(self._outlook.repairs, spot.tried, strict=True)
            if not tried and repair.allowed and self._journey(spot, repair) is not None
        ]
        return acts

    def cost_of(self, spot: Spot, act: Act) -> float:
        """Expected cost of an action and the best plan after it."""
        cost, outcomes = self.step(spot, act)
        return cost + sum(chance * self.best(after).cost for chance, after in outcomes)

    def step(self, spot: Spot, act: Act) -> tuple[float, list[tuple[float, Spot]]]:
        """An action's own expected cost, and what may follow it with which chance."""
        kind, name = act
        if kind == "stop":
            index = [ending.id for ending in self._outlook.endings].index(name)
            return _dot(spot.belief, self._endings[index]), []
        if kind == "check":
            return self._look(spot, [c.id for c in self._outlook.checks].index(name))
        return self._mend(spot, [r.id for r in self._outlook.repairs].index(name))

    def _look(self, spot: Spot, index: int) -> tuple[float, list[tuple[float, Spot]]]:
        check, tariff = self._outlook.checks[index], self._outlook.tariff
        journey = self._ready(spot, check)
        cost = check.money + tariff.minute * (journey.minutes + check.minutes)
        cost += tariff.waiting * (journey.wait + check.wait)
        cost += tariff.disturbance if check.disturbs else 0.0
        left = [
            0 if lost else count
            for lost, count in zip(self._spoils[index], spot.left, strict=True)
        ]
        left[index] = min(left[index], spot.left[index] - 1)
        state = _after(journey, check.leaves)
        outcomes = []
        for column in self._tables[index]:
            joint = [b * chance for b, chance in zip(spot.belief, column, strict=True)]
            chance = sum(joint)
            if chance > GONE:
                belief = tuple([mass / chance for mass in joint])
                outcomes.append((chance, Spot(belief, state, tuple(left), spot.tried)))
        return cost, outcomes

    def _mend(self, spot: Spot, index: int) -> tuple[float, list[tuple[float, Spot]]]:
        repair, tariff = self._outlook.repairs[index], self._outlook.tariff
        journey = self._ready(spot, repair)
        cost = sum(repair.parts) / 2.0
        cost += tariff.minute * (journey.minutes + repair.minutes + repair.proof_minutes)
        cost += tariff.waiting * (journey.wait + repair.wait + repair.proof_wait)
        joint = [0.0] * len(spot.belief)
        cures, shares, into = self._cure[index], self._share[index], self._into[index]
        for row, weight in enumerate(spot.belief):
            part = weight * shares[row]
            stays = weight * (1.0 - cures[row]) - part
            cost += tariff.wrong_repair * stays
            joint[row] += stays
            joint[into[row]] += part
        uncured = sum(joint)
        cost += tariff.callback * repair.miss * uncured
        chance = uncured * (1.0 - repair.miss)
        if chance <= GONE:
            return cost, []
        tried = tuple(done or i == index for i, done in enumerate(spot.tried))
        left = tuple(
            0 if lost else count
            for lost, count in zip(self._repair_spoils[index], spot.left, strict=True)
        )
        belief = tuple([mass / uncured for mass in joint])
        return cost, [(chance, Spot(belief, _after(journey, repair.leaves), left, tried))]

    def _journey(self, spot: Spot, action: CheckOption | RepairOption) -> Journey | None:
        key = (spot.state, isinstance(action, CheckOption), action.id)
        if key not in self._journeys:
            self._journeys[key] = self._setup.reach(dict(spot.state), action.needs)
        return self._journeys[key]

    def _ready(self, spot: Spot, action: CheckOption | RepairOption) -> Journey:
        journey = self._journey(spot, action)
        if journey is None:
            raise BadInput(Problem(f"the car cannot be got ready for '{action.id}'"))
        return journey


def _after(journey: Journey, leaves: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted({**journey.state, **leaves}.items()))


def _check_spoils(check: CheckOption) -> tuple[str, ...] | None:
    return check.spoils if check.disturbs or check.spoils else ()


def _spoiled(checks: Sequence[CheckOption], ids: tuple[str, ...] | None) -> list[bool]:
    return [check.perishable and (ids is None or check.id in ids) for check in checks]


def _dot(one: Sequence[float], two: Sequence[float]) -> float:
    return sum(a * b for a, b in zip(one, two, strict=True))
