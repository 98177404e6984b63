"""Numbers as a technician types and reads them: number, unit, and the size of the last digit.

Inside the program every number is in the base unit of its dimension (V, ohm, A, rpm, kPa, mm, mm2,
deg, s, %, Hz, degC, cc, Nm, W, turn); a number in a JSON answer is in the unit named beside it.
Standard library only: typed values are read before anything heavy is imported.
"""

from __future__ import annotations

from idlewright.quantities.shown import format_quantity, format_range, handy_unit
from idlewright.quantities.typed import (
    Overload,
    Quantity,
    Where,
    near_unit,
    parse_display,
    parse_quantity,
    split_word_number,
)
from idlewright.quantities.units import (
    BASE_UNIT,
    DIMENSIONS,
    UNIT_OF_READ,
    UNITS,
    Dimension,
    Unit,
    convert,
    find_unit,
    quoted,
    units_of,
)

__all__ = [
    "BASE_UNIT",
    "DIMENSIONS",
    "UNITS",
    "UNIT_OF_READ",
    "Dimension",
    "Overload",
    "Quantity",
    "Unit",
    "Where",
    "convert",
    "find_unit",
    "format_quantity",
    "format_range",
    "handy_unit",
    "near_unit",
    "parse_display",
    "parse_quantity",
    "quoted",
    "split_word_number",
    "units_of",
]
