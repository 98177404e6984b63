"""Small machinery round the throttle: permanent-magnet motors, batteries, plungers, sliders.

A motor on a circuit sees a supply: open-circuit volts E and series resistance R (the circuit with
the winding taken out). Derivatives are by each input in its own unit; a caller that works in
logarithms multiplies by the input. docs/physics.md gives sources and limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from idlewright.errors import BadInput, Problem

Array = npt.NDArray[np.float64]

MOTOR_INPUTS: Final[tuple[str, ...]] = (
    "supply_volt",
    "supply_ohm",
    "winding_ohm",
    "run_amp",
    "break_amp",
    "volt_s_per_mm",
    "stroke_mm",
)
"""Names that `motor_on_supply` needs: E (either sign) and R of the supply, winding resistance,
current to keep turning, current to break free, back-emf per plunger speed, full travel."""

NINE_VOLT_BATTERY: Final = (9.0, 1.7)
"""Open-circuit volts and internal ohms of a fresh 9 V alkaline battery (IEC 6LR61): a maker's data
sheet gives 1.7 ohm at 1 kHz; under a steady load 1.5 to 3 ohm, more when empty (common practice,
no source)."""

SLOWEST_VOLT: Final = 0.05
"""Least back-emf taken for a travel time; with less the motor does not keep turning, the time is
that of this crawl, and it no longer answers to volts, ohms or current."""

_LEAST_AMP: Final = 1e-6
"""Keeps ln(stall current) finite, and flat, on a dead supply."""


class MotorOnSupply(NamedTuple):
    """What a plunger motor does on a supply, whichever of its two modes it is in; arrays (W,).

    Attributes:
        margin: ln(stall current / breakaway current); above 0 it turns.
        stall_amp, stall_volt: current and terminal volts while it stands; signs of the supply.
        turning_amp, turning_volt: the same while it turns against steady friction.
        seconds: time over the whole stroke while it turns.
    """

    margin: Array
    stall_amp: Array
    stall_volt: Array
    turning_amp: Array
    turning_volt: Array
    seconds: Array


def motor_on_supply(inputs: Mapping[str, npt.ArrayLike]) -> MotorOnSupply:
    """Margin over breaking free, currents, terminal volts and travel time of a plunger motor.

    Stalled, the winding is a resistance: I = E / (R + Rw). Turning against a steady friction the
    current is `run_amp` whatever the volts; the terminals show E - I R, and what is left of E after
    I (R + Rw) is back-emf, which gives the speed. (Permanent-magnet motor, textbook.) Run-up and
    the winding's inductance are left out: both are over in a few hundredths of a second.

    Args:
        inputs: every name of `MOTOR_INPUTS`, each broadcastable to (W,).

    Raises:
        BadInput: a name missing or unknown, or a value without meaning.
    """
    return _Motor(inputs).result


def motor_sensitivity(
    inputs: Mapping[str, npt.ArrayLike],
) -> tuple[MotorOnSupply, dict[str, MotorOnSupply]]:
    """`motor_on_supply` and, for every input, the derivative of each of its outputs by that input.

    Derivatives by `supply_ohm` and the rest are in plain units (per ohm, per ampere, per mm ...).

    Raises:
        BadInput: as `motor_on_supply`.
    """
    motor = _Motor(inputs)
    return motor.result, motor.slopes()


class _Motor:
    def __init__(self, inputs: Mapping[str, npt.ArrayLike]) -> None:
        self.get = get = _checked(inputs)
        self.sign = np.where(get["supply_volt"] < 0.0, -1.0, 1.0)
        self.volt = np.abs(get["supply_volt"])
        self.total = get["supply_ohm"] + get["winding_ohm"]
        self.stall = self.volt / self.total
        left = self.volt - get["run_amp"] * self.total
        self.moves = left > SLOWEST_VOLT
        self.emf = np.where(self.moves, left, SLOWEST_VOLT)
        self.seconds: Array = get["stroke_mm"] * get["volt_s_per_mm"] / self.emf
        self.result = MotorOnSupply(
            margin=0.5 * np.log(self.stall**2 + _LEAST_AMP**2) - np.log(get["break_amp"]),
            stall_amp=self.sign * self.stall,
            stall_volt=self.sign * self.stall * get["winding_ohm"],
            turning_amp=self.sign * get["run_amp"],
            turning_volt=self.sign * (self.volt - get["run_amp"] * get["supply_ohm"]),
            seconds=self.seconds,
        )

    def slopes(self) -> dict[str, MotorOnSupply]:
        """Input -> derivative of every output by it."""
        get, sign, total = self.get, self.sign, self.total
        zero = np.zeros_like(total)
        one = np.ones_like(total)
        by_stall = self.stall / (self.stall**2 + _LEAST_AMP**2)
        by_emf = np.where(self.moves, -self.seconds / self.emf, 0.0)
        share = get["winding_ohm"] / total
        by_ohm = -self.stall / total
        both_ohm = MotorOnSupply(
            margin=by_stall * by_ohm,
            stall_amp=sign * by_ohm,
            stall_volt=-sign * self.stall * share,
            turning_amp=zero,
            turning_volt=-sign * get["run_amp"],
            seconds=-by_emf * get["run_amp"],
        )
        flat = MotorOnSupply(zero, zero, zero, zero, zero, zero)
        return {
            "supply_volt": MotorOnSupply(
                margin=sign * by_stall / total,
                stall_amp=1.0 / total,
                stall_volt=share,
                turning_amp=zero,
                turning_volt=one,
                seconds=sign * by_emf,
            ),
            "supply_ohm": both_ohm,
            "winding_ohm": both_ohm._replace(
                stall_volt=sign * self.stall * (1.0 - share), turning_volt=zero
            ),
            "run_amp": flat._replace(
                turning_amp=sign, turning_volt=-sign * get["supply_ohm"], seconds=-by_emf * total
            ),
            "break_amp": flat._replace(margin=-1.0 / get["break_amp"]),
            "volt_s_per_mm": flat._replace(seconds=self.seconds / get["volt_s_per_mm"]),
            "stroke_mm": flat._replace(seconds=self.seconds / get["stroke_mm"]),
        }


@dataclass(frozen=True, slots=True)
class PermanentMagnetMotor:
    """A brushed permanent-magnet motor with constant friction.

    Attributes:
        newton_metre_per_amp: torque constant; in SI also the back-emf constant, V s/rad.
        ohm: winding and brushes. no_load_amp: current that friction takes.
    """

    newton_metre_per_amp: float
    ohm: float
    no_load_amp: float = 0.0

    def at_speed(self, volt: float, rpm: float) -> MotorPoint:
        """Operating point on a stiff supply at a given speed."""
        emf = self.newton_metre_per_amp * radians_per_second(rpm)
        amp = (volt - emf) / self.ohm
        torque = self.newton_metre_per_amp * (amp - self.no_load_amp)
        return MotorPoint(
            amp=amp,
            emf_volt=emf,
            torque_nm=torque,
            electrical_watt=volt * amp,
            shaft_watt=torque * radians_per_second(rpm),
            copper_watt=amp * amp * self.ohm,
            friction_watt=emf * self.no_load_amp,
        )

    def free_rpm(self, volt: float, source_ohm: float = 0.0) -> float:
        """Speed with nothing on the shaft, on a source of that internal resistance."""
        emf = volt - self.no_load_amp * (self.ohm + source_ohm)
        return float(emf / self.newton_metre_per_amp * 30.0 / np.pi)

    def best_efficiency(self, volt: float) -> tuple[float, float]:
        """Greatest efficiency and the current at which it is reached.

        (1 - sqrt(I0/IA))^2 at sqrt(I0 IA), with IA the stall current (motor makers' formula).
        """
        stall = volt / self.ohm
        share = float(np.sqrt(self.no_load_amp / stall))
        return (1.0 - share) ** 2, share * stall


class MotorPoint(NamedTuple):
    """One operating point: A, V, Nm and W. Electrical = shaft + copper + friction."""

    amp: float
    emf_volt: float
    torque_nm: float
    electrical_watt: float
    shaft_watt: float
    copper_watt: float
    friction_watt: float


def motor_from_no_load(volt: float, no_load_rpm: float, stall_nm: float) -> PermanentMagnetMotor:
    """A frictionless motor from its no-load speed and stall torque at one voltage.

    Raises:
        BadInput: a value not above zero.
    """
    if not min(volt, no_load_rpm, stall_nm) > 0.0:
        raise BadInput(Problem("motor data not above zero", expected="V, rpm, Nm, all positive"))
    constant = volt / radians_per_second(no_load_rpm)
    return PermanentMagnetMotor(newton_metre_per_amp=constant, ohm=volt * constant / stall_nm)


def radians_per_second(rpm: float) -> float:
    """Turning speed in rad/s."""
    return float(rpm * np.pi / 30.0)


def volt_second_per_radian(volt_per_krpm: float) -> float:
    """Back-emf constant in V s/rad from one in V per 1,000 rpm."""
    return volt_per_krpm / radians_per_second(1000.0)


def internal_ohm(open_volt: float, loaded_volt: float, load_ohm: float) -> float:
    """Internal resistance of a battery from its volts without and with a known load.

    R (E / V - 1). Raises:
        BadInput: unless 0 < loaded <= open and the load is above zero.
    """
    if not (0.0 < loaded_volt <= open_volt and load_ohm > 0.0):
        raise BadInput(
            Problem("battery readings do not fit", expected="0 < loaded volts <= open volts")
        )
    return load_ohm * (open_volt / loaded_volt - 1.0)


def lead_acid_charge(rest_volt: npt.ArrayLike) -> Array:
    """Share of charge, 0.25 to 1, of a 12 V lead-acid battery from its volts after hours at rest.

    Straight lines between 12.0, 12.2, 12.4 and 12.65 V (common practice, no source; +-0.1 V at
    25 C). Below 12.0 V lists do not agree, so NaN is returned there: too low to say. Any shape.
    """
    volt = np.asarray(rest_volt, dtype=np.float64)
    return np.interp(volt, (12.0, 12.2, 12.4, 12.65), (0.25, 0.5, 0.75, 1.0), left=np.nan)


def plunger_mm_per_s(motor_rpm: float, gear_ratio: float, lead_mm: float) -> float:
    """Plunger speed of a motor through a reduction gear and a screw: rpm / gear / 60 x lead.

    `lead_mm` is travel per turn of the screw (its pitch, for one start).
    """
    return motor_rpm / gear_ratio / 60.0 * lead_mm


def stepper_mm_per_step(step_deg: float, lead_mm: float) -> float:
    """Travel of a stepper-driven screw per step: lead x step / 360."""
    return lead_mm * step_deg / 360.0


def slider_fraction(
    angle_deg: npt.ArrayLike, zero_deg: npt.ArrayLike, track_deg: npt.ArrayLike
) -> tuple[Array, Array]:
    """Place of a wiper on its track and its slope by angle, 1/deg. Inputs broadcast.

    Args:
        angle_deg: shaft angle. zero_deg: angle at which the wiper stands at the ground end.
        track_deg: angle of the whole track; negative if the track runs the other way.

    Returns:
        Fraction 0..1 from the ground end, held at its end stops, and the derivative by angle (0 at
        the stops).
    """
    track = np.asarray(track_deg, dtype=np.float64)
    raw = (np.asarray(angle_deg, dtype=np.float64) - np.asarray(zero_deg, dtype=np.float64)) / track
    fraction: Array = np.clip(raw, 0.0, 1.0)
    slope: Array = np.where((raw >= 0.0) & (raw <= 1.0), 1.0 / track, 0.0)
    return fraction, slope


def _checked(inputs: Mapping[str, npt.ArrayLike]) -> dict[str, Array]:
    odd = sorted(set(inputs) ^ set(MOTOR_INPUTS))
    if odd:
        says = f"motor inputs missing or unknown: {', '.join(odd)}"
        raise BadInput(Problem(says, expected=", ".join(MOTOR_INPUTS)))
    arrays = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(inputs[name], dtype=np.float64)) for name in MOTOR_INPUTS)
    )
    found = dict(zip(MOTOR_INPUTS, arrays, strict=True))
    problems = []
    for name, value in found.items():
        low = {"supply_volt": -np.inf, "supply_ohm": 0.0}.get(name)
        fits = np.isfinite(value) & (value > 0.0 if low is None else value >= low)
        if not np.all(fits):
            says = f"{name} = {value[~fits].flat[0]:g} has no meaning"
            problems.append(Problem(says, expected="above 0" if low is None else "0 or more"))
    if problems:
        raise BadInput(problems)
    return found
