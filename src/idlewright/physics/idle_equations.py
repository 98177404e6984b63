"""The two equations of a static idle: air in = air taken in, torque made = torque taken.

All pressures absolute, kPa; arrays of shape (W,), one column an engine. With S the flow area and
X = volumetric efficiency x manifold pressure p:

1. *Air.* N = 120 S p_ambient psi(p / p_ambient) sqrt(R T) / ((1 - dilution) X V_d)
2. *Torque*, as mean effective pressures.
   indicated(X, N) = friction(N) + p_exhaust - p + 4 pi load / V_d

X is linear in p, so speed is explicit in p and one unknown is left. Each derivative by an input is
a line of its own in `Slopes`. docs/physics.md gives every term with its source and its limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from idlewright.errors import BadInput, Problem
from idlewright.physics.airflow import AIR_GAS_CONSTANT, flow_function, flow_function_slope

Array = npt.NDArray[np.float64]

IDLE_DEFAULTS: Final[Mapping[str, float]] = {
    "air_mm2": 14.0,
    "leak_mm2": 0.0,
    "leak_fuel_share": 1.0,
    "lambda_set": 1.0,
    "timing_deg": 0.0,
    "efficiency": 1.0,
    "dilution": 0.0,
    "load_nm": 0.0,
    "friction": 1.0,
    "back_kpa": 0.0,
    "displacement_l": 2.0,
    "ambient_kpa": 101.325,
    "intake_k": 310.0,
    "torque_scale": 1.0,
}
"""A good warm two-litre engine out of gear: a start to merge over, never merged in silently."""

IDLE_INPUTS: Final[tuple[str, ...]] = tuple(IDLE_DEFAULTS)
"""Names that `idle_balance` needs. Areas effective, mm2; `timing_deg` late is positive; `dilution`
= share of the charge that is recirculated exhaust; `friction` multiplies; `back_kpa` = exhaust
pressure above ambient."""

STALL_RPM: Final = 300.0
"""Below this no balance is looked for: the engine is taken to have stalled."""

STOICHIOMETRIC_AIR: Final = 14.7
"""Air per fuel of pump gasoline, kg/kg (14.6 to 14.7 in engine texts; iso-octane 15.13)."""
_FUEL_J_PER_KG_AIR: Final = 44.0e6 / STOICHIOMETRIC_AIR
"""Heat that gasoline (44 MJ/kg, from memory) gives per kg of air."""


@dataclass(frozen=True, slots=True)
class EngineShape:
    """The model's constants. Defaults suit a small spark-ignition engine; docs/physics.md says why.

    Attributes:
        compression: compression ratio. exponent: polytropic exponent of the residual gas.
        breathing: volumetric efficiency, manifold-referenced, without residual gas.
        indicated: gross indicated efficiency at the best mixture, base timing and 750 rpm.
        heat_share, heat_power: share of work lost as heat at 750 rpm; how it falls with speed.
        best_lambda, mixture_width: mixture of greatest torque; how torque falls beside it.
        base_retard_deg, timing_width_deg: base behind best timing; width of that curve.
        dilution_width: dilution at which slow burning leaves a quarter of the torque.
        friction_kpa: mean effective pressure of friction: constant, per krpm, per krpm squared.
    """

    compression: float = 9.0
    exponent: float = 1.3
    breathing: float = 0.85
    indicated: float = 0.24
    heat_share: float = 0.30
    heat_power: float = 0.25
    best_lambda: float = 0.90
    mixture_width: float = 0.62
    base_retard_deg: float = 20.0
    timing_width_deg: float = 69.0
    dilution_width: float = 0.9
    friction_kpa: tuple[float, float, float] = (97.0, 15.0, 5.0)

    @property
    def residual(self) -> float:
        """Cylinder volume taken by residual gas per unit of exhaust-to-manifold pressure ratio."""
        return 1.0 / (self.exponent * (self.compression - 1.0))


SHAPE: Final = EngineShape()


LOWEST: Final[Mapping[str, float]] = {
    "leak_mm2": 0.0,
    "leak_fuel_share": 0.0,
    "timing_deg": -180.0,
    "dilution": -0.3,
    "load_nm": -1e6,
    "back_kpa": -20.0,
}
"""Lowest value the formulas bear; every other input must be above 0. Values a little below zero are
let through: a tolerance about zero reaches there."""
HIGHEST: Final[Mapping[str, float]] = {
    "leak_fuel_share": 1.0,
    "timing_deg": 180.0,
    "dilution": 0.9,
}


def checked_inputs(inputs: Mapping[str, npt.ArrayLike]) -> dict[str, Array]:
    """All inputs, broadcast to one shape (W,).

    Raises:
        BadInput: with every missing or unknown name, or every value without meaning.
    """
    odd = sorted(set(inputs) ^ set(IDLE_INPUTS))
    if odd:
        says = f"idle inputs missing or unknown: {', '.join(odd)}"
        raise BadInput(Problem(says, expected=", ".join(IDLE_INPUTS)))
    arrays = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(inputs[name], dtype=np.float64)) for name in IDLE_INPUTS)
    )
    found = dict(zip(IDLE_INPUTS, arrays, strict=True))
    problems = [problem for name in found if (problem := _problem(name, found[name])) is not None]
    if problems:
        raise BadInput(problems)
    return found


def _problem(name: str, value: Array) -> Problem | None:
    low, high = LOWEST.get(name), HIGHEST.get(name, np.inf)
    fits = np.isfinite(value) & (value <= high) & (value > 0.0 if low is None else value >= low)
    if np.all(fits):
        return None
    bound = "above 0" if low is None else f"at least {low:g}"
    ceiling = f", at most {high:g}" if name in HIGHEST else ""
    says = f"{name} = {value[~fits].flat[0]:g} has no meaning"
    return Problem(says, expected=bound + ceiling, key=name)


class Equations:
    """The two equations with everything but pressure and speed put in.

    Args:
        inputs: every name of `IDLE_INPUTS`, broadcastable to (W,). shape: model constants.

    Raises:
        BadInput: as `checked_inputs`.
    """

    def __init__(self, inputs: Mapping[str, npt.ArrayLike], shape: EngineShape) -> None:
        self.shape = shape
        self.get = get = checked_inputs(inputs)
        self.area = get["air_mm2"] + get["leak_mm2"]
        self.fuelled = get["air_mm2"] + get["leak_fuel_share"] * get["leak_mm2"]
        self.mixture: Array = get["lambda_set"] * self.area / self.fuelled
        self.exhaust_kpa = get["ambient_kpa"] + get["back_kpa"]
        self.lowest_kpa = shape.residual * self.exhaust_kpa / (1.0 + shape.residual)
        self.load_kpa = 4.0 * np.pi * get["load_nm"] / get["displacement_l"]
        if not np.all(
            shape.friction_kpa[0] * get["friction"] + get["back_kpa"] + self.load_kpa > 0.0
        ):
            says = "load or back-pressure drives the engine"
            raise BadInput(Problem(says, expected="friction plus load above 0", key="load_nm"))
        self._air = self._air_constant()
        self._torque = self._torque_constant()

    def _air_constant(self) -> Array:
        """ln of (rpm x X / psi)."""
        get = self.get
        sound = np.sqrt(AIR_GAS_CONSTANT * get["intake_k"])
        flow = 0.12 * self.area * get["ambient_kpa"] * sound  # mm2, kPa, m/s, litre: 120 x 1e-3
        constant: Array = np.log(flow / ((1.0 - get["dilution"]) * get["displacement_l"]))
        return constant

    def _torque_constant(self) -> Array:
        """ln of (indicated mean effective pressure / X) at 750 rpm."""
        get, shape = self.get, self.shape
        heat = _FUEL_J_PER_KG_AIR * shape.indicated / (AIR_GAS_CONSTANT * get["intake_k"])
        beside = (self.mixture - shape.best_lambda) / shape.mixture_width
        late = get["timing_deg"] * (get["timing_deg"] + 2.0 * shape.base_retard_deg)
        constant: Array = (
            np.log(heat * get["torque_scale"] * get["efficiency"] * (1.0 - get["dilution"]))
            - 2.0 * np.log1p(beside**2)
            - late / shape.timing_width_deg**2
            - 2.0 * np.log1p(get["dilution"] / shape.dilution_width)
        )
        return constant

    def breathed(self, pressure: Array) -> Array:
        """X = volumetric efficiency times manifold pressure, kPa; 0 at `lowest_kpa`."""
        found: Array = self.breathed_per_kpa * (pressure - self.lowest_kpa)
        return found

    @property
    def breathed_per_kpa(self) -> float:
        """dX/dp: breathing x (1 + residual)."""
        return self.shape.breathing * (1.0 + self.shape.residual)

    def log_speed(self, pressure: Array) -> Array:
        """ln rpm at which the cylinders take in what comes through the areas."""
        psi = flow_function(pressure / self.get["ambient_kpa"])
        found: Array = self._air + np.log(psi / self.breathed(pressure))
        return found

    def log_speed_slope(self, pressure: Array) -> Array:
        """d(log_speed)/d(pressure), 1/kPa; always below 0."""
        ambient = self.get["ambient_kpa"]
        found: Array = flow_function_slope(pressure / ambient) / ambient - 1.0 / (
            pressure - self.lowest_kpa
        )
        return found

    def friction_kpa(self, log_speed: Array) -> tuple[Array, Array]:
        """Mean effective pressure of friction, and its derivative by ln speed."""
        constant, linear, square = self.shape.friction_kpa
        krpm = np.exp(log_speed) / 1000.0
        times = self.get["friction"]
        friction: Array = times * (constant + linear * krpm + square * krpm**2)
        return friction, times * (linear * krpm + 2.0 * square * krpm**2)

    def heat_kept(self, log_speed: Array) -> tuple[Array, Array]:
        """Work kept from the walls relative to 750 rpm, and d ln(it) / d ln speed."""
        share, power = self.shape.heat_share, self.shape.heat_power
        lost = share / (1.0 - share)
        now = lost * np.exp(-power * (log_speed - np.log(750.0)))
        kept: Array = (1.0 + lost) / (1.0 + now)
        return kept, power * now / (1.0 + now)

    def needed_kpa(self, pressure: Array, log_speed: Array) -> Array:
        """Mean effective pressure that friction, pumping and load take."""
        needed: Array = (
            self.friction_kpa(log_speed)[0] + self.exhaust_kpa - pressure + self.load_kpa
        )
        return needed

    def torque_residual(self, pressure: Array, log_speed: Array) -> Array:
        """ln(indicated / needed)."""
        made = self.heat_kept(log_speed)[0] * self.breathed(pressure)
        residual: Array = self._torque + np.log(made / self.needed_kpa(pressure, log_speed))
        return residual

    def pressure_at(self, speed: Array) -> Array:
        """Manifold pressure at which torque balances at a given speed: linear, so closed form."""
        log_speed = np.log(speed)
        per_kpa = np.exp(self._torque) * self.heat_kept(log_speed)[0] * self.breathed_per_kpa
        fixed = self.needed_kpa(np.zeros_like(speed), log_speed)
        pressure: Array = (fixed + per_kpa * self.lowest_kpa) / (1.0 + per_kpa)
        return pressure

    def area_at(self, speed: Array) -> Array:
        """Total effective area that balances at a given speed; infinite where none does."""
        pressure = self.pressure_at(speed)
        within = pressure < self.get["ambient_kpa"]
        tried = np.where(within, pressure, 0.5 * (self.lowest_kpa + self.get["ambient_kpa"]))
        area = self.area * np.exp(np.log(speed) - self.log_speed(tried))
        return np.where(within, area, np.inf)


class Slopes:
    """First derivatives of ln speed (air equation) and of the torque residual at one point.

    Attributes, all (W,) or name -> (W,): `speed_by` (inputs, at fixed pressure),
    `speed_by_pressure`, `torque_by` (inputs, at fixed pressure and speed), `torque_by_pressure`,
    `torque_by_speed` (by ln speed).
    """

    def __init__(self, at: Equations, pressure: Array, speed: Array) -> None:
        log_speed = np.log(speed)
        needed = at.needed_kpa(pressure, log_speed)
        friction, friction_slope = at.friction_kpa(log_speed)
        above = pressure - at.lowest_kpa
        self.speed_by_pressure = at.log_speed_slope(pressure)
        self.torque_by_pressure: Array = 1.0 / above + 1.0 / needed
        self.torque_by_speed: Array = at.heat_kept(log_speed)[1] - friction_slope / needed
        get = at.get
        zero = np.zeros_like(pressure)
        ambient = get["ambient_kpa"]
        by_exhaust = at.lowest_kpa / at.exhaust_kpa / above  # of -ln X
        litres, kept = get["displacement_l"], 1.0 - get["dilution"]
        ratio = pressure / ambient
        self.speed_by: dict[str, Array] = dict.fromkeys(IDLE_INPUTS, zero) | {
            "air_mm2": 1.0 / at.area,
            "leak_mm2": 1.0 / at.area,
            "dilution": 1.0 / kept,
            "back_kpa": by_exhaust,
            "displacement_l": -1.0 / litres,
            "ambient_kpa": (1.0 - flow_function_slope(ratio) * ratio) / ambient + by_exhaust,
            "intake_k": 0.5 / get["intake_k"],
        }
        self.torque_by: dict[str, Array] = self._mixture_slopes(at) | {
            "timing_deg": -2.0
            * (get["timing_deg"] + at.shape.base_retard_deg)
            / at.shape.timing_width_deg**2,
            "efficiency": 1.0 / get["efficiency"],
            "dilution": -1.0 / kept - 2.0 / (at.shape.dilution_width + get["dilution"]),
            "load_nm": -4.0 * np.pi / litres / needed,
            "friction": -friction / get["friction"] / needed,
            "back_kpa": -by_exhaust - 1.0 / needed,
            "displacement_l": at.load_kpa / litres / needed,
            "ambient_kpa": -by_exhaust - 1.0 / needed,
            "intake_k": -1.0 / get["intake_k"],
            "torque_scale": 1.0 / get["torque_scale"],
        }

    @staticmethod
    def _mixture_slopes(at: Equations) -> dict[str, Array]:
        """Torque residual by the inputs that act through the mixture alone."""
        get, width = at.get, at.shape.mixture_width
        beside = (at.mixture - at.shape.best_lambda) / width
        by_log_mixture = -4.0 * beside / (1.0 + beside**2) / width * at.mixture
        return {
            "air_mm2": by_log_mixture * (1.0 / at.area - 1.0 / at.fuelled),
            "leak_mm2": by_log_mixture * (1.0 / at.area - get["leak_fuel_share"] / at.fuelled),
            "leak_fuel_share": -by_log_mixture * get["leak_mm2"] / at.fuelled,
            "lambda_set": by_log_mixture / get["lambda_set"],
        }
