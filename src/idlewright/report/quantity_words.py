"""Readings, limits and ranges as text: numbers with their unit, the way they were typed."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

Answer = Mapping[str, Any]

_UNIT_WORDS = {"volt": "V", "amp": "A", "": ""}
_PREFIXED: dict[str, tuple[tuple[str, float], ...]] = {
    "V": (("V", 1.0), ("mV", 1e-3)),
    "A": (("A", 1.0), ("mA", 1e-3)),
    "ohm": (("Mohm", 1e6), ("kohm", 1e3), ("ohm", 1.0)),
}
_SMALL_FROM = 0.1
_THOUSAND = 1000.0
_LIMIT_DIGITS = 6


def unit_word(unit: str | None) -> str:
    """The unit as written on screen and paper ("V", "ohm", "rpm"), "" for none."""
    text = unit or ""
    return _UNIT_WORDS.get(text, text)


def display_unit(unit: str | None, size: float, typed: str = "") -> tuple[str, float]:
    """The unit to show numbers of this size in, and what one of it is in the base unit.

    A typed reading decides ("28 mV" keeps its limits in mV); otherwise volts and amperes under
    0.1 turn to thousandths and large ohms to kohm and Mohm.
    """
    base = unit_word(unit)
    choices = _PREFIXED.get(base)
    if choices is None:
        return base, 1.0
    tail = re.search(r"([A-Za-z]+)\s*$", typed)
    for name, factor in choices:
        if tail and tail.group(1) == name:
            return name, factor
    if base == "ohm":
        return next((c for c in choices if size >= c[1]), choices[-1])
    return choices[1] if 0 < size < _SMALL_FROM else choices[0]


def decimals_needed(value: float, digits: int) -> int:
    """Decimals that `value` needs at `digits` significant digits, trailing zeros dropped."""
    if value == 0 or not math.isfinite(value):
        return 0
    places = max(0, min(9, digits - 1 - math.floor(math.log10(abs(value)))))
    text = f"{value:.{places}f}"
    return len(text.rstrip("0").partition(".")[2]) if "." in text else 0


def number_text(value: float, digits: int = 3, decimals: int | None = None) -> str:
    """A number for people: `digits` significant digits, thousands with a comma."""
    if decimals is None:
        decimals = decimals_needed(value, digits)
    if abs(value) >= _THOUSAND and decimals == 0 and value != 0:
        step = 10.0 ** max(0, math.floor(math.log10(abs(value))) - digits + 1)
        value = step * round(value / step)
    text = f"{value:,.{decimals}f}"
    return "0" if text.strip("-0.") == "" and decimals == 0 else text


def quantity_text(value: float, unit: str | None, digits: int = 3) -> str:
    """One number with its unit, e.g. "28 mV"."""
    name, factor = display_unit(unit, abs(value))
    return f"{number_text(value / factor, digits)} {name}".strip()


def span_text(
    low: float | None, high: float | None, unit: str | None, digits: int = 3, typed: str = ""
) -> str:
    """A range in words with its unit: "0.47 to 0.57 V", "at least 600 rpm", "at most 30 mV"."""
    ends = [end for end in (low, high) if end is not None]
    if not ends:
        return ""
    name, factor = display_unit(unit, max(abs(end) for end in ends), typed)
    scaled = [end / factor for end in ends]
    decimals = max(decimals_needed(end, digits) for end in scaled)
    texts = [number_text(end, digits, decimals) for end in scaled]
    if len(texts) == 2:
        body = texts[0] if texts[0] == texts[1] else f"{texts[0]} to {texts[1]}"
        return f"{body} {name}".strip()
    side = "at most" if low is None else "at least"
    return f"{side} {texts[0]} {name}".strip()


def limits_text(reading: Answer, limit: Answer | None) -> str:
    """A reading's limits in the unit it was typed in, without their page.

    Book limits are shown to their last digit; limits moved for a reference are computed, so three.
    """
    if not limit:
        return ""
    typed = str(reading.get("typed") or "")
    digits = 3 if limit is reading.get("corrected_limit") else _LIMIT_DIGITS
    return span_text(limit.get("low"), limit.get("high"), reading.get("unit"), digits, typed)


def reading_text(reading: Answer) -> str:
    """What was read, as typed when that is known: "0.93 V", "OL", "no gap"."""
    if reading.get("typed"):
        return str(reading["typed"])
    if reading.get("overload"):
        return "OL"
    if reading.get("value") is not None:
        return quantity_text(float(reading["value"]), reading.get("unit"), _LIMIT_DIGITS)
    return str(reading.get("word") or "no value")


def reading_name(reading: Answer) -> str:
    """The short name of what was read; the check's id, or the two points, when none is given."""
    for key in ("say", "check"):
        if reading.get(key):
            return str(reading[key])
    points = [str(reading[key]) for key in ("red", "black") if reading.get(key)]
    return " to ".join(points) or str(reading.get("id") or "reading")


def width_text(reading: Answer) -> str:
    """The reading's expanded uncertainty (two standard ones, 19 in 20) with its unit, or ""."""
    u = reading.get("u")
    if not u or reading.get("value") is None:
        return ""
    return f"±{quantity_text(2 * float(u), reading.get('unit'), 2)}"


def margin_text(reading: Answer, limit: Answer | None) -> str:
    """How far the reading is inside or beyond the nearer limit: "0.36 V above", or ""."""
    value = reading.get("value")
    if value is None or not limit or reading.get("overload"):
        return ""
    ends = [("low", limit.get("low")), ("high", limit.get("high"))]
    gaps = [(name, float(value) - float(end)) for name, end in ends if end is not None]
    if not gaps:
        return ""
    name, gap = min(gaps, key=lambda item: abs(item[1]))
    typed = str(reading.get("typed") or "")
    unit, factor = display_unit(reading.get("unit"), abs(float(value)), typed)
    size = f"{number_text(abs(gap) / factor, 2)} {unit}".strip()
    beyond = gap > 0 if name == "high" else gap < 0
    where = "above the limit" if name == "high" else "below the limit"
    return f"{size} {where}" if beyond else f"{size} inside the nearer limit"
