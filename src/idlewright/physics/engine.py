"""Static idle balance: the speed and manifold pressure at which an engine settles.

The equations stand in `idle_equations`; here they are solved for many engines at once, with exact
derivatives. Air fixes speed as a falling function of manifold pressure, and along that curve the
torque made over the torque needed rises with pressure (but for the last few percent below ambient,
see docs/physics.md), so the one balance is found by Newton's method held inside a bracket.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from idlewright.errors import BadInput, Problem
from idlewright.physics.idle_equations import (
    IDLE_DEFAULTS,
    IDLE_INPUTS,
    SHAPE,
    STALL_RPM,
    EngineShape,
    Equations,
    Slopes,
)

Array = npt.NDArray[np.float64]

__all__ = [
    "IDLE_DEFAULTS",
    "IDLE_INPUTS",
    "LEAK_FUEL_SHARE",
    "MODEL_SPEED_SHARE",
    "SHAPE",
    "STALL_RPM",
    "EngineShape",
    "IdleBalance",
    "Sensitivity",
    "air_area_for",
    "idle_balance",
    "idle_sensitivity",
    "torque_scale_for",
]

LEAK_FUEL_SHARE: Final[Mapping[str, float]] = {
    "airflow-meter": 0.0,
    "carburettor": 0.7,
    "speed-density": 1.0,
}
"""Share of the fuel it needs that leaking air gets.

A flow meter never sees the leak; a computer that meters by manifold pressure fuels it whole. A
carburettor's idle circuit is driven by manifold vacuum, which a leak hardly moves, so by itself it
would answer little; what answers is its mixture control, over most of its range but not all. Common
practice, no source: 0.5 to 0.9. docs/physics.md shows what 0.7 does."""

MODEL_SPEED_SHARE: Final = 0.03
"""Standard uncertainty of a predicted speed as a share of it, once the model is fitted to the
engine's own idle speed (reasoning and measured budget in docs/physics.md)."""


class IdleBalance(NamedTuple):
    """Where the engine settles; arrays of shape (W,).

    Attributes:
        speed_rpm: engine speed; `STALL_RPM` where it stalls.
        manifold_kpa: absolute manifold pressure there.
        mixture_lambda: resulting air-fuel equivalence ratio.
        margin: ln(indicated / needed torque) at `STALL_RPM`; below 0 the engine stalls.
    """

    speed_rpm: Array
    manifold_kpa: Array
    mixture_lambda: Array
    margin: Array


Sensitivity = dict[str, tuple[Array, Array, Array]]
"""Input name -> derivatives of (speed_rpm, manifold_kpa, margin) by that input in its own unit."""


def idle_balance(inputs: Mapping[str, npt.ArrayLike], shape: EngineShape = SHAPE) -> IdleBalance:
    """Speed, manifold pressure and mixture at which each engine settles.

    Args:
        inputs: every name of `IDLE_INPUTS`, each broadcastable to (W,). shape: model constants.

    Returns:
        Arrays of shape (W,).

    Raises:
        BadInput: a name missing or unknown, or a value without meaning .
    """
    world = Equations(inputs, shape)
    point = _settle(world)
    return IdleBalance(point.speed, point.pressure, world.mixture, point.margin)


def idle_sensitivity(
    inputs: Mapping[str, npt.ArrayLike], shape: EngineShape = SHAPE
) -> tuple[IdleBalance, Sensitivity]:
    """`idle_balance` and its exact derivatives by every input (implicit function theorem).

    Where the engine stalls, speed does not move and manifold pressure moves as at `STALL_RPM`.

    Raises:
        BadInput: as `idle_balance`.
    """
    world = Equations(inputs, shape)
    point = _settle(world)
    stalls = point.margin < 0.0
    floor = Slopes(world, point.floor_pressure, np.full_like(point.speed, STALL_RPM))
    here = Slopes(world, point.pressure, point.speed)
    total = here.torque_by_pressure + here.torque_by_speed * here.speed_by_pressure
    found: Sensitivity = {}
    for name in IDLE_INPUTS:
        d_floor = -floor.speed_by[name] / floor.speed_by_pressure
        d_margin = floor.torque_by[name] + floor.torque_by_pressure * d_floor
        d_pressure = -(here.torque_by[name] + here.torque_by_speed * here.speed_by[name]) / total
        d_speed = point.speed * (here.speed_by[name] + here.speed_by_pressure * d_pressure)
        found[name] = (
            np.where(stalls, 0.0, d_speed),
            np.where(stalls, d_floor, d_pressure),
            d_margin,
        )
    return IdleBalance(point.speed, point.pressure, world.mixture, point.margin), found


def torque_scale_for(
    speed_rpm: npt.ArrayLike,
    manifold_kpa: npt.ArrayLike,
    inputs: Mapping[str, npt.ArrayLike],
    shape: EngineShape = SHAPE,
) -> Array:
    """The `torque_scale` at which this engine balances at that speed and absolute pressure. (W,).

    Torque alone decides it: `air_mm2` matters only through the mixture, when some leaking air goes
    without fuel. `torque_scale` of `inputs` is ignored.

    Raises:
        BadInput: as `idle_balance`, or a pressure outside what the engine can breathe at.
    """
    wide, (speed, pressure) = _widened(inputs, speed_rpm, manifold_kpa)
    world = Equations({**wide, "torque_scale": 1.0}, shape)
    if not np.all((pressure > world.lowest_kpa) & (pressure < world.get["ambient_kpa"])):
        raise BadInput(
            Problem(
                "manifold pressure out of reach",
                expected="an absolute pressure in kPa, below ambient",
                remedy="turn a vacuum gauge reading into ambient minus vacuum",
            )
        )
    scale: Array = np.exp(-world.torque_residual(pressure, np.log(speed)))
    return scale


def air_area_for(
    speed_rpm: npt.ArrayLike,
    inputs: Mapping[str, npt.ArrayLike],
    shape: EngineShape = SHAPE,
) -> Array:
    """The `air_mm2` that gives a wanted speed with everything else as in `inputs`. mm2, (W,).

    Closed form: the torque equation is linear in pressure at a given speed, and the air equation
    then gives the area. Only with a leak that goes partly without fuel does the mixture depend on
    the area; then the two are repeated until they agree. `air_mm2` of `inputs` is the start.

    Raises:
        BadInput: as `idle_balance`, or no area gives that speed.
    """
    wide, (speed,) = _widened(inputs, speed_rpm)
    for _ in range(200):
        world = Equations(wide, shape)
        area = world.area_at(speed) - world.get["leak_mm2"]
        if not np.all(np.isfinite(area) & (area > 0.0)):
            break
        if np.all(np.abs(area - world.get["air_mm2"]) <= 1e-12 * area):
            return area
        wide["air_mm2"] = area
    raise BadInput(
        Problem(
            "no air area gives that speed",
            expected="a speed this engine can idle at with its load, mixture and leak",
            remedy="check the idle speed, the displacement and the torque calibration",
        )
    )


class _Point(NamedTuple):
    pressure: Array
    speed: Array
    margin: Array
    floor_pressure: Array


_NARROW: Final = 25.0
"""Bracket in z: pressure is lowest + (ambient - lowest) / (1 + exp(-z)), so +-25 is within 1e-11
of either end. In z both equations are nearly straight towards both ends, which Newton likes."""


def _settle(world: Equations) -> _Point:
    """Solve the air equation at the stall speed, then the balance at or below that pressure."""
    floor_log = np.log(STALL_RPM)
    span = world.get["ambient_kpa"] - world.lowest_kpa
    low = np.full_like(span, -_NARROW)

    def pressure_of(z: Array) -> tuple[Array, Array]:
        rise = 1.0 / (1.0 + np.exp(-z))
        return world.lowest_kpa + span * rise, span * rise / (1.0 + np.exp(z))

    def air(z: Array) -> tuple[Array, Array]:
        pressure, dp = pressure_of(z)
        return floor_log - world.log_speed(pressure), -world.log_speed_slope(pressure) * dp

    def torque(z: Array) -> tuple[Array, Array]:
        pressure, dp = pressure_of(z)
        log_speed = world.log_speed(pressure)
        by_speed = world.heat_kept(log_speed)[1]
        needed = world.needed_kpa(pressure, log_speed)
        by_speed = by_speed - world.friction_kpa(log_speed)[1] / needed
        slope = 1.0 / (pressure - world.lowest_kpa) + 1.0 / needed
        slope = slope + by_speed * world.log_speed_slope(pressure)
        residual = np.where(stalls, 0.0, world.torque_residual(pressure, log_speed))
        return residual, np.where(stalls, 1.0, slope * dp)

    z_floor = _rising_root(air, np.full_like(span, -1.0), low, -low)
    floor_pressure = pressure_of(z_floor)[0]
    margin = world.torque_residual(floor_pressure, np.full_like(span, floor_log))
    stalls = margin < 0.0  # no root below: hold these columns where they are
    z = _rising_root(torque, np.where(stalls, z_floor, np.minimum(z_floor, -1.0)), low, z_floor)
    pressure = pressure_of(z)[0]
    speed = np.where(stalls, STALL_RPM, np.exp(world.log_speed(pressure)))
    return _Point(pressure, speed, margin, floor_pressure)


def _rising_root(
    function: Callable[[Array], tuple[Array, Array]], start: Array, low: Array, high: Array
) -> Array:
    """Root of a rising function, all columns at once: Newton where it stays inside the bracket.

    Args:
        function: z (W,) -> value and slope. start, low, high: (W,), low < start < high.

    Returns:
        z (W,), to about 1e-13; an end of the bracket where the function has no root inside.
    """
    z = start
    for _ in range(100):
        value, slope = function(z)
        low = np.where(value < 0.0, z, low)
        high = np.where(value < 0.0, high, z)
        newton = z - value / np.where(slope > 0.0, slope, np.inf)
        inside = (slope > 0.0) & (newton >= low) & (newton <= high)
        moved = np.where(inside, newton, 0.5 * (low + high))
        if np.all(np.abs(moved - z) <= 1e-13 * (1.0 + np.abs(z))):
            return moved
        z = moved
    return z


def _widened(
    inputs: Mapping[str, npt.ArrayLike], *values: npt.ArrayLike
) -> tuple[dict[str, npt.ArrayLike], list[Array]]:
    """Inputs and values broadcast together to (W,); `BadInput` unless the values are above 0."""
    width = np.broadcast_shapes((1,), *(np.shape(v) for v in (*inputs.values(), *values)))
    found = [np.broadcast_to(np.asarray(v, dtype=np.float64), width) for v in values]
    if not all(np.all(np.isfinite(v) & (v > 0.0)) for v in found):
        raise BadInput(Problem("speed or pressure not above zero", expected="rpm, kPa absolute"))
    return {name: np.broadcast_to(value, width) for name, value in inputs.items()}, found
