"""How a number is written for people: a handy unit, no more digits than are known."""

from __future__ import annotations

import math
from typing import Final

from idlewright.quantities.units import convert

# base unit -> (use this unit from this size of the base unit on), largest first. Millivolts are
# kept for voltage drops (below 0.1 V), so that a sensor's 0.52 V stands beside the book's volts.
_HANDY: Final[dict[str, tuple[tuple[float, str], ...]]] = {
    "V": ((1e3, "kV"), (0.1, "V"), (1e-4, "mV"), (0.0, "uV")),
    "ohm": ((1e6, "Mohm"), (1e3, "kohm"), (0.0, "ohm")),
    "A": ((0.1, "A"), (1e-4, "mA"), (0.0, "uA")),
}
_ZERO_AS: Final = {"V": "mV", "A": "mA"}
_MOST_DECIMALS: Final = 9


def format_quantity(value: float, unit: str, step: float | None = None) -> str:
    """A value (in a unit of the table) as text: "0.52 V", "20 mV", "4.70 kohm", "1,800 rpm".

    Args:
        value: the number, in `unit`; infinity is written "no limit".
        unit: its unit, e.g. "V".
        step: size of the last digit that is known, in `unit`. None: four significant digits, or
            whole revolutions per minute, without trailing noughts.
    """
    if math.isinf(value):
        return "no limit"
    shown = handy_unit(max(abs(value), step or 0.0), unit)
    return f"{_figure(value, unit, shown, step)} {shown}"


def format_range(low: float | None, high: float | None, unit: str) -> str:
    """Limits as text in one unit: "0.47 to 0.57 V", "at least 10 kohm", "at most 1 ohm"."""
    least = None if low is None or math.isinf(low) else low
    most = None if high is None or math.isinf(high) else high
    if least is None and most is None:
        return "no limit"
    if most is None:
        return f"at least {format_quantity(least or 0.0, unit)}"
    if least is None:
        return f"at most {format_quantity(most, unit)}"
    shown = handy_unit(max(abs(least), abs(most)), unit)
    ends = (_figure(end, unit, shown, None) for end in (least, most))
    return f"{' to '.join(ends)} {shown}"


def handy_unit(value: float, unit: str) -> str:
    """The unit people would use for a value of this size; only V, ohm and A ever change."""
    if value == 0.0:
        return _ZERO_AS.get(unit, unit)
    for least, name in _HANDY.get(unit, ()):
        if abs(value) >= least:
            return name
    return unit


def _figure(value: float, unit: str, shown: str, step: float | None) -> str:
    number = convert(value, unit, shown)
    grouping = "," if shown == "rpm" else ""
    if step is None:
        plain = f"{number:{grouping}.0f}" if shown == "rpm" else _four_digits(number)
        return _no_minus_nought(plain)
    size = abs(convert(step, unit, shown) - convert(0.0, unit, shown))
    decimals = _decimals(size)
    rounded = round(number, decimals)
    return _no_minus_nought(f"{rounded:{grouping}.{max(0, decimals)}f}")


def _decimals(size: float) -> int:
    """Decimal places whose unit is the largest power of ten not above `size`; may be negative."""
    if not size > 0.0:
        return _MOST_DECIMALS
    return min(_MOST_DECIMALS, -math.floor(math.log10(size) + 1e-9))


def _four_digits(number: float) -> str:
    if number == 0.0:
        return "0"
    places = max(0, 3 - math.floor(math.log10(abs(number))))
    plain = f"{number:.{min(places, 12)}f}"
    return plain.rstrip("0").rstrip(".") if "." in plain else plain


def _no_minus_nought(text: str) -> str:
    return text.lstrip("-") if not text.strip("-0.,") else text
