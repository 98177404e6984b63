import subprocess
import sys
from decimal import Decimal

import pytest

from idlewright.errors import BadInput
from idlewright.quantities import (
    BASE_UNIT,
    DIMENSIONS,
    UNIT_OF_READ,
    UNITS,
    Overload,
    Quantity,
    Where,
    convert,
    format_quantity,
    format_range,
    near_unit,
    parse_display,
    parse_quantity,
    quoted,
    split_word_number,
)


@pytest.mark.parametrize(
    ("text", "value", "unit", "step"),
    [
        ("0.52 V", 0.52, "V", 0.01),
        ("520 mV", 0.52, "V", 0.001),
        ("520mV", 0.52, "V", 0.001),
        ("0.520 V", 0.52, "V", 0.001),
        ("-12.60 volts", -12.6, "V", 0.01),
        ("\u22120.02 V", -0.02, "V", 0.01),
        (".5 V", 0.5, "V", 0.1),
        ("4.7 kΩ", 4700.0, "ohm", 100.0),
        ("4.7 k\u2126", 4700.0, "ohm", 100.0),
        ("4.7 kOhm", 4700.0, "ohm", 100.0),
        ("10 MOHM", 10e6, "ohm", 1e6),
        ("0.3 ohms", 0.3, "ohm", 0.1),
        ("20 mohm", 0.02, "ohm", 0.001),
        ("1e3 ohm", 1000.0, "ohm", 1000.0),
        ("5 µA", 5e-6, "A", 1e-6),
        ("1,800 rpm", 1800.0, "rpm", 1.0),
        ("800 RPM", 800.0, "rpm", 1.0),
        ("18 in. Hg", 60.954995526138, "kPa", 3.386388640341),
        ('0.5 "', 12.7, "mm", 2.54),
        ("10 mm²", 10.0, "mm2", 1.0),
        ("12.5°", 12.5, "deg", 0.1),
        ("2 min", 120.0, "s", 60.0),
        ("45 %", 45.0, "%", 1.0),
        ("195 °F", 90.5555555555555, "degC", 0.5555555555555556),
        ("2.8 L", 2800.0, "cc", 100.0),
        ("10 N·m", 10.0, "Nm", 1.0),
        ("0 L", 0.0, "cc", 1000.0),
    ],
)
def test_a_number_and_its_unit_are_read_with_the_size_of_the_last_digit(
    text: str, value: float, unit: str, step: float
) -> None:
    """Common ways of writing one quantity give the same base value; the step is the last digit."""
    found = parse_quantity(text)
    assert found.value == pytest.approx(value, rel=1e-14)
    assert (found.unit, found.typed) == (unit, text)
    assert found.step == pytest.approx(step, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0,52 V", 0.52),
        ("12,6 V", 12.6),
        ("0,520 V", 0.52),
        (",5 V", 0.5),
        ("1.234,5 ohm", 1234.5),
        ("1,234.5 ohm", 1234.5),
        ("1,234,567 ohm", 1234567.0),
    ],
)
def test_a_comma_is_taken_where_only_one_meaning_fits(text: str, value: float) -> None:
    """A decimal comma, or commas between thousands, where no other reading is possible."""
    assert parse_quantity(text).value == value


@pytest.mark.parametrize("text", ["1,800 V", "12,600 ohm", "1.800 rpm"])
def test_a_comma_that_can_mean_two_things_is_refused_with_both(text: str) -> None:
    """Neither a thousand times too much nor too little is guessed."""
    with pytest.raises(BadInput, match="can be read as") as caught:
        parse_quantity(text)
    assert caught.value.problems[0].remedy.startswith("type ")


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("OL", ""), ("ol", ""), ("O.L", ""), ("0L", ""), ("0.L", ""),
        ("OL Mohm", "Mohm"), ("0.L kΩ", "kohm"), ("open", ""), ("Open circuit", ""),
        ("overload", ""), ("over range", ""),
    ],
)  # fmt: skip
def test_an_overload_is_no_number(text: str, unit: str) -> None:
    """Every way of writing the overload display is recognised, with the unit shown beside it."""
    assert parse_display(text, dimension="resistance") == Overload(text, unit)
    with pytest.raises(BadInput, match="is no number"):
        parse_quantity(text)


def test_nought_litres_is_a_volume_where_a_volume_is_expected() -> None:
    """ "0L" is an overload on a meter and nought in a measuring jug."""
    found = parse_display("0L", dimension="volume")
    assert isinstance(found, Quantity)
    assert found.value == 0.0


def test_an_overload_is_refused_where_no_instrument_shows_one() -> None:
    """A length cannot be overloaded, and the overload's unit must be of the kind asked for."""
    with pytest.raises(BadInput, match="cannot be a length"):
        parse_display("OL", dimension="length")
    with pytest.raises(BadInput, match="is a voltage, not a resistance"):
        parse_display("OL V", dimension="resistance")


@pytest.mark.parametrize(
    ("text", "dimension", "says", "remedy"),
    [
        ("", "voltage", "is empty", "type what the display showed"),
        ("   ", None, "is empty", "type what the display showed"),
        ("0.52", "voltage", "has no unit", '"0.52 V"'),
        ("5 Vots", "voltage", "is not known", '"5 V"'),
        ("520 MV", "voltage", "is not known", '"520 mV"'),
        ("5 K", "resistance", "is not known", '"5 kohm"'),
        ("5 V", "resistance", "is a voltage, not a resistance", "check which function"),
        ("nan V", None, "is not a number", '"OL"'),
        ("-inf ohm", None, "is not a number", '"OL"'),
        ("∞ ohm", None, "is not a number", '"OL"'),
        ("1" * 10_000 + " V", None, "is too long", "one number"),
        ("1234567890123456 V", None, "more digits than any display", ""),
        ("1e99 V", None, "is larger than anything", "exponent"),
        ("0e99 V", None, "is larger than anything", "exponent"),
        ("\U0001f600", None, "does not start with a number", ""),
        ("5 \U0001f600", None, "is not known", ""),
        ("0.5 V 0.6 V", None, "holds more than one number", "type one number"),
        ("1-2 V", None, "holds more than one number", "type one number"),
        ("1 800 rpm", None, "holds more than one number", "type one number"),
        ("1/16 in", None, "holds more than one number", "type one number"),
        ("10² V", None, "is not known", ""),
        ("12..5 V", None, "cannot be read", "one decimal point"),
        ("1,5,3 V", None, "cannot be read", "one decimal point"),
        ("open plug", None, "does not start with a number", ""),
        ("٣ V", None, "does not start with a number", ""),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_refused_with_a_remedy(
    text: str, dimension: str | None, says: str, remedy: str
) -> None:
    """Each refusal says what is wrong and, where something helps, what to type instead."""
    assert dimension in (None, *DIMENSIONS)
    with pytest.raises(BadInput) as caught:
        parse_display(text, dimension=dimension)  # type: ignore[arg-type]
    (problem,) = caught.value.problems
    assert says in problem.says
    assert remedy in problem.remedy
    assert len(problem.says) < 150


def test_an_unknown_unit_names_the_possible_ones() -> None:
    """A missing unit lists what could have been meant."""
    with pytest.raises(BadInput) as caught:
        parse_quantity("4.7", dimension="resistance")
    assert "ohm, mohm, kohm, Mohm" in caught.value.problems[0].expected


def test_an_error_carries_its_place() -> None:
    """File, line and key reach the message."""
    with pytest.raises(BadInput) as caught:
        parse_quantity("x", where=Where("job.toml", 7, "reading.value"))
    assert str(caught.value).startswith('job.toml:7: reading.value: "x" does not start')


def test_control_characters_do_not_reach_the_terminal() -> None:
    """A message shows an escape character as text and cuts a long text short."""
    assert quoted("\x1b[31mred") == '"\\x1b[31mred"'
    assert len(quoted("a" * 1000)) == 42


def test_capitals_never_turn_milli_into_mega() -> None:
    """Another mix of capitals is taken except in the first letter of m and M."""
    assert parse_quantity("5 mv").value == 0.005
    assert parse_quantity("5 KPA").value == 5.0
    for text in ("5 Mv", "5 MA", "5 MS", "5 MW"):
        with pytest.raises(BadInput):
            parse_quantity(text)


@pytest.mark.parametrize(
    ("typed", "low", "high", "meant"),
    [
        ("520 V", 0.0, 20.0, "520 mV"),
        ("0.52 mV", 0.3, 1.0, "0.52 V"),
        ("4.7 ohm", 1e3, 10e3, "4.7 kohm"),
        ("4.70 Mohm", 1e3, 10e3, "4.70 kohm"),
        ("18 kPa", 50.0, 70.0, "18 inHg"),
        ("1.5 s", 60.0, None, "1.5 min"),
    ],
)
def test_a_slip_of_unit_is_named(typed: str, low: float, high: float, meant: str) -> None:
    """Outside what is possible here, the same number in the unit that fits is offered."""
    found = near_unit(parse_quantity(typed), low, high)
    assert found is not None
    assert found.typed == meant
    assert found == parse_quantity(meant)


def test_no_slip_is_named_when_the_typed_unit_fits_or_none_does() -> None:
    """A reading that is possible as typed is left alone, and so is one that never fits."""
    assert near_unit(parse_quantity("5 V"), 0.0, 20.0) is None
    assert near_unit(parse_quantity("520 rpm"), 5000.0, 6000.0) is None
    assert near_unit(parse_quantity("5 V"), 100.0, 101.0) is None


@pytest.mark.parametrize(
    ("value", "unit", "step", "text"),
    [
        (0.52, "V", None, "0.52 V"),
        (0.52, "V", 0.001, "0.520 V"),
        (0.02, "V", 0.001, "20 mV"),
        (0.0, "V", 0.001, "0 mV"),
        (0.0, "V", 0.01, "0 mV"),
        (-1e-5, "V", 0.001, "0 mV"),
        (12.634, "V", 0.01, "12.63 V"),
        (4700.0, "ohm", 10.0, "4.70 kohm"),
        (15e6, "ohm", None, "15 Mohm"),
        (0.3, "ohm", 0.1, "0.3 ohm"),
        (1800.0, "rpm", 1.0, "1,800 rpm"),
        (1847.0, "rpm", 10.0, "1,850 rpm"),
        (12345.6, "rpm", None, "12,346 rpm"),
        (0.035, "A", 0.001, "35 mA"),
        (61.2345, "kPa", None, "61.23 kPa"),
        (98.6, "degF", 0.1, "98.6 degF"),
        (float("inf"), "V", None, "no limit"),
    ],
)
def test_numbers_are_written_for_people(
    value: float, unit: str, step: float | None, text: str
) -> None:
    """A handy unit, the word ohm, no more digits than known, thousands comma for engine speed."""
    assert format_quantity(value, unit, step) == text


def test_limits_are_written_in_one_unit() -> None:
    """A range names its unit once; one-sided limits say so."""
    assert format_range(0.47, 0.57, "V") == "0.47 to 0.57 V"
    assert format_range(0.0, 0.05, "V") == "0 to 50 mV"
    assert format_range(10e3, None, "ohm") == "at least 10 kohm"
    assert format_range(None, 1.0, "ohm") == "at most 1 ohm"
    assert format_range(700.0, 1800.0, "rpm") == "700 to 1,800 rpm"
    assert format_range(None, float("inf"), "V") == "no limit"


def test_word_and_number_are_split_at_the_comma_between_them() -> None:
    """A decimal comma is not mistaken for the comma after a word."""
    assert split_word_number("smoke, 520 mV") == ("smoke", "520 mV")
    assert split_word_number("closed, 0,3 ohm") == ("closed", "0,3 ohm")
    assert split_word_number("0,52 V") == ("", "0,52 V")
    assert split_word_number("turns") == ("turns", "")
    assert split_word_number("OL") == ("", "OL")


def test_an_exponent_leaves_no_decimals_below_nought() -> None:
    """ "1e3 ohm" shows no decimals; "1.5e-3 V" shows four."""
    assert parse_quantity("1e3 ohm").decimals == 0
    assert parse_quantity("1.5e-3 V").decimals == 4


def test_every_spelling_names_one_unit() -> None:
    """No spelling is claimed twice, every dimension has a base unit with factor 1 and offset 0."""
    spellings = [s for unit in UNITS.values() for s in (unit.name, *unit.aliases)]
    assert len(spellings) == len(set(spellings))
    assert set(BASE_UNIT) == set(DIMENSIONS)
    for name in BASE_UNIT.values():
        assert (UNITS[name].factor, UNITS[name].offset) == (Decimal(1), Decimal(0))
    assert set(UNIT_OF_READ.values()) <= set(UNITS)


def test_conversion_needs_two_units_of_a_kind() -> None:
    """Volts do not turn into ohms, and an unknown unit is named."""
    assert convert(520.0, "mV", "V") == 0.52
    for unit, to in (("V", "ohm"), ("V", "vim")):
        with pytest.raises(BadInput, match="cannot be turned"):
            convert(1.0, unit, to)


def test_reading_typed_values_imports_no_numerical_library() -> None:
    """The command line can read a typed value before anything heavy is imported."""
    code = "import sys, idlewright.quantities; print({'numpy','scipy','pydantic'} & {*sys.modules})"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "set()"
