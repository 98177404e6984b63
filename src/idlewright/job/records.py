"""A reading and a car's state as a program that uses Idlewright writes them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family
from idlewright.family.names import did_you_mean
from idlewright.plan.setup import Journey, SetUp


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as it goes into a job: at a check, or between any two places.

    Attributes:
        id: any name, unique in the job. value: as typed ("0.52 V", "OL", "turns, 6.2 V").
        check: check id; or red, black, function ("volt", "ohm", "volt_ac") and state.
        meter: id of a meter of the job. struck: why it does not count.
    """

    id: str
    value: str
    check: str | None = None
    red: str | None = None
    black: str | None = None
    function: str | None = None
    state: Mapping[str, str] = field(default_factory=dict)
    meter: str | None = None
    struck: str | None = None

    def line(self) -> dict[str, object]:
        """The reading as a line of a job file (for the `reading` list of `load_job`)."""
        given = {
            "id": self.id,
            "value": self.value,
            "check": self.check,
            "red": self.red,
            "black": self.black,
            "function": self.function,
            "meter": self.meter,
            "struck": self.struck,
        }
        found: dict[str, object] = {key: value for key, value in given.items() if value is not None}
        if self.state:
            found["state"] = dict(self.state)
        return found


@dataclass(frozen=True, slots=True)
class CarState:
    """What a car of a family is in now, as far as it is known.

    Attributes:
        family: from load_family. known: state variable -> value; what is missing is unknown.

    Raises:
        BadInput: a variable or a value that the family does not have.
    """

    family: Family
    known: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        problems = []
        for name, value in self.known.items():
            variable = self.family.states.get(name)
            if variable is None:
                remedy = did_you_mean(name, self.family.states, "state variable")
                problems.append(Problem(f"no state variable {name!r}", remedy=remedy, key=name))
            elif value not in variable.values:
                expected = f"one of {', '.join(variable.values)}"
                problems.append(Problem(f"{name} cannot be {value!r}", expected, key=name))
        if problems:
            raise BadInput(problems)

    def changed(self, **values: str) -> CarState:
        """The state after some variables were changed (dots in names as two underscores)."""
        new = {name.replace("__", "."): value for name, value in values.items()}
        return CarState(self.family, {**self.known, **new})

    def journey(self, needs: Mapping[str, str]) -> Journey:
        """The moves that bring the car into a state, with minutes and cautions.

        Raises:
            BadInput: the state cannot be reached from here.
        """
        found = SetUp(self.family.states).reach(self.known, needs)
        if found is None:
            wanted = ", ".join(f"{name} {value}" for name, value in needs.items())
            raise BadInput(Problem(f"the car cannot be brought to {wanted}", remedy="ask for less"))
        return found
