"""Unit factors against their definitions, in exact fractions, and against a printed table.

Definitions: inch 25.4 mm and pound 0.45359237 kg (agreement of 1959), standard gravity
9.80665 m/s2 (3rd CGPM, 1901), foot 12 in, bar 100 kPa, litre 1 dm3, conventional mercury
13 595.1 kg/m3. Printed table: NIST Special Publication 811, appendix B.8 (from memory).
"""

from fractions import Fraction

import pytest

from idlewright.quantities import UNITS, convert, parse_quantity

INCH_M = Fraction("0.0254")
POUND_FORCE_N = Fraction("0.45359237") * Fraction("9.80665")
MERCURY_PA_PER_M = Fraction("13595.1") * Fraction("9.80665")


@pytest.mark.parametrize(
    ("unit", "base_per_unit"),
    [
        ("in", INCH_M * 1000),
        ("thou", INCH_M),
        ("ft", INCH_M * 12_000),
        ("in2", (INCH_M * 1000) ** 2),
        ("in3", (INCH_M * 100) ** 3),
        ("psi", POUND_FORCE_N / INCH_M**2 / 1000),
        ("inHg", MERCURY_PA_PER_M * INCH_M / 1000),
        ("mmHg", MERCURY_PA_PER_M / 1_000_000),
        ("lbft", POUND_FORCE_N * INCH_M * 12),
        ("lbin", POUND_FORCE_N * INCH_M),
        ("bar", Fraction(100)),
        ("mbar", Fraction(1, 10)),
        ("hPa", Fraction(1, 10)),
        ("Pa", Fraction(1, 1000)),
        ("L", Fraction(1000)),
        ("min", Fraction(60)),
        ("h", Fraction(3600)),
        ("degF", Fraction(5, 9)),
    ],
)
def test_factors_follow_from_the_definitions(unit: str, base_per_unit: Fraction) -> None:
    """Every factor equals its defining fraction to the last digit a double can hold."""
    assert abs(Fraction(UNITS[unit].factor) / base_per_unit - 1) < Fraction(1, 10**15)


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("1 inHg", "Pa", 3386.389),
        ("1 mmHg", "Pa", 133.3224),
        ("1 psi", "Pa", 6894.757),
        ("1 ft", "m", 0.3048),
        ("1 in3", "cc", 16.38706),
        ("1 lbft", "Nm", 1.355818),
        ("1 lbin", "Nm", 0.1129848),
    ],
)
def test_printed_conversion_factors(typed: str, unit: str, value: float) -> None:
    """NIST SP 811 B.8 prints seven digits, the last of them rounded."""
    assert parse_quantity(typed).in_unit(unit) == pytest.approx(value, rel=5e-7)


def test_fixed_points_of_temperature() -> None:
    """-40 is the same on both scales, 32 degF is 0 degC, 212 degF is 100 degC (definition)."""
    for fahrenheit, celsius in ((-40.0, -40.0), (32.0, 0.0), (212.0, 100.0)):
        assert convert(fahrenheit, "degF", "degC") == pytest.approx(celsius, abs=1e-12)
        assert convert(celsius, "degC", "degF") == pytest.approx(fahrenheit, abs=1e-12)


@pytest.mark.parametrize(
    ("prefixed", "base", "exponent"),
    [
        ("mV", "V", -3), ("uV", "V", -6), ("kV", "V", 3), ("mohm", "ohm", -3), ("kohm", "ohm", 3),
        ("Mohm", "ohm", 6), ("mA", "A", -3), ("uA", "A", -6), ("ms", "s", -3), ("kHz", "Hz", 3),
        ("mW", "W", -3), ("kW", "W", 3),
    ],
)  # fmt: skip
def test_metric_prefixes(prefixed: str, base: str, exponent: int) -> None:
    """SI prefixes are powers of ten, exactly."""
    assert Fraction(UNITS[prefixed].factor) == Fraction(10) ** exponent
    assert Fraction(UNITS[base].factor) == 1


def test_every_scaled_unit_is_checked_here() -> None:
    """A unit added to the table needs a line in this file."""
    checked = {"cm", "m", "mm", "cm2"}
    assert [UNITS[u].factor for u in ("cm", "m", "cm2")] == [10, 1000, 100]
    for test in (test_factors_follow_from_the_definitions, test_metric_prefixes):
        checked |= {case[0] for case in test.pytestmark[0].args[1]}
    scaled = {unit.name for unit in UNITS.values() if unit.factor != 1}
    assert scaled <= checked
