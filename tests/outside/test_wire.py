"""Wire: diameters, resistances and temperature factors against published tables."""

from __future__ import annotations

import numpy as np
import pytest

from idlewright.errors import BadInput
from idlewright.physics.wire import (
    COPPER_PER_KELVIN,
    IACS_OHM_MM2_PER_M,
    METRES_PER_1000_FEET,
    ConductorClass,
    awg_diameter_mm,
    awg_ohm_per_m,
    copper_ohm_per_m,
    copper_ratio,
    iec_60228_factor,
    iec_60228_maximum_ohm_per_km,
    wire_drop_volts,
)

AREAS = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0)


def test_gauge_diameters() -> None:
    """ASTM B258 (formula from memory; mil values of a published wire table agree to 0.005 %):
    diameters in mm to the four decimals given, 0.01 %.
    """
    table = {12: 2.0525, 16: 1.2908, 18: 1.0237, 20: 0.8118, 22: 0.6438, 24: 0.5106}
    found = awg_diameter_mm(list(table))
    assert found == pytest.approx(list(table.values()), rel=1e-4, abs=5e-5)
    assert awg_diameter_mm(-3) == pytest.approx(11.684, abs=1e-9)  # 0000 is 0.4600 inch exactly
    assert awg_diameter_mm(36) == 0.127  # 5 mil exactly


def test_gauge_resistances() -> None:
    """Published wire table, as NBS Circular 31 / Handbook 100: ohm per 1000 ft at 20 C, 100 % IACS.
    The table is rounded to four digits at most: 5e-4 relative.
    """
    table = {
        12: 1.588, 14: 2.525, 16: 4.016, 18: 6.385, 20: 10.15, 22: 16.14, 24: 25.67, 26: 40.81,
        30: 103.2,
    }  # fmt: skip
    found = awg_ohm_per_m(list(table)) * METRES_PER_1000_FEET
    assert found == pytest.approx(list(table.values()), rel=5e-4)


def test_copper_constants() -> None:
    """IEC 60028 (from memory): 0.017241 ohm mm2/m, 0.00393 per K = 1/254.5 to three digits."""
    assert pytest.approx(0.017241, abs=1e-6) == IACS_OHM_MM2_PER_M
    assert pytest.approx(1.0 / 254.5, abs=1e-5) == COPPER_PER_KELVIN


@pytest.mark.parametrize(
    ("conductor", "limits"),
    [
        ("solid", (36.0, 24.5, 18.1, 12.1, 7.41, 4.61, 3.08)),
        ("stranded", (36.0, 24.5, 18.1, 12.1, 7.41, 4.61, 3.08)),
        ("flexible", (39.0, 26.0, 19.5, 13.3, 7.98, 4.95, 3.30)),
    ],
)
def test_maximum_resistances(conductor: ConductorClass, limits: tuple[float, ...]) -> None:
    """IEC 60228 tables 1 to 3 (two to three independent copies; flexible 0.5 and 0.75 on one):
    exact; every limit is 4 to 16 % above a solid copper rod of the nominal cross-section.
    """
    for area, limit in zip(AREAS, limits, strict=True):
        assert iec_60228_maximum_ohm_per_km(area, conductor) == limit
        over = limit / (1000.0 * float(copper_ohm_per_m(area)))
        assert 1.04 <= over <= 1.165


def test_temperature_factors_of_the_cable_standard() -> None:
    """IEC 60228 annex table, as printed to three decimals: coefficient 0.004, not 0.00393."""
    celsius = [5, 10, 15, 25, 30, 40, 50, 75, 100]
    table = [1.064, 1.042, 1.020, 0.980, 0.962, 0.926, 0.893, 0.820, 0.758]
    assert np.round(iec_60228_factor(celsius), 3).tolist() == table
    assert np.round(1.0 / copper_ratio(celsius), 3).tolist() != table


def test_copper_gets_hot() -> None:
    """0.00393 per K (IEC 60028, from memory): 75 C over 20 C, and a 10 ohm winding at 80 C."""
    assert copper_ratio(75.0) == pytest.approx(1.21615, abs=1e-5)
    assert 10.0 * copper_ratio(80.0) == pytest.approx(12.358, abs=1e-3)


def test_harness_drops() -> None:
    """5 m of 0.5 mm2 flexible at 5 mA: 0.975 mV (IEC 60228 limit); gauge 18, 3 m out and 3 m
    back, 4 A: 0.50276 V (worked from ASTM B258 and IEC 60028).
    """
    limit = iec_60228_maximum_ohm_per_km(0.5, "flexible") / 1000.0
    assert wire_drop_volts(limit, 5.0, 0.005) == pytest.approx(0.975e-3, rel=1e-12)
    assert wire_drop_volts(awg_ohm_per_m(18), 6.0, 4.0) == pytest.approx(0.50276, abs=1e-5)


def test_functions_work_element_by_element() -> None:
    """Arrays broadcast: gauges down, temperatures across."""
    assert awg_ohm_per_m(np.array([[18], [20]]), np.array([20.0, 80.0])).shape == (2, 2)


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_numbers_that_are_none_are_refused(value: float) -> None:
    """NaN and infinity are BadInput in every function."""
    for function in (awg_diameter_mm, awg_ohm_per_m, copper_ohm_per_m, copper_ratio):
        with pytest.raises(BadInput):
            function(value)
    with pytest.raises(BadInput):
        iec_60228_factor(value)
    with pytest.raises(BadInput):
        wire_drop_volts(value, 1.0, 1.0)


def test_values_out_of_range_are_refused() -> None:
    """No gauge 57, no area of 0, no copper at 400 C, no length below 0, no 0.6 mm2."""
    for act in (
        lambda: awg_diameter_mm(57),
        lambda: awg_diameter_mm(-4),
        lambda: copper_ohm_per_m(0.0),
        lambda: copper_ratio(400.0),
        lambda: wire_drop_volts(1.0, -1.0, 1.0),
        lambda: iec_60228_maximum_ohm_per_km(0.6, "solid"),
    ):
        with pytest.raises(BadInput):
            act()
