"""The trade units: dimension, factor and offset to the base unit, and how people spell them.

Inside the program every number is in the *base unit* of its dimension (the first unit of that
dimension in the table below: V, ohm, A, rpm, kPa, mm, mm2, deg, s, %, Hz, degC, cc, Nm, W, turn).
A number in a JSON answer is in the unit named beside it.

Sources of the factors: inch, pound and standard gravity are exact by definition (international
yard and pound agreement 1959; 3rd CGPM 1901); inHg and mmHg are the conventional ones (mercury of
13 595.1 kg/m3 under standard gravity).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from typing import Final, Literal, TypeAlias, get_args

from idlewright.errors import BadInput, Problem

Dimension: TypeAlias = Literal[
    "voltage", "resistance", "current", "speed", "pressure", "length", "area", "angle", "time",
    "share", "frequency", "temperature", "volume", "torque", "power", "turns",
]  # fmt: skip
DIMENSIONS: Final[tuple[Dimension, ...]] = get_args(Dimension)


@dataclass(frozen=True, slots=True)
class Unit:
    """One trade unit: base value = number * factor + offset. `aliases` are other spellings."""

    name: str
    dimension: Dimension
    factor: Decimal
    offset: Decimal
    aliases: tuple[str, ...]


# name, dimension, factor, offset, other spellings
_ROWS: Final[tuple[tuple[str, Dimension, str, str, str], ...]] = (
    ("V", "voltage", "1", "0", "volt volts"),
    ("mV", "voltage", "1e-3", "0", "millivolt millivolts"),
    ("uV", "voltage", "1e-6", "0", "microvolt microvolts"),
    ("kV", "voltage", "1e3", "0", "kilovolt kilovolts"),
    ("ohm", "resistance", "1", "0", "ohms"),
    ("mohm", "resistance", "1e-3", "0", "mohms milliohm milliohms"),
    ("kohm", "resistance", "1e3", "0", "kohms kilohm kilohms kiloohm"),
    ("Mohm", "resistance", "1e6", "0", "Mohms megohm megohms megaohm"),
    ("A", "current", "1", "0", "amp amps ampere amperes"),
    ("mA", "current", "1e-3", "0", "milliamp milliamps"),
    ("uA", "current", "1e-6", "0", "microamp microamps"),
    ("rpm", "speed", "1", "0", "rev/min r/min revs/min"),
    ("kPa", "pressure", "1", "0", ""),
    ("Pa", "pressure", "1e-3", "0", ""),
    ("hPa", "pressure", "1e-1", "0", ""),
    ("bar", "pressure", "1e2", "0", ""),
    ("mbar", "pressure", "1e-1", "0", ""),
    ("inHg", "pressure", "3.386388640341", "0", '"Hg inchHg inchesHg'),
    ("mmHg", "pressure", "0.133322387415", "0", ""),
    ("psi", "pressure", "6.894757293168361", "0", "lb/in2 lbf/in2"),
    ("mm", "length", "1", "0", "millimetre millimetres millimeter millimeters"),
    ("cm", "length", "10", "0", ""),
    ("m", "length", "1e3", "0", "metre metres meter meters"),
    ("in", "length", "25.4", "0", 'inch inches "'),
    ("thou", "length", "0.0254", "0", "thousandths"),
    ("ft", "length", "304.8", "0", "foot feet"),
    ("mm2", "area", "1", "0", "sqmm mm^2"),
    ("cm2", "area", "1e2", "0", "sqcm cm^2"),
    ("in2", "area", "645.16", "0", "sqin in^2"),
    ("deg", "angle", "1", "0", "degree degrees"),
    ("s", "time", "1", "0", "sec secs second seconds"),
    ("ms", "time", "1e-3", "0", "millisecond milliseconds"),
    ("min", "time", "60", "0", "mins minute minutes"),
    ("h", "time", "3600", "0", "hr hrs hour hours"),
    ("%", "share", "1", "0", "percent"),
    ("Hz", "frequency", "1", "0", "hertz"),
    ("kHz", "frequency", "1e3", "0", ""),
    ("degC", "temperature", "1", "0", "C celsius degreesC"),
    ("degF", "temperature", "0.5555555555555555555556", "-17.7777777777777777778",
     "F fahrenheit degreesF"),
    ("cc", "volume", "1", "0", "cm3 ml cm^3"),
    ("L", "volume", "1e3", "0", "l litre litres liter liters"),
    ("in3", "volume", "16.387064", "0", "cuin in^3"),
    ("Nm", "torque", "1", "0", ""),
    ("lbft", "torque", "1.3558179483314004", "0", "ftlb ftlbs lbfft ftlbf"),
    ("lbin", "torque", "0.1129848290276167", "0", "inlb inlbs lbfin inlbf"),
    ("W", "power", "1", "0", "watt watts"),
    ("mW", "power", "1e-3", "0", ""),
    ("kW", "power", "1e3", "0", ""),
    ("turn", "turns", "1", "0", "turns"),
)  # fmt: skip

UNITS: Final[dict[str, Unit]] = {
    name: Unit(name, dimension, Decimal(factor), Decimal(offset), tuple(aliases.split()))
    for name, dimension, factor, offset, aliases in _ROWS
}
BASE_UNIT: Final[dict[str, str]] = {
    row[1]: row[0] for row in reversed(_ROWS)
}  # reversed: the first row of a dimension wins
UNIT_OF_READ: Final[dict[str, str]] = {
    "volt": "V", "volt_ac": "V", "ohm": "ohm", "amp": "A", "rpm": "rpm", "kPa": "kPa", "mm": "mm",
    "mV": "mV", "deg": "deg", "s": "s", "percent": "%",
}  # fmt: skip
"""What a check reads -> the unit its number is in."""

_SPELLED: Final[dict[str, str]] = {
    spelling: unit.name for unit in UNITS.values() for spelling in (unit.name, *unit.aliases)
}
_FOLDED: Final[dict[str, list[str]]] = {}
for _spelling in _SPELLED:
    _FOLDED.setdefault(_spelling.casefold(), []).append(_spelling)


def find_unit(spelled: str) -> Unit | None:
    """The unit a spelling names, or None. Blanks, dots, dashes and stars inside do not count."""
    joined = re.sub(r"(?<=[A-Za-z])[.·*-](?=[A-Za-z])", "", spelled.replace(" ", "")).rstrip(".")
    name = _SPELLED.get(joined) or _other_case(joined)
    return UNITS[name] if name else None


def _other_case(spelled: str) -> str | None:
    """The unit meant by another mix of capitals, unless that could hide milli for mega."""
    names = {
        _SPELLED[candidate]
        for candidate in _FOLDED.get(spelled.casefold(), ())
        if candidate[0] == spelled[0] or spelled[0] not in "mM"
    }
    return names.pop() if len(names) == 1 else None


def near_spellings(spelled: str, dimension: Dimension | None) -> list[str]:
    """Up to three unit names that a misspelt unit may mean, the likeliest first."""
    pool = {s: n for s, n in _SPELLED.items() if dimension in (None, UNITS[n].dimension)}
    folded = spelled.casefold()
    found = [name for name in pool if name in UNITS and name.casefold().startswith(folded)]
    if not found:
        by_fold = {spelling.casefold(): name for spelling, name in pool.items()}
        found = [by_fold[near] for near in get_close_matches(folded, by_fold, n=3, cutoff=0.6)]
    return list(dict.fromkeys(found))[:3]


def units_of(dimension: Dimension) -> list[Unit]:
    """Every unit of a dimension, the base unit first."""
    return [unit for unit in UNITS.values() if unit.dimension == dimension]


def convert(value: float, unit: str, to: str) -> float:
    """A value in `unit` expressed in `to`; correctly rounded. BadInput if that makes no sense."""
    source, target = UNITS.get(unit), UNITS.get(to)
    if source is None or target is None or source.dimension != target.dimension:
        raise BadInput(
            Problem(
                says=f"{quoted(unit)} cannot be turned into {quoted(to)}",
                expected="two units of the same kind",
            )
        )
    if source is target or not math.isfinite(value):
        return value
    base = Decimal(repr(value)) * source.factor + source.offset
    return float((base - target.offset) / target.factor)


def quoted(text: str, longest: int = 40) -> str:
    """Text in quotation marks for a message: cut short, control characters made visible."""
    short = text if len(text) <= longest else text[: longest - 1] + "…"
    return '"' + "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in short) + '"'
