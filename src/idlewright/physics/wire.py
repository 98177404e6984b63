"""Resistance of copper conductors: by gauge, by cross-section, by temperature.

Units: mm, mm2, m, ohm, degrees Celsius, A, V. Errors: `idlewright.errors.BadInput`. All functions
take numbers or arrays and work element by element.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from idlewright.errors import BadInput, Problem

IACS_OHM_MM2_PER_M = 1.0 / 58.0
"""Resistivity of annealed copper at 20 C, 100 % IACS, ohm mm2/m (IEC 60028; from memory)."""

COPPER_PER_KELVIN = 0.00393
"""Temperature coefficient of its resistance at 20 C, 1/K (IEC 60028; from memory)."""

METRES_PER_1000_FEET = 304.8

ConductorClass = Literal["solid", "stranded", "flexible"]
"""IEC 60228 classes 1, 2 and 5; vehicle harnesses are flexible."""

_FIXED = {0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08}
_FLEXIBLE = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}
_MAXIMUM_OHM_PER_KM = {"solid": _FIXED, "stranded": _FIXED, "flexible": _FLEXIBLE}


def awg_diameter_mm(gauge: ArrayLike) -> NDArray[np.float64]:
    """Diameter of a solid wire of American Wire Gauge `gauge`, mm.

    d = 0.127 mm * 92^((36 - n)/39) (ASTM B258; formula from memory). Gauges 0, 00, 000, 0000 are
    0, -1, -2, -3.

    Raises:
        BadInput: a gauge outside -3 .. 56, where the standard defines none.
    """
    number = _checked("gauge", gauge, lowest=-3.0, highest=56.0)
    return np.asarray(0.127 * 92.0 ** ((36.0 - number) / 39.0))


def copper_ohm_per_m(area_mm2: ArrayLike, celsius: ArrayLike = 20.0) -> NDArray[np.float64]:
    """Resistance per metre of a copper conductor of a given cross-section, ohm/m.

    R/L = (1/58 ohm mm2/m) / A * (1 + 0.00393 (t - 20)).

    Raises:
        BadInput: an area that is not above 0; a temperature as in `copper_ratio`.
    """
    area = _checked("cross-section, mm2", area_mm2, lowest=math.ulp(0.0))
    return np.asarray(IACS_OHM_MM2_PER_M / area * copper_ratio(celsius))


def awg_ohm_per_m(gauge: ArrayLike, celsius: ArrayLike = 20.0) -> NDArray[np.float64]:
    """Resistance per metre of a solid copper wire of American Wire Gauge `gauge`, ohm/m.

    Raises:
        BadInput: as `awg_diameter_mm` and `copper_ratio`.
    """
    return copper_ohm_per_m(np.pi / 4.0 * awg_diameter_mm(gauge) ** 2, celsius)


def copper_ratio(celsius: ArrayLike) -> NDArray[np.float64]:
    """Resistance of copper at a temperature over that at 20 C: 1 + 0.00393 (t - 20).

    Raises:
        BadInput: a temperature outside -100 .. 300 C, where the straight line is not used.
    """
    temperature = _checked("temperature, C", celsius, lowest=-100.0, highest=300.0)
    return np.asarray(1.0 + COPPER_PER_KELVIN * (temperature - 20.0))


def iec_60228_factor(celsius: ArrayLike) -> NDArray[np.float64]:
    """Factor that brings a resistance measured at a temperature to 20 C, as IEC 60228 tables it.

    1 / (1 + 0.004 (t - 20)): the standard rounds the coefficient to 0.004. Use it to compare with
    the standard's limits, and `copper_ratio` for physics.

    Raises:
        BadInput: a temperature outside -100 .. 300 C.
    """
    temperature = _checked("temperature, C", celsius, lowest=-100.0, highest=300.0)
    return np.asarray(1.0 / (1.0 + 0.004 * (temperature - 20.0)))


def iec_60228_maximum_ohm_per_km(area_mm2: float, conductor: ConductorClass) -> float:
    """Greatest resistance at 20 C of a plain copper conductor, ohm/km (IEC 60228 tables 1 to 3).

    The values for flexible conductors of 0.5 and 0.75 mm2 were seen in one secondary copy of the
    table only, the others in two or three.

    Raises:
        BadInput: a cross-section or class that is not in the table.
    """
    table = _MAXIMUM_OHM_PER_KM.get(conductor)
    if table is None or area_mm2 not in table:
        raise BadInput(
            Problem(
                says=f"no limit is known for a {conductor} conductor of {area_mm2} mm2",
                expected="solid, stranded or flexible; " + ", ".join(f"{a:g}" for a in _FIXED),
                remedy="use copper_ohm_per_m for other cross-sections",
            )
        )
    return table[area_mm2]


def wire_drop_volts(
    ohm_per_m: ArrayLike, length_m: ArrayLike, ampere: ArrayLike
) -> NDArray[np.float64]:
    """Voltage along a conductor carrying a current, V. The length is out and back where both count.

    Raises:
        BadInput: a negative resistance or length; anything not finite.
    """
    resistance = _checked("ohm per metre", ohm_per_m, lowest=0.0)
    length = _checked("length, m", length_m, lowest=0.0)
    current = _checked("current, A", ampere)
    return np.asarray(resistance * length * current)


def _checked(
    what: str, value: ArrayLike, lowest: float = -math.inf, highest: float = math.inf
) -> NDArray[np.float64]:
    """The value as an array.

    Raises:
        BadInput: a number that is not finite or out of range.
    """
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array) & (array >= lowest) & (array <= highest)):
        raise BadInput(
            Problem(
                says=f"{what} cannot be {array.tolist()}",
                expected=f"finite numbers, {lowest:g} to {highest:g}",
            )
        )
    return array
