"""The physics of one family and sheet: circuits, engine, motors by car state, each built once."""

from __future__ import annotations

from collections.abc import Mapping

from idlewright.family.kinds import Family
from idlewright.model.circuit import CircuitState
from idlewright.model.engine_state import EngineState
from idlewright.model.latents import State
from idlewright.model.motor_state import MotorState
from idlewright.model.scalars import ScalarTable


class Physics:
    """Everything that stays the same for one family and sheet, whatever the car's scalars are.

    Args:
        family: expanded family. table: its scalars for this vehicle.
        leak_fuel_share, torque_scale: engine constants (see EngineState).
    """

    def __init__(
        self,
        family: Family,
        table: ScalarTable,
        leak_fuel_share: float,
        torque_scale: float,
    ) -> None:
        self.family = family
        self.table = table
        self._engine_constants = (leak_fuel_share, torque_scale)
        self._circuits: dict[State, CircuitState] = {}
        self._by_topology: dict[tuple[object, ...], CircuitState] = {}
        self._engines: dict[State, EngineState] = {}
        self._motors: dict[tuple[str, State], MotorState] = {}
        self._present: dict[State, Mapping[str, int]] = {}

    def circuit(self, state: State) -> CircuitState:
        """The circuit in a full state."""
        if state not in self._circuits:
            self._circuits[state] = self._shared(CircuitState(self.family, self.table, dict(state)))
        return self._circuits[state]

    def _shared(self, circuit: CircuitState) -> CircuitState:
        """The same object for states that differ only in what the circuit does not see."""
        return self._by_topology.setdefault(circuit.signature, circuit)

    def engine(self, state: State) -> EngineState:
        """The idling engine in a full state."""
        if state not in self._engines:
            self._engines[state] = EngineState(self.table, dict(state), *self._engine_constants)
        return self._engines[state]

    def motor(self, motor: str, state: State) -> MotorState:
        """A driven motor in a full state."""
        key = (motor, state)
        if key not in self._motors:
            self._motors[key] = MotorState(self.family, self.table, motor, dict(state))
        return self._motors[key]

    def present(self, state: State) -> Mapping[str, int]:
        """Scalar id -> position of the scalar that counts in a full state."""
        if state not in self._present:
            self._present[state] = self.table.in_state(dict(state))
        return self._present[state]
