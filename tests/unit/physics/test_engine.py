from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import mpmath
import numpy as np
import pytest

from idlewright.errors import BadInput
from idlewright.physics.engine import (
    IDLE_DEFAULTS,
    IDLE_INPUTS,
    LEAK_FUEL_SHARE,
    MODEL_SPEED_SHARE,
    SHAPE,
    STALL_RPM,
    air_area_for,
    idle_balance,
    idle_sensitivity,
    torque_scale_for,
)

GOOD: Mapping[str, float] = {**IDLE_DEFAULTS, "air_mm2": 13.9}
ODD: Mapping[str, float] = {
    **GOOD,
    "leak_mm2": 3.0,
    "leak_fuel_share": 0.6,
    "lambda_set": 0.95,
    "timing_deg": 6.0,
    "efficiency": 0.93,
    "dilution": 0.04,
    "load_nm": 4.0,
    "friction": 1.1,
    "back_kpa": 2.0,
    "displacement_l": 1.8,
    "ambient_kpa": 94.0,
    "intake_k": 323.0,
    "torque_scale": 1.08,
}
"""Nothing at its default, so no term of a derivative can hide behind a zero."""
CASES = {
    "good": GOOD,
    "odd": ODD,
    "nearly open throttle": {**ODD, "air_mm2": 13.9, "load_nm": 32.0},
    "stalled by load": {**ODD, "load_nm": 90.0},
    "stalled without air": {**ODD, "air_mm2": 0.5, "leak_mm2": 0.2},
}


class Plain:
    """The two equations once more, one engine at a time, in 40-digit arithmetic."""

    def __init__(self, values: Mapping[str, mpmath.mpf]) -> None:
        self.v = values
        total = values["air_mm2"] + values["leak_mm2"]
        self.total = total
        fuelled = values["air_mm2"] + values["leak_fuel_share"] * values["leak_mm2"]
        self.mixture = values["lambda_set"] * total / fuelled
        self.exhaust = values["ambient_kpa"] + values["back_kpa"]

    def breathed(self, p: mpmath.mpf) -> mpmath.mpf:
        """Volumetric efficiency (Heywood's quasi-static form) times pressure."""
        room = mpmath.mpf(SHAPE.exponent) * (mpmath.mpf(SHAPE.compression) - 1)
        return mpmath.mpf(SHAPE.breathing) * (1 - (self.exhaust / p - 1) / room) * p

    def air_in(self, p: mpmath.mpf) -> mpmath.mpf:
        """kg/s through the areas."""
        g = mpmath.mpf(14) / 10
        ratio = p / self.v["ambient_kpa"]
        choke = (2 / (g + 1)) ** (g / (g - 1))
        r = max(ratio, choke)
        psi = mpmath.sqrt(2 * g / (g - 1) * (r ** (2 / g) - r ** ((g + 1) / g)))
        gas = mpmath.mpf("287.0528") * self.v["intake_k"]
        return self.total / 10**6 * self.v["ambient_kpa"] * 1000 * psi / mpmath.sqrt(gas)

    def air_out(self, p: mpmath.mpf, rpm: mpmath.mpf) -> mpmath.mpf:
        """kg/s into the cylinders."""
        gas = mpmath.mpf("287.0528") * self.v["intake_k"]
        fresh = (1 - self.v["dilution"]) * self.breathed(p) * 1000 / gas
        return fresh * self.v["displacement_l"] / 1000 * rpm / 120

    def made(self, p: mpmath.mpf, rpm: mpmath.mpf) -> mpmath.mpf:
        """Indicated torque, Nm: fuel energy of one cycle times efficiencies over 4 pi."""
        joule = self.air_out(p, rpm) / (rpm / 120) * mpmath.mpf(44e6) / mpmath.mpf(14.7)
        share = mpmath.mpf(SHAPE.heat_share)
        lost = share / (1 - share)
        heat = (1 + lost) / (1 + lost * (750 / rpm) ** mpmath.mpf(SHAPE.heat_power))
        mixture = (self.mixture - mpmath.mpf(SHAPE.best_lambda)) / mpmath.mpf(SHAPE.mixture_width)
        base = mpmath.mpf(SHAPE.base_retard_deg)
        late = (self.v["timing_deg"] + base) ** 2 - base**2
        timing = mpmath.exp(-late / mpmath.mpf(SHAPE.timing_width_deg) ** 2)
        burn = (1 + self.v["dilution"] / mpmath.mpf(SHAPE.dilution_width)) ** -2
        share = mpmath.mpf(SHAPE.indicated) * self.v["efficiency"] * self.v["torque_scale"]
        return joule * share * heat * (1 + mixture**2) ** -2 * timing * burn / (4 * mpmath.pi)

    def needed(self, p: mpmath.mpf, rpm: mpmath.mpf) -> mpmath.mpf:
        """Friction, pumping and load, Nm."""
        n = rpm / 1000
        friction = self.v["friction"] * (97 + 15 * n + 5 * n**2)
        pascal = (friction + self.exhaust - p) * 1000
        return pascal * self.v["displacement_l"] / 1000 / (4 * mpmath.pi) + self.v["load_nm"]

    def speed(self, p: mpmath.mpf) -> mpmath.mpf:
        """rpm that takes in what comes through the areas."""
        return self.air_in(p) / self.air_out(p, mpmath.mpf(1))

    def solve(self, start: float) -> tuple[mpmath.mpf, mpmath.mpf, mpmath.mpf]:
        """Speed, pressure, margin, by a general root finder started beside the answer."""
        top = self.v["ambient_kpa"] * (1 - mpmath.mpf(10) ** -15)
        low = self.exhaust / 9
        floor = mpmath.findroot(lambda p: self.speed(p) - 300, (low, top), solver="anderson")
        margin = mpmath.log(self.made(floor, 300) / self.needed(floor, 300))
        if margin < 0:
            return mpmath.mpf(300), floor, margin
        p = mpmath.findroot(
            lambda x: self.made(x, self.speed(x)) - self.needed(x, self.speed(x)), start
        )
        return self.speed(p), p, margin


@pytest.mark.parametrize("case", CASES)
def test_balance_and_derivatives_agree_with_a_plain_solver(case: str) -> None:
    """Speed, pressure, margin and their slopes by all 14 inputs, against 40-digit arithmetic."""
    inputs = CASES[case]
    balance, slopes = idle_sensitivity(inputs)
    start = float(balance.manifold_kpa[0])
    with mpmath.workdps(40):
        exact = {name: mpmath.mpf(value) for name, value in inputs.items()}
        speed, pressure, margin = Plain(exact).solve(start)
        assert float(balance.speed_rpm[0]) == pytest.approx(float(speed), rel=1e-11)
        assert float(balance.manifold_kpa[0]) == pytest.approx(float(pressure), rel=1e-11)
        assert float(balance.margin[0]) == pytest.approx(float(margin), rel=1e-10)
        for name in IDLE_INPUTS:
            step = mpmath.mpf(10) ** -12
            up = Plain({**exact, name: exact[name] + step}).solve(start)
            down = Plain({**exact, name: exact[name] - step}).solve(start)
            for k, what in enumerate(("speed", "pressure", "margin")):
                slope = float((up[k] - down[k]) / (2 * step))
                assert float(slopes[name][k][0]) == pytest.approx(slope, rel=1e-8, abs=1e-10), (
                    name,
                    what,
                )


def test_many_engines_at_once_are_each_solved_as_if_alone() -> None:
    """Columns do not disturb one another, whether they idle, race or stall."""
    columns = [*CASES.values(), {**GOOD, "air_mm2": 60.0}]
    stacked = {name: np.array([column[name] for column in columns]) for name in IDLE_INPUTS}
    together = idle_balance(stacked)
    for k, column in enumerate(columns):
        alone = idle_balance(column)
        for field in ("speed_rpm", "manifold_kpa", "mixture_lambda", "margin"):
            assert float(getattr(together, field)[k]) == pytest.approx(
                float(getattr(alone, field)[0]), rel=1e-12
            )


def test_stalling_is_a_margin_below_zero_and_speed_is_continuous_there() -> None:
    """Speed comes down to the stall speed exactly as the margin comes to zero."""
    load = np.linspace(0.0, 60.0, 601)
    balance = idle_balance({**GOOD, "load_nm": load})
    stalls = balance.margin < 0.0
    assert 0 < int(stalls.sum()) < 601
    assert np.all(balance.speed_rpm[stalls] == STALL_RPM)
    assert np.all(balance.speed_rpm[~stalls] >= STALL_RPM)
    last = int(np.argmax(stalls)) - 1
    assert float(balance.speed_rpm[last]) < STALL_RPM + 2.0
    assert np.all(np.diff(balance.margin) < 0.0)
    assert np.max(np.abs(np.diff(balance.margin))) < 0.01


def test_torque_calibration_gives_the_wanted_speed_and_pressure() -> None:
    """torque_scale_for, then air_area_for: the engine idles there, leak or no leak."""
    for base in (GOOD, {**ODD, "leak_mm2": 1.0}):
        scale = torque_scale_for(720.0, 34.0, base)
        fitted = {**base, "torque_scale": scale}
        fitted["air_mm2"] = air_area_for(720.0, fitted)
        again = torque_scale_for(720.0, 34.0, fitted)
        fitted["torque_scale"] = again
        fitted["air_mm2"] = air_area_for(720.0, fitted)
        balance = idle_balance(fitted)
        assert float(balance.speed_rpm[0]) == pytest.approx(720.0, rel=1e-9)
        assert float(balance.manifold_kpa[0]) == pytest.approx(34.0, rel=2e-3)


def test_calibration_is_exact_without_an_unfuelled_leak() -> None:
    """Then torque does not depend on area: one pass each, and several speeds at a time."""
    scale = torque_scale_for(550.0, 33.0, GOOD)
    fitted = {**GOOD, "torque_scale": scale, "air_mm2": 1.0}
    area = air_area_for(np.array([550.0, 1400.0]), fitted)
    balance = idle_balance({**fitted, "air_mm2": area})
    assert balance.speed_rpm == pytest.approx([550.0, 1400.0], rel=1e-11)
    assert float(balance.manifold_kpa[0]) == pytest.approx(33.0, rel=1e-11)


def test_impossible_calibrations_are_refused() -> None:
    """A gauge reading in place of absolute pressure, or a speed no air can give."""
    with pytest.raises(BadInput, match="manifold pressure"):
        torque_scale_for(700.0, 105.0, GOOD)
    with pytest.raises(BadInput, match="manifold pressure"):
        torque_scale_for(700.0, 3.0, GOOD)
    with pytest.raises(BadInput, match="no air area"):
        air_area_for(700.0, {**GOOD, "efficiency": 0.05})
    with pytest.raises(BadInput, match="no air area"):
        air_area_for(700.0, {**GOOD, "leak_mm2": 40.0})
    with pytest.raises(BadInput, match="above zero"):
        air_area_for(-5.0, GOOD)


def test_every_wrong_input_is_named() -> None:
    """Missing, unknown and meaningless inputs, all at once."""
    with pytest.raises(BadInput, match=r"friction, frictions"):
        idle_balance({**{k: v for k, v in GOOD.items() if k != "friction"}, "frictions": 1.0})
    with pytest.raises(BadInput) as caught:
        idle_balance({**GOOD, "air_mm2": [10.0, 0.0], "dilution": 0.95, "intake_k": np.nan})
    assert [problem.key for problem in caught.value.problems] == [
        "air_mm2",
        "dilution",
        "intake_k",
    ]


def test_a_tolerance_about_zero_may_reach_below_it() -> None:
    """Slightly negative dilution, load and back-pressure are solved; a driven engine is refused."""
    below = {"dilution": -0.01, "load_nm": -0.5, "back_kpa": -0.3}
    balance = idle_balance({**GOOD, **below})
    assert float(balance.speed_rpm[0]) > float(idle_balance(GOOD).speed_rpm[0])
    with pytest.raises(BadInput, match="drives the engine"):
        idle_balance({**GOOD, "load_nm": [0.0, -40.0]})


def test_leak_without_fuel_gives_low_lean_idle_with_low_vacuum() -> None:
    """Airflow meter (common practice, no source): slower, leaner, less vacuum, growing with it."""
    leak = np.array([0.0, 1.0, 2.0, 4.0])
    balance = idle_balance(
        {**GOOD, "leak_mm2": leak, "leak_fuel_share": LEAK_FUEL_SHARE["airflow-meter"]}
    )
    assert np.all(np.diff(balance.speed_rpm) < 0.0)
    assert np.all(np.diff(balance.manifold_kpa) > 0.0)
    assert np.all(np.diff(balance.mixture_lambda) > 0.0)


def test_leak_with_fuel_races_at_normal_vacuum() -> None:
    """Speed-density (common practice, no source): faster, same mixture, vacuum within 2 kPa."""
    leak = np.array([0.0, 2.0, 5.0, 10.0])
    balance = idle_balance(
        {**GOOD, "leak_mm2": leak, "leak_fuel_share": LEAK_FUEL_SHARE["speed-density"]}
    )
    assert np.all(np.diff(balance.speed_rpm) > 50.0)
    assert np.ptp(balance.manifold_kpa) < 2.0
    assert balance.mixture_lambda == pytest.approx(1.0)


def test_carburettor_leak_races_less_and_leaner_than_a_fuelled_one() -> None:
    """Between the two (common practice, no source)."""
    leaking = {**GOOD, "leak_mm2": np.array([3.0, 8.0])}
    fuelled = idle_balance(leaking)
    carburettor = idle_balance({**leaking, "leak_fuel_share": LEAK_FUEL_SHARE["carburettor"]})
    good = float(idle_balance(GOOD).speed_rpm[0])
    assert np.all(good < carburettor.speed_rpm)
    assert np.all(carburettor.speed_rpm < fuelled.speed_rpm)
    assert np.all(carburettor.mixture_lambda > 1.0)


@pytest.mark.parametrize("wrong", [0.6, 0.7, 1.12, 1.3])
def test_mixture_far_from_best_slows_the_engine(wrong: float) -> None:
    """Rich beyond best and lean beyond best both slow it and cost vacuum."""
    best = idle_balance({**GOOD, "lambda_set": SHAPE.best_lambda})
    off = idle_balance({**GOOD, "lambda_set": wrong})
    assert float(off.speed_rpm[0]) < float(best.speed_rpm[0])
    assert float(off.manifold_kpa[0]) > float(best.manifold_kpa[0])


def test_a_weak_cylinder_slows_the_engine_and_costs_vacuum() -> None:
    """One of four at a quarter to nothing of its torque."""
    balance = idle_balance({**GOOD, "efficiency": np.array([1.0, 0.81, 0.75])})
    assert np.all(np.diff(balance.speed_rpm) < -20.0)
    assert np.all(np.diff(balance.manifold_kpa) > 1.0)


def test_models_own_uncertainty_covers_what_its_constants_may_be_off_by() -> None:
    """Root mean square over small faults of the constants' joint effect stays near 3 % of speed.

    Every constant is moved over the band docs/physics.md gives it (95 %), the engine re-fitted to
    750 rpm and 34 kPa each time; a quarter of the difference is one standard uncertainty.
    """
    bands = {
        "compression": (8.0, 10.0),
        "exponent": (1.25, 1.35),
        "breathing": (0.76, 0.92),
        "heat_share": (0.2, 0.4),
        "heat_power": (0.15, 0.35),
        "best_lambda": (0.86, 0.94),
        "mixture_width": (0.52, 0.74),
        "base_retard_deg": (14.0, 26.0),
        "timing_width_deg": (60.0, 80.0),
        "dilution_width": (0.6, 1.3),
    }
    changes = [
        {"more_air": 2.0},
        {"more_air": 5.0},
        {"more_air": -4.0},
        {"leak_mm2": 2.0, "leak_fuel_share": 0.0},
        {"leak_mm2": 4.0, "leak_fuel_share": 0.7},
        {"timing_deg": 10.0},
        {"load_nm": 10.0},
        {"efficiency": 0.8},
        {"dilution": 0.05},
        {"lambda_set": 1.12},
        {"lambda_set": 0.85},
        {"ambient_kpa": 90.0},
    ]

    def speeds(**constants: object) -> np.ndarray:
        shape = replace(SHAPE, **constants)
        fitted = {**GOOD, "torque_scale": torque_scale_for(750.0, 34.0, GOOD, shape)}
        fitted["air_mm2"] = air_area_for(750.0, fitted, shape)
        found = []
        for change in changes:
            inputs = {**fitted, **change}
            inputs["air_mm2"] = fitted["air_mm2"] + inputs.pop("more_air", 0.0)
            found.append(float(idle_balance(inputs, shape).speed_rpm[0]))
        return np.array(found)

    spans = [
        np.log(speeds(**{name: high}) / speeds(**{name: low})) / 4.0
        for name, (low, high) in bands.items()
    ]
    for low, high in (
        ((82, 15, 5), (112, 15, 5)),
        ((97, 5, 5), (97, 25, 5)),
        ((97, 15, 0), (97, 15, 10)),
    ):
        spans.append(np.log(speeds(friction_kpa=high) / speeds(friction_kpa=low)) / 4.0)
    each = np.sqrt(np.sum(np.square(spans), axis=0))
    overall = float(np.sqrt(np.mean(each**2)))
    assert 0.5 * MODEL_SPEED_SHARE < overall < MODEL_SPEED_SHARE
