"""The small values inside a line: numbers or texts for numbers, limits, conditions, lists of names.

Each reader takes what stands in the file and returns a checked value, or refuses it with one
sentence that says what was expected (pydantic gathers these over the whole line).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, NoReturn

from pydantic import PlainValidator
from pydantic_core import PydanticCustomError

from idlewright.family.kinds import Condition, Value
from idlewright.family.names import is_id

OPEN_OHM = 1e9
SHUT_OHM = 0.3
SHEET_TEXT = re.compile(r"(fit )?sheet\.([a-z0-9_]+)(?: / sheet\.([a-z0-9_]+))?")


@dataclass(frozen=True, slots=True)
class Amount:
    """A scalar's nominal value with its own tolerance, where one stands beside it."""

    value: Value
    within: float | None = None


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits low to high (either may be infinite), or words, or a sheet key."""

    low: float | None = None
    high: float | None = None
    words: tuple[str, ...] = ()
    sheet: str | None = None


@dataclass(frozen=True, slots=True)
class Range:
    """What a fault does to a scalar: low to high, or the good value of another scalar."""

    low: float
    high: float
    like: str | None = None


def refuse(says: str, expected: str, remedy: str = "correct the value") -> NoReturn:
    """Refuse a value with one sentence."""
    raise PydanticCustomError(
        "idlewright", "{says}", {"says": says, "expected": expected, "remedy": remedy}
    )


def shown(value: object) -> str:
    """A value as it would stand in a file, shortened."""
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def number(value: object, what: str = "a number") -> float:
    """A finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        refuse(f"{shown(value)} is not a number", what, "write the number without quotes")
    try:
        found = float(value)
    except OverflowError:
        found = math.inf
    if not math.isfinite(found):
        refuse(f"{shown(value)} is not a finite number", what)
    return found


def positive(value: object) -> float:
    """A number above zero."""
    found = number(value, "a number above 0")
    if found <= 0:
        refuse(f"{found:g} is not above 0", "a number above 0")
    return found


def at_least_zero(value: object) -> float:
    """A number not below zero."""
    found = number(value, "a number, 0 or more")
    if found < 0:
        refuse(f"{found:g} is negative", "a number, 0 or more", "leave out the minus sign")
    return found


def chance(value: object) -> float:
    """A probability above 0, at most 1."""
    found = number(value, "a chance from 0 to 1")
    if not 0 < found <= 1:
        refuse(f"{found:g} is not a chance", "above 0, at most 1", "write 70 % as 0.7")
    return found


def share(value: object) -> float:
    """A number from 0 to 1, both ends allowed."""
    found = number(value, "a number from 0 to 1")
    if not 0 <= found <= 1:
        refuse(f"{found:g} is not a share", "a number from 0 to 1", "write 70 % as 0.7")
    return found


def text(value: object) -> str:
    """A text that is not empty."""
    if not isinstance(value, str):
        refuse(f"{shown(value)} is not a text", "a text in quotes", "put it in quotes")
    if not value.strip():
        refuse("the text is empty", "a text", "write it, or leave the key out")
    return value


def texts(value: object) -> tuple[str, ...]:
    """One text or a list of texts."""
    if isinstance(value, str):
        return (text(value),)
    if not isinstance(value, list):
        refuse(f"{shown(value)} is not a list of texts", "a text or a list of texts")
    return tuple(text(item) for item in value)


def _name_list(value: object) -> tuple[str, ...]:
    found = texts(value)
    for position, item in enumerate(found):
        if item in found[:position]:
            refuse(f'"{item}" stands twice in the list', "every name once", "remove one of them")
    return found


def _table(value: object, expected: str) -> Mapping[str, object]:
    if not isinstance(value, dict):
        refuse(f"{shown(value)} is not a table", expected, "write { name = value }")
    return value


def state_map(value: object) -> dict[str, str]:
    """State variable -> one value."""
    return {
        str(name): text(item) for name, item in _table(value, '{ variable = "value" }').items()
    }


def condition(value: object) -> Condition:
    """State variable -> one value or several."""
    table = _table(value, '{ variable = "value" } or { variable = ["value", "value"] }')
    found = {str(name): texts(item) for name, item in table.items()}
    for name, values in found.items():
        if not values:
            refuse(f"{name} has no values", "at least one value", "name one or leave it out")
    return found


def amount(value: object) -> Amount:
    """A number, a text naming sheet entries, `{ by = … }` or `{ is = …, within = … }`."""
    if isinstance(value, dict):
        if "by" in value:
            return Amount(_by_word(value, number))
        return _with_tolerance(value)
    if isinstance(value, str):
        return Amount(_sheet_value(value))
    return Amount(Value(number=number(value, 'a number or a text such as "sheet.closed_v"')))


def contact_amount(value: object) -> Amount:
    """As `amount`, and the words `open` (1e9 ohm) and `shut` (0.3 ohm)."""
    if value in ("open", "shut"):
        return Amount(Value(number=switch_ohm(value)))
    if isinstance(value, dict) and "by" in value:
        return Amount(_by_word(value, switch_ohm))
    return amount(value)


def switch_ohm(value: object) -> float:
    """Ohms of a switch position: a number above 0, `open` or `shut`."""
    if value == "open":
        return OPEN_OHM
    if value == "shut":
        return SHUT_OHM
    return positive(value)


def _with_tolerance(value: Mapping[str, object]) -> Amount:
    unknown = set(value) - {"is", "within"}
    if unknown or "is" not in value:
        refuse(
            f"{shown(value)} is not a value",
            "{ is = 5, within = 1 } or { by = \"sheet.key\", word = 1e6, … }",
        )
    inner = amount(value["is"])
    within = at_least_zero(value["within"]) if "within" in value else inner.within
    return Amount(inner.value, within)


def _by_word(value: Mapping[str, object], read: Callable[[object], float]) -> Value:
    source = value["by"]
    match = SHEET_TEXT.fullmatch(source) if isinstance(source, str) else None
    if match is None or match.group(1) or match.group(3):
        refuse(f"by = {shown(source)} names no sheet entry", 'by = "sheet.key"')
    words = {word: read(item) for word, item in value.items() if word != "by"}
    if not words:
        refuse("no words to choose by", "a number for each word of the sheet entry")
    return Value(sheet=match.group(2), by_word=words)


def _sheet_value(value: str) -> Value:
    match = SHEET_TEXT.fullmatch(value)
    if match is None:
        refuse(
            f"{shown(value)} is neither a number nor a sheet entry",
            'a number, "sheet.key" or "sheet.key / sheet.key"',
            "write a number without quotes, or name a line of [sheet]",
        )
    fit, key, over = match.groups()
    return Value(sheet=key, over=over, fit=bool(fit))


def _bound(value: object) -> float:
    if value in ("inf", "-inf"):
        return float(str(value))
    if isinstance(value, float) and math.isinf(value):
        return value
    return number(value, 'a number or "inf"')


def _is_bound(value: object) -> bool:
    return isinstance(value, int | float) or value in ("inf", "-inf")


def limits(value: object) -> Limits:
    """`[low, high]`, either may be "inf" or "-inf", low below high."""
    if not isinstance(value, list) or len(value) != 2:
        refuse(f"{shown(value)} are not limits", "[low, high]")
    low, high = _bound(value[0]), _bound(value[1])
    if low >= high:
        refuse(
            f"the limits are reversed: {low:g} is not below {high:g}",
            "[low, high]",
            "swap the two numbers" if low > high else "give a range, not one number",
        )
    return Limits(low, high)


def spec(value: object) -> Limits:
    """`"sheet.key"`, `[low, high]` or a list of words."""
    if isinstance(value, str):
        match = SHEET_TEXT.fullmatch(value)
        if match is None or match.group(1) or match.group(3):
            refuse(f"{shown(value)} is no spec", '"sheet.key", [low, high] or a list of words')
        return Limits(sheet=match.group(2))
    if isinstance(value, list) and value and not any(_is_bound(item) for item in value):
        return Limits(words=texts(value))
    return limits(value)


def usual(value: object) -> Limits:
    """Usual limits `[low, high]`, or a usual word."""
    if isinstance(value, str):
        return Limits(words=(text(value),))
    found = limits(value)
    if math.isinf(found.low or 0.0) or math.isinf(found.high or 0.0):
        refuse("usual limits are not finite", "two numbers")
    return found


def severity(value: object) -> Range:
    """A number, `[low, high]`, "open", "shut", or the id of the scalar whose value is taken."""
    if isinstance(value, list):
        if len(value) != 2:
            refuse(f"{shown(value)} is not a range", "[low, high] or one number")
        low, high = number(value[0]), number(value[1])
        if low >= high:
            refuse(
                f"the range is reversed: {low:g} is not below {high:g}",
                "[low, high]",
                "swap the two numbers" if low > high else "write one number instead",
            )
        return Range(low, high)
    if isinstance(value, str) and value not in ("open", "shut"):
        if not is_id(value):
            refuse(f"{shown(value)} is not a severity", 'a number, [low, high], "open" or "shut"')
        return Range(0.0, 0.0, like=value)
    fixed = switch_ohm(value) if isinstance(value, str) else number(value)
    return Range(fixed, fixed)


def severity_range(value: object) -> tuple[float, float]:
    """A range of ohms `[low, high]`, both above 0."""
    found = severity(value)
    if found.like is not None or found.low <= 0:
        refuse(f"{shown(value)} is not a range of ohms", "[low, high], both above 0")
    return found.low, found.high


def price(value: object) -> tuple[float, float]:
    """A price: a number or `[low, high]`."""
    if isinstance(value, list):
        found = severity(value) if len(value) == 2 and value[0] != value[1] else None
        if found is None:
            same = at_least_zero(value[0]) if len(value) == 2 else number(value)
            return same, same
        return at_least_zero(found.low), found.high
    fixed = at_least_zero(value)
    return fixed, fixed


def per_value(value: object) -> dict[str, float]:
    """A number for every target value ("" stands for all), or a table by target value."""
    if isinstance(value, dict):
        return {str(name): at_least_zero(item) for name, item in value.items()}
    return {"": at_least_zero(value)}


def needs(value: object) -> dict[str, dict[str, str]]:
    """What must be so first, for all targets ("") or by target value."""
    table = _table(value, '{ variable = "value" }, or such a table for each target value')
    if table and all(isinstance(item, dict) for item in table.values()):
        return {str(target): state_map(item) for target, item in table.items()}
    return {"": state_map(table)}


def fades(value: object) -> dict[str, tuple[float, str]]:
    """Value -> (minutes, the value it turns into)."""
    found: dict[str, tuple[float, str]] = {}
    for name, item in _table(value, '{ hot = [20, "cold"] }').items():
        if not isinstance(item, list) or len(item) != 2:
            refuse(f"{shown(item)} is no fading", '[minutes, "value"]')
        found[str(name)] = (positive(item[0]), text(item[1]))
    return found


def words(value: object) -> dict[str, Limits] | tuple[str, ...]:
    """Words with limits, or a list of words (the usual one first)."""
    if isinstance(value, dict):
        return {str(word): limits(item) for word, item in value.items()}
    return _name_list(value)


def table_of(read: Callable[[object], Any]) -> Callable[[object], dict[str, Any]]:
    """Reader of a table whose values `read` takes."""

    def reader(value: object) -> dict[str, Any]:
        return {str(k): read(v) for k, v in _table(value, "{ name = value }").items()}

    return reader


Number = Annotated[float, PlainValidator(number)]
Positive = Annotated[float, PlainValidator(positive)]
NotNegative = Annotated[float, PlainValidator(at_least_zero)]
Chance = Annotated[float, PlainValidator(chance)]
Share = Annotated[float, PlainValidator(share)]
Text = Annotated[str, PlainValidator(text)]
Texts = Annotated[tuple[str, ...], PlainValidator(texts)]
Names = Annotated[tuple[str, ...], PlainValidator(_name_list)]
StateMap = Annotated[dict[str, str], PlainValidator(state_map)]
When = Annotated[Condition, PlainValidator(condition)]
AmountField = Annotated[Amount, PlainValidator(amount)]
Amounts = Annotated[dict[str, Amount], PlainValidator(table_of(amount))]
Contacts = Annotated[dict[str, Amount], PlainValidator(table_of(contact_amount))]
LimitsField = Annotated[Limits, PlainValidator(limits)]
Spec = Annotated[Limits, PlainValidator(spec)]
Usual = Annotated[Limits, PlainValidator(usual)]
Severities = Annotated[dict[str, Range], PlainValidator(table_of(severity))]
OhmRange = Annotated[tuple[float, float], PlainValidator(severity_range)]
Price = Annotated[tuple[float, float], PlainValidator(price)]
PerValue = Annotated[dict[str, float], PlainValidator(per_value)]
Needs = Annotated[dict[str, dict[str, str]], PlainValidator(needs)]
Fades = Annotated[dict[str, tuple[float, str]], PlainValidator(fades)]
Words = Annotated[dict[str, Limits] | tuple[str, ...], PlainValidator(words)]
Shows = Annotated[dict[str, dict[str, float]], PlainValidator(table_of(table_of(chance)))]
Chances = Annotated[dict[str, float], PlainValidator(table_of(chance))]
Factors = Annotated[dict[str, float], PlainValidator(table_of(positive))]
