"""The practice car's state and the time and money spent on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family
from idlewright.plan.setup import Journey, SetUp


@dataclass(slots=True)
class Spent:
    """What a job has cost so far.

    Attributes:
        hands_on, waiting: minutes. parts: money. lead_days: longest wait for a part.
    """

    hands_on: float = 0.0
    waiting: float = 0.0
    parts: float = 0.0
    lead_days: float = 0.0


@dataclass(slots=True)
class Bench:
    """The car's state, how long its fading values last, and what was spent.

    Attributes:
        family: its state variables. state: the state now. spent: so far.
        minute: minutes since the job began, waiting included.
    """

    family: Family
    state: dict[str, str]
    spent: Spent = field(default_factory=Spent)
    minute: float = 0.0
    _left: dict[str, float] = field(default_factory=dict)
    _setup: SetUp | None = None

    @property
    def setup(self) -> SetUp:
        """The state machine."""
        if self._setup is None:
            self._setup = SetUp(self.family.states)
        return self._setup

    def needs(self, state: Mapping[str, str]) -> dict[str, str]:
        """What a check or repair made in `state` asks for: free variables only where it says so."""
        wanted = {v.name: v.values[0] for v in self.family.states.values() if not v.free}
        return {**wanted, **state}

    def go(self, needs: Mapping[str, str], what: str) -> Journey:
        """Bring the car into a state, paying for it.

        Raises:
            BadInput: it cannot be reached.
        """
        wanted = {name: value for name, value in needs.items() if name in self.family.states}
        journey = self.setup.reach(self.state, wanted)
        if journey is not None:
            passed = journey.minutes + journey.wait
            stale, _ = self.setup.later(self.state, self._left, passed)
            if any(stale[name] != self.state[name] for name in self.state if name in wanted):
                # Something it relies on fades on the way: treat it as gone from the start.
                journey = self.setup.reach(stale, wanted)
        if journey is None:
            raise BadInput(
                Problem(
                    says=f"the car cannot be got ready for {what}",
                    expected=", ".join(f"{n} = {v}" for n, v in wanted.items()),
                    remedy="see the family's [state]: what each value needs first",
                )
            )
        moved = {move.name for move in journey.moves}
        passed = journey.minutes + journey.wait
        self._left = {n: t - passed for n, t in self._left.items() if n not in moved}
        self.state = dict(journey.state)
        self._pay(journey.minutes, journey.wait)
        return journey

    def work(self, minutes: float, wait: float, leaves: Mapping[str, str]) -> None:
        """Spend time on the car as it stands, then leave it changed."""
        self.state, self._left = self.setup.later(self.state, self._left, minutes + wait)
        for name, value in leaves.items():
            self.state[name] = value
            self._left.pop(name, None)
        self._pay(minutes, wait)

    def _pay(self, minutes: float, wait: float) -> None:
        self.spent.hands_on += minutes
        self.spent.waiting += wait
        self.minute += minutes + wait
