"""A plunger motor driven in one car state, on the circuit it sees there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from idlewright.family.kinds import Family
from idlewright.model.circuit import CircuitState, PortReading
from idlewright.model.scalars import FloatArray, ScalarTable
from idlewright.model.worlds import Gradient, Worlds, gather
from idlewright.physics.mechanism import MotorOnSupply, motor_sensitivity

MotorKind = Literal["margin", "volts_turning", "volts_stalled", "seconds", "amp"]

OUTPUT_OF_KIND: Mapping[MotorKind, str] = {
    "margin": "margin",
    "volts_turning": "turning_volt",
    "volts_stalled": "stall_volt",
    "seconds": "seconds",
    "amp": "stall_amp",
}

MOTOR_SCALARS: Mapping[str, str] = {
    "winding_ohm": "ohm",
    "run_amp": "run_amp",
    "break_amp": "break_amp",
    "volt_s_per_mm": "volt_s_per_mm",
    "stroke_mm": "stroke_mm",
}
"""Input of the motor's equations -> last part of its scalar's id."""
COIL_SCALARS: Mapping[str, str] = {"winding_ohm": "ohm", "break_amp": "pull_amp"}
NEVER_TURNS = np.ones(1)
"""What a coil has for the inputs that only matter while a motor turns; nothing reads them."""

SIGNED = frozenset({"volts_turning", "volts_stalled", "amp"})


class MotorState:
    """Margin over breaking free, terminal volts, travel time and current of one motor.

    The circuit without the winding is a Thevenin source; `physics.mechanism` does the rest.
    """

    def __init__(
        self, family: Family, table: ScalarTable, motor: str, state: Mapping[str, str]
    ) -> None:
        self._motor = family.motors[motor]
        self._circuit = CircuitState(family, table, state, without=frozenset({motor}))
        present = table.in_state(state)
        scalars = COIL_SCALARS if self._motor.coil else MOTOR_SCALARS
        self._at = {name: present[f"{motor}.{key}"] for name, key in scalars.items()}

    def output(self, worlds: Worlds, kind: MotorKind) -> tuple[FloatArray, Gradient]:
        """Value (W,) and gradient by coordinate; volts in V, seconds in s, amp in A, margin ln."""
        key = ("motor", id(self), kind)
        if key not in worlds.memo:
            worlds.memo[key] = self._output(worlds, kind)
        result: tuple[FloatArray, Gradient] = worlds.memo[key]
        return result

    def _output(self, worlds: Worlds, kind: MotorKind) -> tuple[FloatArray, Gradient]:
        key = ("motor", id(self))
        if key not in worlds.memo:
            worlds.memo[key] = self._solve(worlds)
        port, motor, by_input = worlds.memo[key]
        name = OUTPUT_OF_KIND[kind]
        value, gradient = getattr(motor, name), self._gradient(worlds, port, by_input, name)
        if kind not in SIGNED:
            return value, gradient
        # A reading of a driven motor is taken with the leads the way that shows a positive number.
        sign = np.where(port.volts < 0, -1.0, 1.0)
        return value * sign, gradient.scaled(sign)

    def _solve(
        self, worlds: Worlds
    ) -> tuple[PortReading, MotorOnSupply, Mapping[str, MotorOnSupply]]:
        """What the motor sees, what it does, and how that moves with each of its inputs."""
        port = self._circuit.port(worlds, self._motor.a, self._motor.b)
        inputs = dict.fromkeys(MOTOR_SCALARS, NEVER_TURNS)
        inputs |= {name: worlds.values[position] for name, position in self._at.items()}
        inputs["supply_volt"] = port.volts
        inputs["supply_ohm"] = port.ohms
        return port, *motor_sensitivity(inputs)

    def _gradient(
        self,
        worlds: Worlds,
        port: PortReading,
        by_input: Mapping[str, MotorOnSupply],
        name: str,
    ) -> Gradient:
        """Chain rule from the motor's inputs through its supply to scalar coordinates."""
        by_volt = getattr(by_input["supply_volt"], name)
        by_ohm = getattr(by_input["supply_ohm"], name) * port.ohms
        by_lnr = by_volt * port.by_lnr + by_ohm * port.ohms_by_lnr
        supply = self._circuit.pull_back(worlds, port, by_lnr, by_volt * port.by_emf)
        own = [
            (p, getattr(by_input[key], name) * worlds.slope(p))
            for key, p in self._at.items()
        ]
        through = [(int(p), supply.value[k]) for k, p in enumerate(supply.index)]
        return gather([*through, *own], worlds.width)
