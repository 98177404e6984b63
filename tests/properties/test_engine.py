"""What must hold of the idle balance for any engine that makes sense."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from idlewright.physics.airflow import mass_flow_kg_s
from idlewright.physics.engine import (
    IDLE_INPUTS,
    SHAPE,
    STALL_RPM,
    air_area_for,
    idle_balance,
    idle_sensitivity,
    torque_scale_for,
)
from idlewright.physics.idle_equations import Equations

RANGES = {
    "air_mm2": (0.3, 120.0),
    "leak_mm2": (0.0, 60.0),
    "leak_fuel_share": (0.0, 1.0),
    "lambda_set": (0.6, 1.4),
    "timing_deg": (-15.0, 25.0),
    "efficiency": (0.2, 1.1),
    "dilution": (-0.05, 0.4),
    "load_nm": (-1.0, 60.0),
    "friction": (0.5, 2.5),
    "back_kpa": (-2.0, 20.0),
    "displacement_l": (0.6, 6.0),
    "ambient_kpa": (65.0, 105.0),
    "intake_k": (250.0, 360.0),
    "torque_scale": (0.6, 1.5),
}


@st.composite
def engines(draw: st.DrawFn, columns: int = 6) -> dict[str, np.ndarray]:
    """A handful of engines, good, sick and impossible."""
    assert set(RANGES) == set(IDLE_INPUTS)
    return {
        name: np.array(draw(st.lists(st.floats(*limits), min_size=columns, max_size=columns)))
        for name, limits in RANGES.items()
    }


@settings(max_examples=150)
@given(engines())
def test_running_engines_satisfy_both_equations(inputs: dict[str, np.ndarray]) -> None:
    """Air in = air out by the orifice formula, torque residual zero, pressure below ambient."""
    balance = idle_balance(inputs)
    runs = balance.margin >= 0.0
    assert np.all(np.isfinite(np.stack(balance)))
    world = Equations(inputs, SHAPE)
    flow_in = mass_flow_kg_s(
        inputs["air_mm2"] + inputs["leak_mm2"],
        inputs["ambient_kpa"],
        balance.manifold_kpa,
        inputs["intake_k"],
    )
    per_cycle = world.breathed(balance.manifold_kpa) * inputs["displacement_l"]
    fresh = (1.0 - inputs["dilution"]) * per_cycle / (287.0528 * inputs["intake_k"])
    flow_out = fresh * balance.speed_rpm / 120.0
    np.testing.assert_allclose(flow_in, flow_out, rtol=1e-10)
    residual = world.torque_residual(balance.manifold_kpa, np.log(balance.speed_rpm))
    np.testing.assert_allclose(residual[runs], 0.0, atol=1e-10)
    np.testing.assert_allclose(residual[~runs], balance.margin[~runs], atol=1e-10)
    assert np.all(balance.manifold_kpa < inputs["ambient_kpa"])


@settings(max_examples=100)
@given(engines())
def test_stall_is_the_sign_of_the_margin(inputs: dict[str, np.ndarray]) -> None:
    """Above the stall speed exactly where the margin is above zero."""
    balance = idle_balance(inputs)
    assert np.all((balance.speed_rpm > STALL_RPM) == (balance.margin > 0.0))


@settings(max_examples=100)
@given(engines())
def test_signs_of_what_every_technician_knows(inputs: dict[str, np.ndarray]) -> None:
    """Load, friction, back-pressure, late timing slow it; efficiency and fuelled air speed it up.

    Checked on running engines below nine tenths of ambient pressure; timing where late is not yet
    early of best.
    """
    inputs = {**inputs, "leak_mm2": 0.0 * inputs["leak_mm2"]}
    balance, slopes = idle_sensitivity(inputs)
    runs = (balance.margin > 0.0) & (balance.manifold_kpa < 0.9 * inputs["ambient_kpa"])
    for name, sign in {
        "load_nm": -1.0,
        "friction": -1.0,
        "back_kpa": -1.0,
        "timing_deg": -1.0,
        "dilution": -1.0,
        "efficiency": 1.0,
        "torque_scale": 1.0,
        "air_mm2": 1.0,
    }.items():
        assert np.all(sign * slopes[name][0][runs] > 0.0), name
        assert np.all(sign * slopes[name][2] > 0.0), name
    for name in ("load_nm", "friction", "timing_deg"):
        assert np.all(slopes[name][1][runs] > 0.0), name


@settings(max_examples=60)
@given(engines(), st.sampled_from(IDLE_INPUTS))
def test_slopes_predict_small_changes(inputs: dict[str, np.ndarray], name: str) -> None:
    """A change of 1e-4 moves speed, pressure and margin as the slopes say, to second order."""
    balance, slopes = idle_sensitivity(inputs)
    low, high = RANGES[name]
    step = 1e-5 * (high - low) * np.where(inputs[name] > 0.5 * (low + high), -1.0, 1.0)
    moved = idle_balance({**inputs, name: inputs[name] + step})
    steady = (balance.margin < 0.0) == (moved.margin < 0.0)
    for k, field in enumerate(("speed_rpm", "manifold_kpa", "margin")):
        real = (getattr(moved, field) - getattr(balance, field))[steady]
        said = (slopes[name][k] * step)[steady]
        scale = 1.0 + np.abs(getattr(balance, field)[steady])
        assert np.all(np.abs(real - said) <= 2e-2 * np.abs(said) + 1e-6 * scale), field


@settings(max_examples=60)
@given(engines(columns=1), st.floats(450.0, 1500.0))
def test_calibrated_area_gives_the_wanted_speed(inputs: dict[str, np.ndarray], rpm: float) -> None:
    """air_area_for and torque_scale_for are undone by idle_balance."""
    inputs = {**inputs, "leak_mm2": np.zeros(1)}
    fitted: dict[str, Any] = {
        **inputs,
        "torque_scale": torque_scale_for(rpm, 0.4 * inputs["ambient_kpa"], inputs),
    }
    fitted["air_mm2"] = air_area_for(rpm, fitted)
    balance = idle_balance(fitted)
    np.testing.assert_allclose(balance.speed_rpm, rpm, rtol=1e-9)
    np.testing.assert_allclose(balance.manifold_kpa, 0.4 * inputs["ambient_kpa"], rtol=1e-9)
