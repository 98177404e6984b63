"""What a lead, a tachometer or an eye can see of a car, as smooth quantities on a working scale.

A latent's value x lives on a scale where parts' tolerances act nearly linearly and a meter's
percentage is nearly a constant: volts as asinh(V / 50 mV), ohms as ln(R + 1 ohm), speeds, times and
currents as logarithms, everything else as it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

import numpy as np

from idlewright.model.scalars import FloatArray
from idlewright.model.worlds import Gradient, Worlds, combine, gather

if TYPE_CHECKING:
    from idlewright.model.physics_of import Physics

VOLT_KNEE = 0.01
"""V. A few times the last digit of a good meter: the drop of a joint is as uneven as its ohms, from
a millivolt to a tenth of a volt on a good car, and above the knee that is a straight line."""
OHM_KNEE = 1.0
REACH = 1.645
"""Standard deviations from the middle of a bell to the ends of its central 90 %."""

State = tuple[tuple[str, str], ...]
ScaleName = Literal["volt", "ohm", "log", "linear"]


def freeze(state: Mapping[str, str]) -> State:
    """A state as a hashable key."""
    return tuple(sorted(state.items()))


def to_scale(scale: ScaleName, value: FloatArray | float) -> FloatArray:
    """Working coordinate of values in their own unit."""
    value = np.asarray(value, dtype=float)
    if scale == "volt":
        return np.arcsinh(value / VOLT_KNEE)
    if scale == "ohm":
        return np.log(np.maximum(value, 0.0) + OHM_KNEE)
    if scale == "log":
        return np.log(np.maximum(value, 1e-12))
    return value


def from_scale(scale: ScaleName, x: FloatArray) -> FloatArray:
    """Value in its own unit of a working coordinate."""
    x = np.asarray(x, dtype=float)
    if scale == "volt":
        return VOLT_KNEE * np.sinh(np.clip(x, -30.0, 30.0))
    if scale == "ohm":
        return np.exp(np.minimum(x, 60.0)) - OHM_KNEE
    if scale == "log":
        return np.exp(np.minimum(x, 60.0))
    return x


def slope_of_scale(scale: ScaleName, value: FloatArray | float) -> FloatArray:
    """d x / d value at a value in its own unit."""
    value = np.asarray(value, dtype=float)
    if scale == "volt":
        return 1.0 / np.sqrt(value**2 + VOLT_KNEE**2)
    if scale == "ohm":
        return 1.0 / (np.maximum(value, 0.0) + OHM_KNEE)
    if scale == "log":
        return 1.0 / np.maximum(value, 1e-12)
    return np.ones_like(value)


def spread_on_scale(
    scale: ScaleName, value: FloatArray | float, spread: FloatArray | float
) -> FloatArray:
    """A standard uncertainty (own unit) at a value, on the working scale.

    On the scale of volts it is taken from one end of the central 90 % to the other: near zero a
    noise of tenths of a volt reaches over the knee, and the slope at the value alone would make it
    many times too large.
    """
    if scale == "volt":
        value, reach = np.asarray(value, dtype=float), REACH * np.asarray(spread)
        way = to_scale(scale, value + reach) - to_scale(scale, value - reach)
        return np.asarray(way / (2.0 * REACH))
    return np.asarray(spread * slope_of_scale(scale, value))


def noise_in_unit(scale: ScaleName, noise: float, value: float) -> float:
    """A check's own `noise` at a value, in the value's unit: a share where readings are logarithms.

    Volts are not: their scale is linear near zero, and the file gives their noise in volts.
    """
    return noise * abs(value) if scale in ("ohm", "log") else noise


class Latent(Protocol):
    """One observable quantity of a car in one state."""

    @property
    def scale(self) -> ScaleName:
        """Working scale of x."""
        ...

    @property
    def unit(self) -> str:
        """Unit of the value."""
        ...

    def evaluate(self, physics: Physics, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        """x (W,) and its gradient by scalar coordinates."""
        ...


@dataclass(frozen=True, slots=True)
class VoltBetween:
    """What a voltmeter of the given input resistance shows between two nodes."""

    red: str
    black: str
    state: State
    input_ohm: float
    scale: ScaleName = "volt"
    unit: str = "V"

    def evaluate(self, physics: Physics, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        """asinh of the volts shown, and its gradient."""
        circuit = physics.circuit(self.state)
        port = circuit.port(worlds, self.red, self.black)
        share = self.input_ohm / (self.input_ohm + port.ohms)
        volts = port.volts * share
        slope = slope_of_scale("volt", volts)
        by_ohms = -volts * port.ohms / (self.input_ohm + port.ohms) * slope
        by_volts = slope * share
        by_lnr = by_volts * port.by_lnr + by_ohms * port.ohms_by_lnr
        gradient = circuit.pull_back(worlds, port, by_lnr, by_volts * port.by_emf)
        return to_scale("volt", volts), gradient


@dataclass(frozen=True, slots=True)
class OhmBetween:
    """What an ohmmeter shows between two nodes of a dead circuit."""

    red: str
    black: str
    state: State
    scale: ScaleName = "ohm"
    unit: str = "ohm"

    def evaluate(self, physics: Physics, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        """Log of the ohms shown, and its gradient."""
        circuit = physics.circuit(self.state)
        port = circuit.port(worlds, self.red, self.black)
        factor = port.ohms / (port.ohms + OHM_KNEE)
        gradient = circuit.pull_back(worlds, port, factor * port.ohms_by_lnr, None)
        return to_scale("ohm", port.ohms), gradient


@dataclass(frozen=True, slots=True)
class ScalarAt:
    """A scalar read directly (an angle, a gap, an area seen by eye)."""

    scalar: str
    state: State
    scale: ScaleName
    unit: str

    def evaluate(self, physics: Physics, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        """The scalar's coordinate; 0, moved by nothing, in a state where it does not count."""
        position = physics.present(self.state).get(self.scalar)
        if position is None:
            empty = Gradient(np.empty(0, dtype=np.int64), np.empty((0, worlds.width)))
            return to_scale(self.scale, np.zeros(worlds.width)), empty
        value = worlds.values[position]
        factor = slope_of_scale(self.scale, value) * worlds.slope(position)
        return to_scale(self.scale, value), gather([(position, factor)], worlds.width)


@dataclass(frozen=True, slots=True)
class EngineOutput:
    """Speed (rpm) or vacuum (kPa below ambient) of the engine idling in one state."""

    kind: Literal["speed", "vacuum"]
    state: State
    scale: ScaleName
    unit: str

    def evaluate(self, physics: Physics, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        """Log speed or plain vacuum, and its gradient."""
        value, gradient = physics.engine(self.state).output(worlds, self.kind)
        return to_scale(self.scale, value), gradient.scaled(slope_of_scale(self.scale, value))


@dataclass(frozen=True, slots=True)
class EngineChange:
    """Change of speed or vacuum from one state to another."""

    kind: Literal["speed", "vacuum"]
    state: State
    versus: State
    unit: str
    scale: ScaleName = "linear"

    def evaluate(self, physics: Physics, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        """Difference of the two outputs, and its gradient."""
        here, d_here = physics.engine(self.state).output(worlds, self.kind)
        there, d_there = physics.engine(self.versus).output(worlds, self.kind)
        one = np.ones(worlds.width)
        return here - there, combine([(one, d_here), (-one, d_there)], worlds.width)


@dataclass(frozen=True, slots=True)
class SpeedOverTarget:
    """ln(speed in a state / the speed the computer aims at): which side of its reach it is on."""

    state: State
    target: str
    scale: ScaleName = "linear"
    unit: str = "1"

    def evaluate(self, physics: Physics, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        """Log of speed over target, and its gradient."""
        speed, d_speed = physics.engine(self.state).output(worlds, "speed")
        position = physics.present(self.state)[self.target]
        target = worlds.values[position]
        d_target = gather([(position, worlds.slope(position) / target)], worlds.width)
        gradient = combine(
            [(1.0 / speed, d_speed), (-np.ones(worlds.width), d_target)], worlds.width
        )
        return np.log(speed / target), gradient


@dataclass(frozen=True, slots=True)
class MotorOutput:
    """A motor driven in one state: margin over breaking free (ln), volts, seconds, ampere."""

    kind: Literal["margin", "volts_turning", "volts_stalled", "seconds", "amp"]
    motor: str
    state: State
    scale: ScaleName
    unit: str

    def evaluate(self, physics: Physics, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        """The output on its scale, and its gradient."""
        value, gradient = physics.motor(self.motor, self.state).output(worlds, self.kind)
        return to_scale(self.scale, value), gradient.scaled(slope_of_scale(self.scale, value))
