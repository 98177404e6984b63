from __future__ import annotations

from collections.abc import Mapping

import mpmath
import numpy as np
import pytest

from idlewright.errors import BadInput
from idlewright.physics.mechanism import (
    MOTOR_INPUTS,
    SLOWEST_VOLT,
    MotorOnSupply,
    internal_ohm,
    lead_acid_charge,
    motor_from_no_load,
    motor_on_supply,
    motor_sensitivity,
    slider_fraction,
)

PLUNGER: Mapping[str, float] = {
    "supply_volt": 12.4,
    "supply_ohm": 1.9,
    "winding_ohm": 12.0,
    "run_amp": 0.22,
    "break_amp": 0.35,
    "volt_s_per_mm": 3.2,
    "stroke_mm": 9.0,
}
DRIVES = (
    {},
    {"supply_volt": -12.4},
    {"supply_volt": 9.0, "supply_ohm": 40.0},
    {"supply_volt": 12.0, "supply_ohm": 22.0, "run_amp": 0.3},
    {"supply_volt": 1e-5, "supply_ohm": 1e6},
)
"""Turning, turning backwards, stalled, just turning, and hardly any supply."""


def plain(name: str, values: Mapping[str, mpmath.mpf]) -> mpmath.mpf:
    """Each output written straight from the circuit, one motor at a time."""
    v = values
    sign = -1 if v["supply_volt"] < 0 else 1
    total = v["supply_ohm"] + v["winding_ohm"]
    stall = v["supply_volt"] / total
    left = sign * v["supply_volt"] - v["run_amp"] * total
    return {
        "margin": mpmath.log(mpmath.sqrt(stall**2 + mpmath.mpf("1e-12")) / v["break_amp"]),
        "stall_amp": stall,
        "stall_volt": stall * v["winding_ohm"],
        "turning_amp": sign * v["run_amp"],
        "turning_volt": v["supply_volt"] - sign * v["run_amp"] * v["supply_ohm"],
        "seconds": v["stroke_mm"] * v["volt_s_per_mm"] / max(left, mpmath.mpf(SLOWEST_VOLT)),
    }[name]


@pytest.mark.parametrize("change", DRIVES)
def test_motor_and_all_its_derivatives_agree_with_plain_circuit_algebra(
    change: Mapping[str, float],
) -> None:
    """Six outputs, seven inputs: values and slopes as 40-digit arithmetic gives them."""
    inputs = {**PLUNGER, **change}
    result, slopes = motor_sensitivity(inputs)
    with mpmath.workdps(40):
        exact = {name: mpmath.mpf(value) for name, value in inputs.items()}
        for output in MotorOnSupply._fields:
            assert float(getattr(result, output)[0]) == pytest.approx(
                float(plain(output, exact)), rel=1e-12, abs=1e-14
            )
            for name in MOTOR_INPUTS:
                slope = mpmath.diff(
                    lambda x, n=name, o=output: plain(o, {**exact, n: x}), exact[name]
                )
                assert float(getattr(slopes[name], output)[0]) == pytest.approx(
                    float(slope), rel=1e-9, abs=1e-12
                ), (output, name)


def test_ten_ohm_in_the_supply_turns_a_moving_plunger_into_a_still_one() -> None:
    """12 ohm winding on 12.4 V: about 0.89 A, and 0.52 A with 10 ohm more; 0.35 A breaks free.

    Worked example of the trade (invented car); the share of breaking-free current is what counts.
    """
    stall = motor_on_supply({**PLUNGER, "supply_ohm": np.array([1.93, 11.93])}).stall_amp
    assert stall == pytest.approx([0.89, 0.52], abs=0.005)
    margin = motor_on_supply({**PLUNGER, "supply_ohm": np.array([1.93, 11.93, 40.0])}).margin
    assert list(margin > 0.0) == [True, True, False]


def test_low_volts_while_turning_and_at_stall_look_different() -> None:
    """A stalled motor pulls its supply down further than a turning one."""
    motor = motor_on_supply({**PLUNGER, "supply_ohm": 6.0})
    assert 0.0 < float(motor.stall_volt[0]) < float(motor.turning_volt[0]) < 12.4


def test_reversed_drive_mirrors_everything_but_time_and_margin() -> None:
    """Polarity changes signs only."""
    out, back = motor_on_supply(PLUNGER), motor_on_supply({**PLUNGER, "supply_volt": -12.4})
    for name in ("stall_amp", "stall_volt", "turning_amp", "turning_volt"):
        assert getattr(back, name) == pytest.approx(-getattr(out, name))
    assert back.seconds == pytest.approx(out.seconds)
    assert back.margin == pytest.approx(out.margin)


def test_a_dead_or_open_supply_gives_finite_numbers() -> None:
    """No volts, or 1e15 ohm, is a motor that does not turn, never NaN or infinity."""
    result, slopes = motor_sensitivity(
        {**PLUNGER, "supply_volt": np.array([0.0, 12.0]), "supply_ohm": np.array([1.0, 1e15])}
    )
    for field in (result, *slopes.values()):
        assert all(np.all(np.isfinite(column)) for column in field)
    assert np.all(result.margin < -5.0)


def test_motor_names_every_wrong_input() -> None:
    """Missing and unknown names, and all values without meaning, are said at once."""
    with pytest.raises(BadInput, match=r"run_amp, speed"):
        motor_on_supply({**{k: v for k, v in PLUNGER.items() if k != "run_amp"}, "speed": 1.0})
    with pytest.raises(BadInput) as caught:
        motor_on_supply({**PLUNGER, "winding_ohm": 0.0, "supply_ohm": -1.0})
    assert len(caught.value.problems) == 2


def test_permanent_magnet_and_battery_data_are_checked() -> None:
    """Impossible plate data or battery readings are refused."""
    with pytest.raises(BadInput, match="motor data"):
        motor_from_no_load(12.0, 0.0, 0.03)
    with pytest.raises(BadInput, match="battery"):
        internal_ohm(9.0, 9.4, 100.0)


def test_lead_acid_charge_says_nothing_below_twelve_volts() -> None:
    """Rises with volts, and is not a number where lists disagree."""
    share = lead_acid_charge([11.7, 12.0, 12.3, 12.65, 13.0])
    assert np.isnan(share[0])
    assert list(share[1:]) == pytest.approx([0.25, 0.625, 1.0, 1.0])


def test_slider_holds_at_its_end_stops() -> None:
    """Linear between the stops, flat beyond, and mirrored for a track that runs the other way."""
    fraction, slope = slider_fraction([-10.0, 5.0, 50.0, 120.0], 0.0, 100.0)
    assert list(fraction) == pytest.approx([0.0, 0.05, 0.5, 1.0])
    assert list(slope) == pytest.approx([0.0, 0.01, 0.01, 0.0])
    mirrored, _ = slider_fraction([70.0], 90.0, -80.0)
    assert float(mirrored[0]) == pytest.approx(0.25)
