"""What every check would read, as one table a check."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from idlewright.report.columns import Column, bold, both_ends, table, usable_width, wrap
from idlewright.report.quantity_words import display_unit, number_text, span_text
from idlewright.words import odds_words, share_words

Answer = Mapping[str, Any]

_DIGITS = 3
_SHOWN_FROM = 0.01
_MOSTLY = 0.5
_NAMED = 3
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
    told = [check for check in predicted["checks"] if not _untouched(check)]
    blocks.extend(list(_check(check, room, style)) for check in told)
    rest = len(predicted["checks"]) - len(told)
    if rest:
        checks = "1 other check does" if rest == 1 else f"{rest} other checks do"
        blocks.append(wrap(f"{checks} not see {_name(predicted['checks'][0]['rows'][1])}.", room))
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
    told = [row for k, row in enumerate(rows) if k == 0 or row[1:] != rows[0][1:]]
    if any(row.get("median") is not None for row in check["rows"]):
        yield from table([("", "low", "middle", "high", unit), *told], _COLUMNS, width)
    else:
        yield from table([(row[0], row[4]) for row in told], _WORD_COLUMNS, width)
    yield from _alike(rows, len(rows) - len(told), width)


def _alike(rows: Sequence[tuple[str, ...]], count: int, width: int) -> Iterator[str]:
    """The faults that this check does not see: by name if few, else how many."""
    if count == 0:
        return
    names = [row[0] for row in rows[1:] if row[1:] == rows[0][1:]]
    told = ", ".join(names) if count <= _NAMED else f"{count} other faults"
    yield from wrap(f"Reads like a good car under {told}.", width, " ", "  ")


def _untouched(check: Answer) -> bool:
    """Whether one fault was asked about and this check reads as on a good car."""
    rows = [_cells(row, _unit(check)[1])[1:] for row in check["rows"]]
    return len(rows) == 2 and rows[0] == rows[1]


def _name(row: Answer) -> str:
    return str(row.get("title") or " + ".join(row["faults"]) or "good car")


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
    name = _name(row)
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
