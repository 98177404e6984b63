"""Readings, limits and ranges as text."""

from __future__ import annotations

import pytest

from idlewright.report import quantity_words as q


@pytest.mark.parametrize(
    ("low", "high", "unit", "text"),
    [
        (0.47, 0.57, "V", "0.47 to 0.57 V"),
        (4.8, 5.25, "V", "4.80 to 5.25 V"),
        (None, 0.03, "V", "at most 30 mV"),
        (600, None, "rpm", "at least 600 rpm"),
        (1350, 1850, "rpm", "1,350 to 1,850 rpm"),
        (4700, 5300, "ohm", "4.7 to 5.3 kohm"),
        (None, None, "V", ""),
        (2, 2, "mm", "2 mm"),
    ],
)
def test_span(low: float | None, high: float | None, unit: str, text: str) -> None:
    """Both ends share unit and decimals; one-sided limits say at least or at most."""
    assert q.span_text(low, high, unit, 6) == text


def test_limits_take_the_unit_that_was_typed() -> None:
    """A reading typed in mV keeps its limits in mV, one typed in V in V."""
    reading = {"unit": "V", "typed": "280 mV"}
    assert q.limits_text(reading, {"low": 0.25, "high": 0.3}) == "250 to 300 mV"
    reading = {"unit": "V", "typed": "0.03 V"}
    assert q.limits_text(reading, {"low": None, "high": 0.03}) == "at most 0.03 V"


def test_a_reading_reads_as_typed() -> None:
    """The typed text wins; open circuit is OL; else the number with its unit."""
    assert q.reading_text({"typed": "0.930 V", "value": 0.93, "unit": "V"}) == "0.930 V"
    assert q.reading_text({"overload": True, "value": None}) == "OL"
    assert q.reading_text({"value": 0.028, "unit": "V"}) == "28 mV"
    assert q.reading_text({"value": None, "word": "no gap"}) == "no gap"


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.93, "0.36 V above the limit"), (0.4, "0.07 V below the limit"),
     (0.5, "0.03 V inside the nearer limit")],
)  # fmt: skip
def test_margin(value: float, text: str) -> None:
    """The margin is to the nearer limit, with its side."""
    reading = {"value": value, "unit": "V", "typed": f"{value} V"}
    assert q.margin_text(reading, {"low": 0.47, "high": 0.57}) == text


def test_width_is_two_standard_uncertainties() -> None:
    """The meter's width is the expanded uncertainty, in the unit that suits it."""
    assert q.width_text({"value": 0.93, "unit": "V", "u": 0.0044}) == "±8.8 mV"
    assert q.width_text({"value": None, "u": 0.1}) == ""


def test_large_numbers_have_commas() -> None:
    """Thousands carry a comma; three figures suffice for what is computed."""
    assert q.number_text(1847.0, 3) == "1,850"
    assert q.number_text(1847.0, 6) == "1,847"
