"""Motors, batteries, screws: against course problems, motor makers' formulas and data sheets."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from idlewright.physics.mechanism import (
    NINE_VOLT_BATTERY,
    PermanentMagnetMotor,
    internal_ohm,
    lead_acid_charge,
    motor_from_no_load,
    motor_on_supply,
    plunger_mm_per_s,
    radians_per_second,
    stepper_mm_per_step,
    volt_second_per_radian,
)


def test_permanent_magnet_motor_at_a_load_speed() -> None:
    """Source: a course problem (question seen, answer worked here): 12 V, 3,800 rpm free, 30 mNm
    stalled, run at 2,500 rpm. Powers must add up.
    """
    motor = motor_from_no_load(12.0, 3800.0, 0.030)
    assert motor.newton_metre_per_amp == pytest.approx(0.0301557, abs=1e-7)
    assert motor.ohm == pytest.approx(12.0623, abs=1e-4)
    point = motor.at_speed(12.0, 2500.0)
    assert point.torque_nm == pytest.approx(0.0102632, abs=1e-7)
    assert point.amp == pytest.approx(0.340339, abs=1e-6)
    assert point.emf_volt == pytest.approx(7.894737, abs=1e-6)
    assert point.electrical_watt == pytest.approx(4.08407, abs=1e-5)
    assert point.shaft_watt == pytest.approx(2.68689, abs=1e-5)
    assert point.copper_watt == pytest.approx(1.39718, abs=1e-5)
    left = point.electrical_watt - point.shaft_watt - point.copper_watt - point.friction_watt
    assert abs(left) < 1e-12


def test_motor_data_with_unequal_constants_do_not_balance() -> None:
    """Source: a course problem (question seen): Kt 0.12 Nm/A, Ke 12 V/krpm, 1.5 ohm, 10 V.

    Its own answers follow, 833.33 rpm, 6.6667 A and 0.8 Nm, 208.33 rpm at 0.6 Nm, but Ke is
    0.114592 V s/rad, 4.5 % below Kt, so shaft and copper power exceed what goes in.
    """
    back_emf = volt_second_per_radian(12.0)
    assert back_emf == pytest.approx(0.114592, abs=1e-6)
    assert back_emf / 0.12 - 1.0 == pytest.approx(-0.045, abs=5e-4)
    assert PermanentMagnetMotor(back_emf, 1.5).free_rpm(10.0) == pytest.approx(833.33, abs=0.01)
    stalled = PermanentMagnetMotor(0.12, 1.5).at_speed(10.0, 0.0)
    assert stalled.amp == pytest.approx(6.6667, abs=1e-4)
    assert stalled.torque_nm == pytest.approx(0.8)
    loaded = PermanentMagnetMotor(back_emf, 1.5).at_speed(10.0, 208.3333)
    assert loaded.amp == pytest.approx(5.0, abs=1e-5)
    by_kt = 0.12 * loaded.amp * radians_per_second(208.3333)
    assert loaded.electrical_watt - by_kt - loaded.copper_watt == pytest.approx(-0.59, abs=0.01)


def test_motor_constants_in_makers_units() -> None:
    """Source: motor makers' formula sheets (from memory): 1 V/krpm = 0.00954930 V s/rad, and speed
    constant (rpm/V) x torque constant (mNm/A) = 30000/pi.
    """
    assert volt_second_per_radian(1.0) == pytest.approx(0.00954930, rel=1e-6)
    motor = PermanentMagnetMotor(0.02, 8.0)
    product = motor.free_rpm(1.0) * motor.newton_metre_per_amp * 1000.0
    assert product == pytest.approx(9549.297, rel=1e-6)


def test_peak_efficiency_formula_is_the_true_maximum() -> None:
    """Source: motor makers' formula (from memory), (1 - sqrt(I0/IA))^2: 12 V, 3 ohm, 0.1 A free."""
    motor = PermanentMagnetMotor(0.02, 3.0, no_load_amp=0.1)
    efficiency, amp = motor.best_efficiency(12.0)
    assert efficiency == pytest.approx(0.7087722, abs=1e-6)
    assert amp == pytest.approx(0.6324555, abs=1e-6)

    def lost(rpm: float) -> float:
        point = motor.at_speed(12.0, rpm)
        return -point.shaft_watt / point.electrical_watt

    best = minimize_scalar(lost, bounds=(100.0, motor.free_rpm(12.0)), method="bounded")
    assert -float(best.fun) == pytest.approx(efficiency, abs=1e-6)


@pytest.mark.parametrize(("volt", "rpm", "stall_nm"), [(12.0, 3800.0, 0.03), (5.0, 9000.0, 0.004)])
def test_greatest_power_is_at_half_speed_and_half_stall_current(
    volt: float, rpm: float, stall_nm: float
) -> None:
    """Source: textbook, any linear motor: P = Ts w0 / 4; T(n) = Ts (1 - n/n0)."""
    motor = motor_from_no_load(volt, rpm, stall_nm)
    half = motor.at_speed(volt, rpm / 2.0)
    assert half.shaft_watt == pytest.approx(stall_nm * radians_per_second(rpm) / 4.0, rel=1e-12)
    assert half.amp == pytest.approx(motor.at_speed(volt, 0.0).amp / 2.0, rel=1e-12)
    for share in (0.3, 0.45, 0.55, 0.9):
        point = motor.at_speed(volt, share * rpm)
        assert point.torque_nm == pytest.approx(stall_nm * (1.0 - share), rel=1e-12)
        assert point.shaft_watt < half.shaft_watt


def test_motor_on_a_nine_volt_battery_is_slower_the_same_way_round() -> None:
    """Source: battery with internal resistance plus the motor equations: Kt 0.02, 8 ohm, friction
    0.05 A; 9 V with 1.7 ohm gives 4,066 rpm, 0.928 A and 7.42 V stalled; 12.6 V with 0.01 ohm 5,825
    rpm and 1.573 A. That a motor which runs on 9 V runs on 12 V is common practice.
    """
    volt, ohm = NINE_VOLT_BATTERY
    motor = PermanentMagnetMotor(0.02, 8.0, no_load_amp=0.05)
    assert motor.free_rpm(volt, ohm) == pytest.approx(4066.0, abs=0.5)
    assert motor.free_rpm(12.6, 0.01) == pytest.approx(5825.0, abs=0.5)
    both = motor_on_supply(
        {
            "supply_volt": np.array([volt, 12.6]),
            "supply_ohm": np.array([ohm, 0.01]),
            "winding_ohm": 8.0,
            "run_amp": 0.05,
            "break_amp": 0.2,
            "volt_s_per_mm": 3.0,
            "stroke_mm": 10.0,
        }
    )
    assert both.stall_amp == pytest.approx([0.928, 1.573], abs=5e-4)
    assert float(both.stall_volt[0]) == pytest.approx(7.42, abs=0.005)
    assert float(both.seconds[0]) > float(both.seconds[1]) > 0.0
    ratio = motor.free_rpm(12.6, 0.01) / motor.free_rpm(volt, ohm)
    assert float(both.seconds[0] / both.seconds[1]) == pytest.approx(ratio, rel=1e-12)


def test_nine_volt_battery_has_the_internal_resistance_of_its_data_sheet() -> None:
    """Source: a maker's data sheet for IEC 6LR61, 1,700 milliohm at 1 kHz; order of size only."""
    volt, ohm = NINE_VOLT_BATTERY
    assert volt == pytest.approx(9.0, abs=0.6)
    assert 1.0 <= ohm <= 5.0


def test_internal_resistance_from_two_loads() -> None:
    """Source: r = R (E/V - 1): 9.4 V open, 8.9 V on 100 ohm, 5.618 ohm."""
    assert internal_ohm(9.4, 8.9, 100.0) == pytest.approx(5.618, abs=1e-3)


def test_lead_acid_battery_at_rest() -> None:
    """Common practice, no source: 12.6-12.7, 12.4-12.45, 12.2, 12.0-12.06 V for 100, 75, 50, 25 %
    (0.1 V); a mailing-list post gives 12.6/12.4/12.2/12.0. Only order and 0.1 V are asked.
    """
    share = lead_acid_charge([12.03, 12.2, 12.42, 12.65])
    assert share == pytest.approx([0.25, 0.5, 0.75, 1.0], abs=0.05)
    assert np.all(np.diff(share) > 0.0)


def test_plunger_and_stepper_travel() -> None:
    """Source: definitions. 3,000 rpm, 20:1, lead 1 mm: 2.5 mm/s. 7.5 degrees a step, lead 2 mm: 48
    steps a turn, 0.0416667 mm a step.
    """
    assert plunger_mm_per_s(3000.0, 20.0, 1.0) == pytest.approx(2.5, rel=1e-15)
    assert stepper_mm_per_step(7.5, 2.0) == pytest.approx(2.0 / 48.0, rel=1e-15)
    assert stepper_mm_per_step(7.5, 2.0) == pytest.approx(0.0416667, abs=1e-7)
