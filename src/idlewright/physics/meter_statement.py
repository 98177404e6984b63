"""A meter as a job states it, e.g. {id = "m1", volt = {percent = 0.5, counts = 3, ...}}.

A function that is not stated, and a figure left out of one that is, is the ordinary meter's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from functools import partial
from typing import Any, Final, TypeGuard

from idlewright.errors import BadInput, Problem
from idlewright.physics.meter import ORDINARY, Meter, MeterFunction
from idlewright.quantities import UNIT_OF_READ, UNITS, Dimension, Where, parse_quantity, quoted

Place = Callable[[str], Where]
"""From a dotted key inside the meter ("volt.percent") to where it stands."""

_PLAIN: Final = {"percent": (0.0, 50.0), "counts": (0.0, 1000.0), "full_count": (100.0, 1e7)}
_ONLY_ON: Final = {"input_ohm": ("volt", "volt_ac"), "lead_ohm": ("ohm",)}
_KEYS: Final = ("percent", "counts", "resolution", "top", "full_count", "input_ohm", "lead_ohm")


def _plain_place(key: str) -> Where:
    return Where(key=key)


def _is_number(value: object) -> TypeGuard[int | float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def meter_from_mapping(data: Mapping[str, object], place: Place = _plain_place) -> Meter:
    """Read a stated meter.

    Args:
        data: `id` and, for each function, a mapping of: percent, counts, full_count (numbers);
            resolution, top (text with unit, "1 mV"); input_ohm, lead_ohm (ohms, or text).
        place: where each key stands, for the error messages.

    Raises:
        BadInput: with every problem found, not only the first.
    """
    reader = _Reader(place)
    name = data.get("id")
    if not isinstance(name, str) or not name.strip():
        reader.refuse("id", "the meter has no id", "a short name such as m1", "")
    functions = dict(ORDINARY)
    for key, stated in data.items():
        if key == "id":
            continue
        if key not in ORDINARY:
            reader.unknown(key, key, ORDINARY)
        elif not isinstance(stated, Mapping):
            expected = "a table such as { percent = 0.5, counts = 3 }"
            reader.refuse(key, f"{quoted(key)} is not a table", expected, "")
        else:
            functions[key] = reader.function(key, stated)
    if reader.problems:
        raise BadInput(reader.problems)
    return Meter(id=str(name), functions=functions, stated=True)


@dataclass(slots=True)
class _Reader:
    """Reads figures and gathers what is wrong with them."""

    place: Place
    problems: list[Problem] = field(default_factory=list)

    def refuse(self, key: str, says: str, expected: str, remedy: str) -> None:
        where = self.place(key)
        wanted = expected and f"expected {expected}"
        self.problems.append(Problem(says, wanted, remedy, where.file, where.line, where.key))

    def unknown(self, key: str, name: str, known: Iterable[str]) -> None:
        names = list(known)
        near = get_close_matches(name, names, n=1)
        remedy = f"did you mean {quoted(near[0])}?" if near else ""
        self.refuse(key, f"{quoted(name)} is not known here", f"one of {', '.join(names)}", remedy)

    def function(self, read: str, stated: Mapping[str, object]) -> MeterFunction:
        ordinary = ORDINARY[read]
        before = len(self.problems)
        known = [key for key in _KEYS if read in _ONLY_ON.get(key, (read,))]
        found: dict[str, Any] = {}
        for name, value in stated.items():
            key = f"{read}.{name}"
            if name not in known:
                self.unknown(key, name, known)
            elif name in _PLAIN:
                found[name] = self.number(key, value, *_PLAIN[name])
            else:
                unit = UNITS["ohm"] if name in _ONLY_ON else UNITS[UNIT_OF_READ[read]]
                found[name] = self.measure(key, value, unit.dimension, name in _ONLY_ON)
        if len(self.problems) > before:
            return ordinary
        if "full_count" in found:
            found["full_count"] = int(found["full_count"])
        try:
            return replace(ordinary, **found)
        except BadInput as error:
            says = f"the figures of {quoted(read)} do not go together: {error}"
            self.refuse(read, says, "", "check resolution and top")
            return ordinary

    def number(self, key: str, value: object, least: float, most: float) -> float:
        whole = key.endswith("full_count")
        if _is_number(value) and least <= value <= most and not (whole and value != int(value)):
            return float(value)
        kind = "whole number" if whole else "number"
        expected = f"a {kind} from {least:g} to {most:g}"
        self.refuse(
            key, f"{quoted(str(value))} cannot be used", expected, "see the meter's leaflet"
        )
        return 0.0

    def measure(self, key: str, value: object, dimension: Dimension, plain: bool) -> float:
        """A typed quantity, or for ohms also a plain number; more than nothing but for leads."""
        least = 0.0 if key.endswith("lead_ohm") else math.ulp(0.0)
        size = math.nan
        if isinstance(value, str):
            try:
                where = partial(self.place, key)
                size = parse_quantity(value, dimension=dimension, where=where).value
            except BadInput as error:
                self.problems.extend(error.problems)
                return 0.0
        elif plain and _is_number(value) and abs(value) < 1e15:
            size = float(value)
        if math.isfinite(size) and size >= least:
            return size
        expected = "a number of ohms" if plain else f"a {dimension} with its unit, in quotes"
        self.refuse(
            key, f"{quoted(str(value))} cannot be used", expected, "see the meter's leaflet"
        )
        return 0.0
