"""What every check would read, as one table a check."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from idlewright.report.columns import Column, bold, both_ends, table, usable_width, wrap
from idlewright.report.quantity_words import display_unit, number_text, span_text
from idlewright.words import odds_words, share_words

Answer = Mapping[str, Any]

_DIGITS = 3
_SHOWN_FROM = 0.01
_MOSTLY = 0.5
_NUMBER = Column(least=4, right=True)
_WORD_COLUMNS = (Column(least=12, gives=True), Column(least=10, gives=True))
_COLUMNS = (Column(least=12, gives=True), _NUMBER, _NUMBER, _NUMBER, Column(least=12, gives=True))


def predict_text(predicted: Answer, width: int | None = None, style: bool = False) -> str:
    """A predict answer as text: per check its state and limits, then one row a car.

    Args:
        predicted: a predict answer (`idlewright/predict/1`).
        width: the terminal's width; None = 80. Never written wider than 100.
        style: bold heads.
    """
    room = usable_width(width)
    level = share_words(float(predicted["level"]))
    meter = predicted.get("meter") or "an ordinary meter"
    top = wrap(f"Low and high hold {level} such cars, read with {meter}.", room)
    blocks = [top]
    blocks.extend(list(_check(check, room, style)) for check in predicted["checks"])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _check(check: Answer, width: int, style: bool) -> Iterator[str]:
    unit, factor = _unit(check)
    spec = check.get("spec") or {}
    span = span_text(spec.get("low"), spec.get("high"), check.get("unit"), 6)
    heads = both_ends(check["check"], f"limits {span}" if span else "no spec", width)
    yield bold(heads[0], style)
    yield from heads[1:]
    if check.get("say"):
        yield from wrap(check["say"], width, " ")
    state = ", ".join(f"{name} {value}" for name, value in (check.get("state") or {}).items())
    if state:
        yield from wrap(f"with {state}", width, " ", "  ")
    rows = [_cells(row, factor) for row in check["rows"]]
    if any(row.get("median") is not None for row in check["rows"]):
        yield from table([("", "low", "middle", "high", unit), *rows], _COLUMNS, width)
    else:
        yield from table([(row[0], row[4]) for row in rows], _WORD_COLUMNS, width)


def _unit(check: Answer) -> tuple[str, float]:
    """The unit of a whole table: set by its largest good-car number, so that columns compare."""
    sizes = [
        abs(float(row[key]))
        for row in check["rows"][:1]
        for key in ("low", "median", "high")
        if row.get(key) is not None
    ]
    return display_unit(check.get("unit"), max(sizes, default=1.0))


def _cells(row: Answer, factor: float) -> tuple[str, str, str, str, str]:
    name = str(row.get("title") or " + ".join(row["faults"]) or "good car")
    if not row.get("valid", True):
        return name, "-", "-", "-", f"not valid: {row.get('why_invalid') or 'see the check'}"
    numbers = [row.get(key) for key in ("low", "median", "high")]
    overload = float(row.get("overload") or 0)
    if overload >= _MOSTLY:
        numbers = [None, None, None]
    low, middle, high = (_number(value, factor) for value in numbers)
    return name, low, middle, high, _tail(row, overload)


def _number(value: float | None, factor: float) -> str:
    if value is None:
        return "-"
    scaled = float(value) / factor
    if scaled == 0:
        return "0"
    # Trailing zeros stay, so that a column of numbers can be run down with the eye.
    places = _DIGITS - 1 - math.floor(math.log10(abs(scaled)))
    return number_text(scaled, _DIGITS, max(0, min(_DIGITS, places)))


def _tail(row: Answer, overload: float) -> str:
    """Words and open circuit with their odds, the likeliest first."""
    words = [(float(p), str(word)) for word, p in (row.get("words") or {}).items()]
    if overload >= _SHOWN_FROM:
        words.append((overload, "OL"))
    shown = [item for item in sorted(words, reverse=True) if item[0] >= _SHOWN_FROM]
    return ", ".join(f"{word} {odds_words(p)}" for p, word in shown)
