"""How the computer of a family holds the idle speed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Control:
    """How the computer holds idle speed: between the speeds of two states, by an actuator.

    Attributes:
        target: scalar id of the speed it aims at, rpm.
        low, high: states (merged over the check's state) with the actuator fully in and fully out.
        parked: the state the actuator stands in when it cannot move.
        actuator: ids of the motors and coils that must all move for it.
        closed_between, closed_below_v: it holds the speed only while it reads less than so many
            volts between these two places: that is how it knows that the throttle is closed.
    """

    target: str
    low: Mapping[str, str]
    high: Mapping[str, str]
    parked: Mapping[str, str]
    actuator: tuple[str, ...] = ()
    closed_between: tuple[str, str] | None = None
    closed_below_v: float | None = None
