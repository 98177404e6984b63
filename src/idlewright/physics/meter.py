"""Instruments: what they show of a true value, and how uncertain that is.

Each function is stated as +/-(percent of reading + counts), as on a meter's leaflet. The percent
part is a fixed property of *that* meter: one hidden gain shared by all its readings on the
function, so that repeats do not sharpen it and ratios cancel it. The counts part is taken as new
with every reading. A display is an interval one count wide, and no number at all above the top.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from idlewright.errors import BadInput, Problem
from idlewright.physics.uncertainty import rectangular_sd
from idlewright.quantities import UNIT_OF_READ, UNITS, Overload, convert, format_quantity

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LIVE_VOLT: Final = 1e-3
"""Volts across the leads above which an ohmmeter is refused: with a test current of 0.5 to 1 mA
(from memory) a foreign millivolt already reads as an ohm or two."""


@dataclass(frozen=True, slots=True)
class MeterFunction:
    """One function of an instrument; values in its base unit (V, ohm, A, rpm, kPa, mm, ...).

    Attributes:
        percent: half-width of the gain error, % of reading.
        counts: half-width of the rest, in last digits of the range used.
        resolution: last digit in the lowest range.
        top: largest value it can show; above it overload.
        full_count: counts in a range before the next tenfold one is chosen (4000: 400 mV, 4 V,
            40 V ...); None = one range only.
        input_ohm: resistance between the leads of a voltmeter.
        lead_ohm: resistance of both leads together, read with every resistance.
    """

    percent: float
    counts: float
    resolution: float
    top: float
    full_count: int | None = None
    input_ohm: float = math.inf
    lead_ohm: float = 0.0

    def __post_init__(self) -> None:
        finite = (self.percent, self.counts, self.resolution, self.top, self.lead_ohm)
        sizes = (self.resolution, self.top, self.input_ohm)
        if not all(math.isfinite(x) and x >= 0.0 for x in finite) or not min(sizes) > 0.0:
            raise BadInput("a meter's figures must be positive numbers")
        if self.top < self.resolution or (self.full_count is not None and self.full_count < 100):
            raise BadInput("a meter's range must hold more than its last digit")

    @property
    def gain_sd(self) -> float:
        """Relative standard uncertainty of the hidden gain (the % part is rectangular)."""
        return rectangular_sd(self.percent / 100.0)

    def ranges(self) -> FloatArray:
        """Last digit of each range, lowest first, base unit."""
        if self.full_count is None:
            return np.array([self.resolution])
        span = math.log10(self.top / (self.resolution * self.full_count))
        number = 1 + max(0, math.ceil(span - 1e-9))
        return np.asarray(self.resolution * 10.0 ** np.arange(number))

    def step_at(self, value: ArrayLike) -> FloatArray:
        """Last digit of the range an automatic meter would choose for a value, same shape."""
        size = np.abs(np.asarray(value, dtype=np.float64))
        steps = self.ranges()
        if self.full_count is None:
            return np.full(size.shape, steps[0])
        # a count of full_count - 1 is the last a range shows; half a count more rounds past it
        edges = (self.full_count - 0.5) * steps
        chosen = np.searchsorted(edges, size, side="right")
        return np.asarray(steps[np.minimum(chosen, steps.size - 1)])

    def independent_variance(self, reading: ArrayLike, step: ArrayLike = 0.0) -> FloatArray:
        """Variance that is new with every reading: counts and the width of the display.

        Args:
            reading: shown value, any shape, base unit.
            step: last digit as typed; the meter's own at this reading if that is coarser.
        """
        own = self.step_at(reading)
        width = np.maximum(own, np.asarray(step, dtype=np.float64))
        return np.asarray((self.counts * own) ** 2 / 3.0 + width**2 / 12.0)

    def variance(self, reading: ArrayLike, step: ArrayLike = 0.0) -> FloatArray:
        """Whole variance of one reading taken alone: shared gain plus independent parts."""
        shared = (self.gain_sd * np.asarray(reading, dtype=np.float64)) ** 2
        return np.asarray(shared + self.independent_variance(reading, step))

    def u(self, reading: float, step: float = 0.0) -> float:
        """Standard uncertainty of one reading taken alone, base unit."""
        return math.sqrt(float(self.variance(reading, step)))

    def overload_floor(self, overload: Overload) -> float:
        """The value the true one is above when the display showed overload, base unit.

        A unit beside it ("OL ohm") names the range a hand-switched meter was left on: the largest
        one shown in that unit. Without it, or with one range only: the top.
        """
        if not overload.shown_unit or self.full_count is None:
            return self.top
        unit = UNITS[overload.shown_unit]
        ends = np.minimum(self.ranges() * self.full_count, self.top)
        shown_below = 1000.0 * float(unit.factor)
        inside = ends[ends < shown_below]
        return float(inside[-1]) if inside.size else float(ends[0])


@dataclass(frozen=True, slots=True)
class Shown:
    """What a display shows, same shape as the true values.

    Attributes:
        value: rounded to the display, base unit; the top where overload.
        step: last digit. overload: True where the display shows no number.
    """

    value: FloatArray
    step: FloatArray
    overload: BoolArray


@dataclass(frozen=True, slots=True)
class Meter:
    """The instruments in use, by what they read ("volt", "ohm", "rpm", "kPa", ...).

    Attributes:
        id: its id in the job.
        functions: read -> function.
        stated: True if the job states it; False for the stated ordinary one.
    """

    id: str
    functions: Mapping[str, MeterFunction] = field(default_factory=lambda: ORDINARY)
    stated: bool = False

    @property
    def says(self) -> str:
        """The meter in words, for the answer."""
        return f"meter {self.id}" if self.stated else "a stated ordinary meter"

    def function(self, read: str) -> MeterFunction:
        """The function that reads `read` ("mV" is read on volts). BadInput if it has none."""
        found = self.functions.get(_MEASURED_ON.get(read, read))
        if found is None:
            problem = Problem(
                says=f"{self.says} cannot read {read}",
                expected=f"one of {', '.join(self.functions)}",
                remedy="name another meter, or add the function to this one",
            )
            raise BadInput(problem)
        return found

    def hidden_gains(self, rng: np.random.Generator) -> dict[str, float]:
        """Draw this meter's own fixed gain error for each function (0.01 = reads 1 % high)."""
        widths = {read: f.percent / 100.0 for read, f in self.functions.items()}
        return {read: float(rng.uniform(-width, width)) for read, width in widths.items()}

    def show(
        self,
        read: str,
        true: ArrayLike,
        *,
        gain: float = 0.0,
        rng: np.random.Generator | None = None,
    ) -> Shown:
        """What the display shows of values at its jacks (after loading and leads).

        Args:
            read: which function. true: values, base unit, any shape.
            gain: this meter's hidden gain error. rng: draws the counts part; None = none.
        """
        function = self.function(read)
        signal = np.asarray(true, dtype=np.float64) * (1.0 + gain)
        if rng is not None and function.counts:
            half = function.counts * function.step_at(signal)
            signal = signal + rng.uniform(-1.0, 1.0, size=signal.shape) * half
        step = function.step_at(signal)
        last = function.ranges()[-1]
        full = math.inf if function.full_count is None else (function.full_count - 0.5) * last
        limit = min(function.top + 0.5 * last, full)
        over = np.asarray(np.abs(signal) >= limit)
        value = np.where(over, np.copysign(function.top, signal), np.round(signal / step) * step)
        return Shown(value=value, step=step, overload=over)

    def shown_text(self, read: str, value: float, step: float, overload: bool = False) -> str:
        """One displayed value as a technician would type it."""
        if overload:
            return "OL"
        base = UNIT_OF_READ[_MEASURED_ON.get(read, read)]
        return format_quantity(value, base, step)


_MEASURED_ON: Final = {"mV": "volt"}

# Ordinary instruments of the trade: common practice, no source. A hand-held 4000-count multimeter
# (its volts read through 10 Mohm), a tachometer, a vacuum gauge, a timing lamp, a vernier and a
# stop watch (whose two counts are the hand that stops it).
ORDINARY: Final[Mapping[str, MeterFunction]] = MappingProxyType({
    "volt": MeterFunction(0.5, 3, 1e-4, 600.0, full_count=4000, input_ohm=10e6),
    "volt_ac": MeterFunction(1.0, 5, 1e-3, 600.0, full_count=4000, input_ohm=10e6),
    "ohm": MeterFunction(1.0, 3, 0.1, 40e6, full_count=4000, lead_ohm=0.2),
    "amp": MeterFunction(1.5, 3, 0.01, 10.0),
    "rpm": MeterFunction(0.5, 1, 10.0, 10e3),
    "kPa": MeterFunction(0.0, 2, 1.0, 100.0),
    "deg": MeterFunction(0.0, 1, 1.0, 90.0),
    "mm": MeterFunction(0.0, 1, 0.05, 150.0),
    "s": MeterFunction(0.0, 2, 0.1, 3600.0),
    "percent": MeterFunction(0.0, 5, 0.1, 100.0),
})  # fmt: skip

ORDINARY_METER: Final = Meter("ordinary", ORDINARY)


def voltmeter_shows(volts: ArrayLike, source_ohm: ArrayLike, input_ohm: float) -> FloatArray:
    """Volts left at a voltmeter's jacks: V Rm / (Rm + R), with R the circuit's resistance."""
    source = np.asarray(source_ohm, dtype=np.float64)
    return np.asarray(np.asarray(volts, dtype=np.float64) / (1.0 + source / input_ohm))


def unloaded_volts(shown: ArrayLike, source_ohm: ArrayLike, input_ohm: float) -> FloatArray:
    """Volts without the meter, from what it showed: V (1 + R / Rm)."""
    source = np.asarray(source_ohm, dtype=np.float64)
    return np.asarray(np.asarray(shown, dtype=np.float64) * (1.0 + source / input_ohm))


def ohmmeter_shows(ohms: ArrayLike, lead_ohm: float) -> FloatArray:
    """Ohms at an ohmmeter's jacks: the circuit's (dead) and both leads in series."""
    return np.asarray(np.asarray(ohms, dtype=np.float64) + lead_ohm)


def without_leads(
    function: MeterFunction, shown: float, shorted: float, step: float = 0.0
) -> tuple[float, float]:
    """A resistance with the shorted-lead reading taken off, and its standard uncertainty (ohm).

    The hidden gain acts on the difference only; counts and display count twice.
    """
    ohms = shown - shorted
    both = function.independent_variance(shown, step) + function.independent_variance(shorted, step)
    return ohms, math.sqrt(float(both) + (function.gain_sd * ohms) ** 2)


def why_ohms_invalid(live_volts: float) -> str:
    """Why a resistance reading means nothing, or "" if the circuit is dead.

    Args:
        live_volts: open-circuit volts between the lead places, from the circuit's own sources.
    """
    if abs(live_volts) <= LIVE_VOLT:
        return ""
    shown = format_quantity(live_volts, "V", 10.0 ** math.floor(math.log10(abs(live_volts)) - 1))
    return (
        f"the circuit is live ({shown} between the leads): an ohmmeter is its own source and "
        "reads nonsense, or is damaged; key off and unplug first"
    )


def in_base_unit(read: str, value: float) -> float:
    """A value in the unit of `read` ("mV") in the unit the meter's function works in ("V")."""
    measured = _MEASURED_ON.get(read, read)
    return convert(value, UNIT_OF_READ[read], UNIT_OF_READ[measured])
