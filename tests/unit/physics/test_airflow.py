from __future__ import annotations

import mpmath
import numpy as np
import pytest

from idlewright.errors import BadInput
from idlewright.physics.airflow import (
    critical_ratio,
    effective_area_mm2,
    flow_function,
    flow_function_slope,
    mass_flow_kg_s,
    standard_atmosphere,
    throttle_area_mm2,
)


def exact_flow(ratio: float) -> mpmath.mpf:
    """The subsonic formula in 40 digits."""
    g = mpmath.mpf(14) / 10
    r = mpmath.mpf(ratio)
    return mpmath.sqrt(2 * g / (g - 1) * (r ** (2 / g) - r ** ((g + 1) / g)))


def test_flow_function_keeps_its_digits_up_to_ratio_one() -> None:
    """Within 1e-13 of 40-digit arithmetic however small the pressure drop is."""
    with mpmath.workdps(40):
        for ratio in (0.53, 0.7, 0.99, 1 - 2.0**-20, 1 - 2.0**-40):
            assert float(flow_function(ratio)) == pytest.approx(float(exact_flow(ratio)), rel=1e-13)


def test_flow_function_slope_is_the_derivative_of_its_logarithm() -> None:
    """Exact derivative below and above the critical ratio."""
    with mpmath.workdps(40):
        for ratio in (0.53, 0.6, 0.9, 0.999):
            exact = mpmath.diff(lambda r: mpmath.log(exact_flow(r)), ratio)
            assert float(flow_function_slope(ratio)) == pytest.approx(float(exact), rel=1e-12)
    assert np.all(flow_function_slope(np.array([0.0, 0.3, 0.5])) == 0.0)


def test_flow_function_joins_smoothly_where_it_chokes() -> None:
    """Value and first derivative meet at the critical ratio."""
    border = critical_ratio()
    below, above = flow_function(border - 1e-9), flow_function(border + 1e-9)
    assert float(below) == pytest.approx(float(above), rel=1e-12)
    assert abs(float(flow_function_slope(border + 1e-9))) < 1e-6


@pytest.mark.parametrize("ratio", [-0.01, 1.001, np.nan])
def test_flow_function_refuses_backward_flow(ratio: float) -> None:
    """A pressure ratio outside 0 to 1 is an error, not a silent zero."""
    with pytest.raises(BadInput, match="pressure ratio"):
        flow_function(ratio)
    with pytest.raises(BadInput, match="pressure ratio"):
        flow_function_slope(ratio)


def test_mass_flow_and_effective_area_undo_each_other() -> None:
    """Area -> flow -> area, choked and not, broadcast over arrays."""
    down = np.array([20.0, 60.0, 95.0])
    flow = mass_flow_kg_s(13.9, 101.325, down, 293.0)
    assert flow.shape == (3,)
    assert effective_area_mm2(flow, 101.325, down, 293.0) == pytest.approx(13.9, rel=1e-14)


def test_standard_atmosphere_refuses_the_stratosphere() -> None:
    """Only the troposphere's formula is here, so greater heights are refused."""
    with pytest.raises(BadInput, match="troposphere"):
        standard_atmosphere([0.0, 12_000.0])


def test_throttle_area_stops_growing_once_the_shaft_hides_the_plate() -> None:
    """Never falls with angle; constant, bore minus shaft band, at the end."""
    angle = np.linspace(7.0, 90.0, 400)
    area = throttle_area_mm2(50.0, 8.0, angle, 7.0)
    assert float(area[0]) == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.diff(area) >= -1e-9)
    assert area[-20:] == pytest.approx(area[-1], rel=1e-14)


def test_throttle_area_without_shaft_is_the_plain_ellipse() -> None:
    """(pi D^2 / 4)(1 - cos angle / cos closed)."""
    expected = np.pi * 2500.0 / 4.0 * (1.0 - np.cos(np.radians(40.0)) / np.cos(np.radians(7.0)))
    assert float(throttle_area_mm2(50.0, 0.0, 40.0, 7.0)) == pytest.approx(expected, rel=1e-13)


def test_throttle_area_agrees_with_direct_integration() -> None:
    """Bore minus the union of plate ellipse and shaft band, by strips across the bore."""
    bore, shaft, angle, closed = 42.0, 9.0, 25.0, 5.0
    squash = np.cos(np.radians(angle)) / np.cos(np.radians(closed))
    along = (np.arange(200_000) + 0.5) / 200_000 * bore / 2.0
    edge = np.sqrt((bore / 2.0) ** 2 - along**2)
    covered = np.maximum(squash * edge, np.minimum(shaft / 2.0, edge))
    strips = 4.0 * float(np.sum(edge - covered)) * (bore / 2.0) / 200_000
    assert float(throttle_area_mm2(bore, shaft, angle, closed)) == pytest.approx(strips, rel=1e-6)


@pytest.mark.parametrize(
    ("bore", "shaft", "angle", "closed"),
    [
        (50.0, 50.0, 20.0, 7.0),
        (50.0, -1.0, 20.0, 7.0),
        (50.0, 8.0, 6.0, 7.0),
        (50.0, 8.0, 91.0, 7.0),
    ],
)
def test_throttle_area_refuses_impossible_shapes(
    bore: float, shaft: float, angle: float, closed: float
) -> None:
    """A shaft as wide as the bore or a plate beyond its stops is an error."""
    with pytest.raises(BadInput, match="throttle"):
        throttle_area_mm2(bore, shaft, angle, closed)
