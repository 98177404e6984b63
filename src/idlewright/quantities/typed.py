"""What a technician types -> number, unit, and the size of the last digit shown."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, NoReturn

from idlewright.errors import BadInput, Problem
from idlewright.quantities.units import (
    BASE_UNIT,
    UNITS,
    Dimension,
    Unit,
    convert,
    find_unit,
    near_spellings,
    quoted,
    units_of,
)

_SAME: Final = str.maketrans({
    "\u2126": "ohm", "\u03a9": "ohm", "\u00b5": "u", "\u03bc": "u", "°": "deg", "º": "deg",
    "″": '"', "”": '"', "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2212": "-",
})  # fmt: skip
_RAISED: Final = str.maketrans({"²": "2", "³": "3"})  # in the unit only: 10² is not 102
_NUMBER: Final = re.compile(r"[+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d{1,2})?", re.ASCII)
_PARTS: Final = re.compile(r"([+-]?)([\d.,]+)(.*)", re.ASCII)
_OVERLOAD: Final = re.compile(
    r"(?:o\.?l\.?|0\.?l\.?)(?![a-z0-9.])\s*(.*)|(?:open(?: circuit)?|over ?load|over ?range)()",
    re.I,
)
_ZERO_LITRE: Final = re.compile(r"0\.?l\.?$", re.I)
_CAN_OVERLOAD: Final = ("voltage", "resistance", "current", "speed", "frequency", "share")
_LONGEST_TEXT: Final = 64
_MOST_DIGITS: Final = 15  # what a double carries exactly
_LARGEST: Final = Decimal("1e15")


@dataclass(frozen=True, slots=True)
class Where:
    """Where a typed text stands, for the error message: file, 1-based line, dotted key."""

    file: str = ""
    line: int | None = None
    key: str = ""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A typed number with its unit.

    Attributes:
        value: in `unit`, the base unit of `dimension`.
        step: size of the last digit shown, base unit: the display lies within half of it.
        typed: the text as typed. shown_unit: the unit as typed. decimals: decimals as typed.
    """

    value: float
    unit: str
    dimension: Dimension
    step: float
    typed: str
    shown_unit: str
    decimals: int

    def in_unit(self, unit: str) -> float:
        """The value in another unit of the same dimension; BadInput if it is none."""
        return convert(self.value, self.unit, unit)


@dataclass(frozen=True, slots=True)
class Overload:
    """The display showed no number: open circuit, or above the top of the range.

    `shown_unit` is the unit that stood beside it ("OL kohm"), or "".
    """

    typed: str
    shown_unit: str = ""


@dataclass(frozen=True, slots=True)
class _Text:
    """The text being read, what is expected of it and where it stands: the context of errors."""

    typed: str
    dimension: Dimension | None
    where: Where | Callable[[], Where] | None

    def refuse(self, says: str, *, remedy: str = "", expected: str | None = None) -> NoReturn:
        wanted = _wanted(self.dimension) if expected is None else expected
        where = self.where() if callable(self.where) else self.where or Where()
        raise BadInput(
            Problem(
                says=f"{quoted(self.typed)} {says}",
                expected=wanted and f"expected {wanted}",
                remedy=remedy,
                file=where.file,
                line=where.line,
                key=where.key,
            )
        )


def parse_quantity(
    text: str,
    *,
    dimension: Dimension | None = None,
    where: Where | Callable[[], Where] | None = None,
) -> Quantity:
    """Read "number unit". BadInput for anything else, also for an overload ("OL")."""
    found = parse_display(text, dimension=dimension, where=where)
    if isinstance(found, Overload):
        context = _Text(text, dimension, where)
        context.refuse("is no number", remedy="type the number and its unit")
    return found


def parse_display(
    text: str,
    *,
    dimension: Dimension | None = None,
    where: Where | Callable[[], Where] | None = None,
) -> Quantity | Overload:
    """Read what a display showed: "number unit", or an overload ("OL", "open", "overload").

    Args:
        text: as typed. A comma may be a decimal comma or group thousands where only one fits.
        dimension: what is expected; None takes any.
        where: place for the error message; a function is only asked when there is one.

    Raises:
        BadInput: says what is wrong, what was expected and, where one is close, what was meant.
    """
    context = _Text(text, dimension, where)
    clean = " ".join(text.translate(_SAME).split())
    if not clean:
        context.refuse("is empty", remedy="type what the display showed")
    if len(clean) > _LONGEST_TEXT:
        context.refuse("is too long for a reading", remedy="type one number and its unit")
    overload = _OVERLOAD.fullmatch(clean)
    if overload and not (dimension == "volume" and _ZERO_LITRE.match(clean)):
        return _overload(context, overload[1] or "")
    number = _NUMBER.match(clean)
    if number is None:
        _refuse_no_number(context, clean)
    unit = _unit(context, number[0], clean[number.end() :].strip())
    return _quantity(context, _plain_number(context, number[0], unit), unit)


def _overload(context: _Text, rest: str) -> Overload:
    if context.dimension is not None and context.dimension not in _CAN_OVERLOAD:
        context.refuse(f"cannot be {_article(context.dimension)}")
    shown = _unit(context, "OL", rest).name if rest else ""
    return Overload(typed=context.typed, shown_unit=shown)


def _refuse_no_number(context: _Text, clean: str) -> NoReturn:
    if re.match(r"[+-]?(nan|inf|∞)", clean, re.I):
        remedy = 'type "OL" if the display showed open circuit or overload'
        context.refuse("is not a number", remedy=remedy)
    context.refuse("does not start with a number")


def _unit(context: _Text, number: str, rest: str) -> Unit:
    """The unit named by `rest`, of the expected dimension; BadInput for anything else."""
    dimension = context.dimension
    if not rest:
        example = f"{number} {BASE_UNIT[dimension or 'voltage']}"
        remedy = f'type the unit after the number, for example "{example}"'
        context.refuse("has no unit", remedy=remedy)
    unit = find_unit(rest.translate(_RAISED))
    if unit is None and re.search(r"\d", rest):
        remedy = "type one number with a decimal point, and one unit"
        context.refuse("holds more than one number", remedy=remedy)
    if unit is None:
        near = [f'"{number} {name}"' for name in near_spellings(rest, dimension)]
        remedy = f"did you mean {' or '.join(near)}?" if near else ""
        context.refuse(f"has the unit {quoted(rest)}, which is not known", remedy=remedy)
    if dimension is not None and unit.dimension != dimension:
        remedy = "check which function was used, and type the number with the unit shown"
        says = f"is {_article(unit.dimension)}, not {_article(dimension)}"
        context.refuse(says, remedy=remedy)
    return unit


def _plain_number(context: _Text, number: str, unit: Unit) -> Decimal:
    """The number with a point for decimals and no grouping; BadInput where two readings fit."""
    parts = _PARTS.fullmatch(number)
    assert parts is not None  # the number was found by a narrower pattern
    sign, body, exponent = parts.groups()
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", body):
        if unit.name != "rpm":  # no tachometer shows thousandths of a revolution per minute
            two = f"{body.replace(',', '.')} {unit.name}", f"{body.replace(',', '')} {unit.name}"
            _refuse_two_ways(context, two, f'type "{two[0]}" or "{two[1]}"')
        body = body.replace(",", "")
    elif re.fullmatch(r"[1-9]\d{0,2}\.\d{3}", body) and unit.name == "rpm":
        two = f"{body} rpm", f"{body.replace('.', '')} rpm"
        _refuse_two_ways(context, two, f'type "{two[1]}" if that is meant')
    elif re.fullmatch(r"[1-9]\d{0,2}(,\d{3})+\.\d+|[1-9]\d{0,2}(,\d{3}){2,}", body):
        body = body.replace(",", "")
    elif re.fullmatch(r"[1-9]\d{0,2}(\.\d{3})+,\d+|[1-9]\d{0,2}(\.\d{3}){2,}", body):
        body = body.replace(".", "").replace(",", ".")
    elif re.fullmatch(r"\d*,\d+", body):
        body = body.replace(",", ".")
    elif not re.fullmatch(r"\d+\.?\d*|\.\d+", body):
        remedy = "type one decimal point and nothing between the thousands"
        context.refuse(f"has the number {quoted(body)}, which cannot be read", remedy=remedy)
    return Decimal(sign + body + exponent)


def _refuse_two_ways(context: _Text, two: tuple[str, str], remedy: str) -> NoReturn:
    context.refuse(f"can be read as {two[0]} or as {two[1]}", remedy=remedy, expected="")


def _quantity(context: _Text, figure: Decimal, unit: Unit) -> Quantity:
    if len(figure.as_tuple().digits) > _MOST_DIGITS:
        context.refuse("has more digits than any display", expected="at most 15 digits")
    found = _from_figure(context.typed, figure, unit)
    if abs(found.value) > _LARGEST or found.step > _LARGEST:
        remedy = "check the number and its exponent"
        context.refuse("is larger than anything measured here", remedy=remedy, expected="")
    return found


def _from_figure(typed: str, figure: Decimal, unit: Unit) -> Quantity:
    exponent = figure.as_tuple().exponent
    assert isinstance(exponent, int)  # only NaN and infinity have another; no caller makes them
    return Quantity(
        value=float(figure * unit.factor + unit.offset),
        unit=BASE_UNIT[unit.dimension],
        dimension=unit.dimension,
        step=float(Decimal(1).scaleb(exponent) * unit.factor),
        typed=typed,
        shown_unit=unit.name,
        decimals=max(0, -exponent),
    )


def _article(dimension: Dimension) -> str:
    words = {"turns": "a number of turns", "share": "a percentage", "speed": "an engine speed"}
    start = "an" if dimension[0] in "aeiou" else "a"
    return words.get(dimension, f"{start} {dimension}")


def _wanted(dimension: Dimension | None) -> str:
    if dimension is None:
        return "a number and its unit"
    names = ", ".join(unit.name for unit in units_of(dimension))
    return f"{_article(dimension)}: a number and one of the units {names}"


def split_word_number(text: str) -> tuple[str, str]:
    """Split "word, number unit" at its comma -> (word, number text); one of them may be ""."""
    stripped = text.strip()
    if not stripped[:1].isalpha() or _OVERLOAD.fullmatch(stripped):
        return "", stripped
    word, _, number = stripped.partition(",")
    return word.strip(), number.strip()


def near_unit(quantity: Quantity, low: float | None, high: float | None) -> Quantity | None:
    """The same number in the unit that was probably meant, when the typed one does not fit.

    Limits are in the quantity's base unit, None = no limit. None when the typed value lies
    within them, or in no unit does. Of several fits the least change of scale wins: "520 V" in
    0 .. 20 V becomes "520 mV".
    """
    least = -math.inf if low is None else low
    most = math.inf if high is None else high
    if least <= quantity.value <= most:
        return None
    shown = f"{quantity.in_unit(quantity.shown_unit):.{quantity.decimals}f}"
    here = UNITS[quantity.shown_unit].factor
    fits: list[tuple[float, Quantity]] = []
    for unit in units_of(quantity.dimension):
        meant = _from_figure(f"{shown} {unit.name}", Decimal(shown), unit)
        if least <= meant.value <= most:
            fits.append((abs(math.log(float(unit.factor / here))), meant))
    return min(fits, key=lambda fit: fit[0])[1] if fits else None
