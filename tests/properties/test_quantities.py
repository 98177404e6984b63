import math

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from idlewright.errors import BadInput
from idlewright.quantities import (
    BASE_UNIT,
    UNITS,
    Quantity,
    convert,
    format_quantity,
    near_unit,
    parse_display,
    parse_quantity,
)

STEADY = settings(derandomize=True, max_examples=300, deadline=None)
NAMES = st.sampled_from(sorted(UNITS))
DECADES = st.integers(-4, 3).map(lambda power: float(f"1e{power}"))
BASES = st.sampled_from(["V", "ohm", "A", "kPa", "mm", "deg", "s", "%"])


@STEADY
@given(value=st.floats(-1e6, 1e6), name=NAMES)
def test_a_conversion_is_undone_by_its_inverse(value: float, name: str) -> None:
    """To the base unit and back returns the value, to rounding of value and offset."""
    base = BASE_UNIT[UNITS[name].dimension]
    back = convert(convert(value, name, base), base, name)
    assert math.isclose(back, value, rel_tol=1e-14, abs_tol=1e-13)


@STEADY
@given(count=st.integers(-39_999, 39_999), step=DECADES, unit=BASES)
def test_what_is_shown_reads_back_as_the_same_number_and_step(
    count: int, step: float, unit: str
) -> None:
    """Formatting with a step and parsing again keeps value and, where digits show it, step."""
    value = count * step
    text = format_quantity(value, unit, step)
    back = parse_quantity(text)
    assert back.unit == unit
    assert math.isclose(back.value, value, rel_tol=1e-12, abs_tol=1e-12)
    assert back.step <= step * (1 + 1e-9)
    if step < 1.0 or unit in ("V", "ohm"):
        assume(not (back.decimals == 0 and back.step < step))
        assert math.isclose(back.step, step, rel_tol=1e-9)


@STEADY
@given(value=st.floats(-20_000, 20_000))
def test_engine_speeds_read_back_with_their_comma(value: float) -> None:
    """ "1,800 rpm" is read as it is written, to the nearest revolution."""
    back = parse_quantity(format_quantity(value, "rpm"))
    assert abs(back.value - value) <= 0.5 + 1e-9


@STEADY
@given(text=st.text(max_size=80))
def test_any_text_is_a_quantity_an_overload_or_bad_input(text: str) -> None:
    """Nothing typed makes another error, and every quantity is a finite number in a base unit."""
    try:
        found = parse_display(text)
    except BadInput as error:
        assert all(problem.says for problem in error.problems)
        return
    if isinstance(found, Quantity):
        assert math.isfinite(found.value)
        assert 0.0 < found.step < math.inf
        assert found.unit == BASE_UNIT[found.dimension]


@STEADY
@given(
    number=st.decimals(-9999, 9999, places=3),
    name=NAMES,
    gap=st.sampled_from(["", " ", "\u00a0"]),
)
def test_blanks_before_the_unit_do_not_matter(number: object, name: str, gap: str) -> None:
    """Every unit is read after any number, with or without a blank."""
    assume(name != "rpm")  # three decimals of a revolution are refused as ambiguous
    found = parse_quantity(f"{number}{gap}{name}")
    assert math.isclose(found.in_unit(name), float(str(number)), rel_tol=1e-12, abs_tol=1e-12)
    assert found.decimals == 3


@STEADY
@given(number=st.floats(0.001, 999.0), name=NAMES, low=st.floats(0, 1e3), width=st.floats(0, 1e3))
def test_a_named_slip_always_fits(number: float, name: str, low: float, width: float) -> None:
    """What is offered lies within the limits, has the typed number, and another unit."""
    typed = parse_quantity(f"{number:.4f} {name}")
    meant = near_unit(typed, low, low + width)
    if meant is not None:
        assert low <= meant.value <= low + width
        assert not low <= typed.value <= low + width
        assert meant.shown_unit != typed.shown_unit
        assert float(meant.typed.split()[0]) == float(f"{number:.4f}")
