"""The hidden side of a practice car: the values of its parts, its faults, and their moods."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from idlewright.family.kinds import Fault, Span
from idlewright.model.scalars import FloatArray, ScalarTable
from idlewright.model.worlds import Worlds

SMALLEST = 1e-6
"""A resistance or an area shifted below nothing is as good as nothing."""


@dataclass(slots=True)
class HiddenFault:
    """One fault of a car.

    Attributes:
        fault: which. severity: u, 0 to 1 over its range (a law may go beyond).
        liability: chance that it is active in one stretch; 1 unless it comes and goes.
        wiped: its contact was remade by unplugging and is good for the time being.
        listed: False for a fault that no family names.
    """

    fault: Fault
    severity: float
    liability: float = 1.0
    wiped: bool = False
    listed: bool = True


@dataclass(slots=True)
class HiddenCar:
    """Values of one car's parts.

    Attributes:
        table: scalars. variant: which of the sheet's open words is true of this car.
        good: value of every part without the faults, own unit, (S,). faults: what is wrong.
        ends: lowest and highest coordinate of every good part, (2, S).
    """

    table: ScalarTable
    variant: int
    good: FloatArray
    ends: FloatArray
    faults: list[HiddenFault] = field(default_factory=list)
    _worlds: dict[tuple[str, ...], Worlds] = field(default_factory=dict)

    @staticmethod
    def build(
        table: ScalarTable,
        variant: int,
        deviation: FloatArray,
        faults: Iterable[HiddenFault],
        listed: Iterable[Fault] = (),
    ) -> HiddenCar:
        """A car whose parts deviate by so many stated standard deviations, (S,).

        `listed`: faults that the family lists; no good part is as bad as one of them.
        """
        ends = ends_of_good(table, variant, listed)
        good = deviated(table, variant, deviation, ends)
        return HiddenCar(table, variant, good, ends, list(faults))

    def renew(self, positions: Sequence[int], deviation: FloatArray) -> None:
        """Replace parts by new ones that deviate by `deviation` (S,), used where renewed."""
        where = list(positions)
        self.good = self.good.copy()
        self.good[where] = deviated(self.table, self.variant, deviation, self.ends)[where]
        self._worlds.clear()

    def worlds(self, active: Sequence[HiddenFault]) -> Worlds:
        """The car with some of its faults active, as a batch of one world."""
        key = tuple(hidden.fault.id for hidden in active)
        if key not in self._worlds:
            values = self.good.copy()
            for hidden in active:
                apply_fault(self.table, hidden, self.good, values)
            self._worlds[key] = Worlds(self.table, values[:, None])
        return self._worlds[key]


def ends_of_good(table: ScalarTable, variant: int, listed: Iterable[Fault]) -> FloatArray:
    """Lowest and highest coordinate of good parts, (2, S): where a listed fault's range begins.

    A contact of ten ohms is what the family calls a poor one: a car with it has that fault, from
    whatever tail of the tolerances it was drawn.
    """
    nominal = table.nominal[variant]
    ends = np.stack([np.full(len(nominal), -np.inf), np.full(len(nominal), np.inf)])
    for span in (span for fault in listed for span in fault.spans):
        if span.act != "set" or span.like is not None or span.low >= span.high:
            continue
        position = table.index[span.scalar]
        beyond = span.low > nominal[position]
        if not beyond and span.high >= nominal[position]:
            continue  # the usual value lies in the range: there is no border to keep to
        border = np.full((len(nominal), 1), span.low if beyond else span.high)
        at = float(table.coordinate(border)[position, 0])
        if beyond:
            ends[1, position] = min(ends[1, position], at)
        else:
            ends[0, position] = max(ends[0, position], at)
    return ends


def deviated(
    table: ScalarTable, variant: int, deviation: FloatArray, ends: FloatArray
) -> FloatArray:
    """Values (S,) of parts that deviate by so many stated standard deviations (S,).

    What would lie beyond an end (2, S) is folded back, at most to the usual value.
    """
    nominal = table.coordinate(table.nominal[variant][:, None])[:, 0]
    coordinate = nominal + table.spread[variant] * deviation
    low, high = ends
    over, under = coordinate > high, coordinate < low
    coordinate[over] = np.maximum(2.0 * high[over] - coordinate[over], nominal[over])
    coordinate[under] = np.minimum(2.0 * low[under] - coordinate[under], nominal[under])
    return table.natural(coordinate[:, None])[:, 0]


def apply_fault(
    table: ScalarTable, hidden: HiddenFault, good: FloatArray, values: FloatArray
) -> None:
    """Let one fault act on a car's values (S,), in place; `good` are those without any fault."""
    for span in hidden.fault.spans:
        position = table.index[span.scalar]
        log = bool(table.log[position])
        if span.like is not None:
            values[position] = good[table.index[span.like]]
        elif span.act == "set":
            values[position] = amount_at(span, hidden.severity, geometric=log)
        elif span.act == "times":
            values[position] *= amount_at(span, hidden.severity, geometric=True)
        else:
            values[position] += amount_at(span, hidden.severity, geometric=False)
        if log:
            values[position] = max(values[position], SMALLEST)


def amount_at(span: Span, severity: float, *, geometric: bool) -> float:
    """What a span amounts to at a severity: along the logarithm where that makes sense."""
    if geometric and span.low > 0 and span.high > 0:
        return span.low * math.exp(math.log(span.high / span.low) * severity)
    return span.low + (span.high - span.low) * severity


def severity_of(table: ScalarTable, hidden: HiddenFault) -> tuple[str, float, str] | None:
    """(scalar, amount, unit) of the span that carries a fault's severity; None without one."""
    leading = next((span for span in hidden.fault.spans if span.low != span.high), None)
    if leading is None:
        return None
    position = table.index[leading.scalar]
    geometric = leading.act == "times" or (leading.act == "set" and bool(table.log[position]))
    amount = amount_at(leading, hidden.severity, geometric=geometric)
    unit = "times" if leading.act == "times" else table.units[position]
    return leading.scalar, amount, unit


def positions_of(table: ScalarTable, prefixes: Iterable[str]) -> list[int]:
    """Positions of the scalars that ids or element names mean ("gnd" means "gnd.ohm" too)."""
    starts = [(prefix, f"{prefix}.", f"{prefix}[") for prefix in prefixes]
    return [
        position
        for position, name in enumerate(table.ids)
        if any(name == whole or name.startswith((dot, key)) for whole, dot, key in starts)
    ]
