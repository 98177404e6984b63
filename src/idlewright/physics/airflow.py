"""Air through holes: orifice flow, the standard atmosphere, a throttle plate's open area.

Areas are *effective* areas (geometric area times discharge coefficient, usually 0.6 to 0.9)
wherever a mass flow is meant; `throttle_area_mm2` alone is geometric. Pressures absolute, kPa.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from idlewright.errors import BadInput, Problem

Array = npt.NDArray[np.float64]

AIR_GAMMA: Final = 1.4
"""Ratio of specific heats of air; 1.4015 at 288 K from gas-property libraries."""
AIR_GAS_CONSTANT: Final = 287.0528
"""Specific gas constant of dry air, J/(kg K) (International Standard Atmosphere)."""

_SEA_LEVEL_KPA: Final = 101.325
_SEA_LEVEL_K: Final = 288.15
_LAPSE_K_PER_M: Final = 0.0065
_STANDARD_GRAVITY: Final = 9.80665
_EARTH_RADIUS_M: Final = 6_356_766.0
_TROPOPAUSE_M: Final = 11_000.0
_PRESSURE_POWER: Final = _STANDARD_GRAVITY / (AIR_GAS_CONSTANT * _LAPSE_K_PER_M)


class Atmosphere(NamedTuple):
    """Standard air at one height, arrays of one shape: kPa, K, kg/m3."""

    pressure_kpa: Array
    temperature_k: Array
    density_kg_m3: Array


def critical_ratio(gamma: float = AIR_GAMMA) -> float:
    """Downstream over upstream pressure below which an orifice is choked.

    (2 / (gamma + 1)) ** (gamma / (gamma - 1)); any text on gas dynamics.
    """
    return float((2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0)))


def choked_flow_function(gamma: float = AIR_GAMMA) -> float:
    """Largest value of `flow_function`: sqrt(gamma) (2/(gamma+1))**((gamma+1)/(2(gamma-1)))."""
    power = (gamma + 1.0) / (2.0 * (gamma - 1.0))
    return float(np.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** power)


def flow_function(ratio: npt.ArrayLike, gamma: float = AIR_GAMMA) -> Array:
    """Orifice flow function: mass flow = effective area * p0 / sqrt(R T0) * flow_function(p / p0).

    Saint-Venant and Wantzel's isentropic nozzle. Constant below the critical ratio, and continuous
    with its first derivative there, so a Newton step may cross the border.

    Args:
        ratio: downstream over upstream pressure, 0 to 1, any shape.
        gamma: ratio of specific heats.

    Returns:
        Dimensionless, same shape.

    Raises:
        BadInput: a ratio outside 0..1 (flow would run backwards).
    """
    r = np.maximum(_checked_ratio(ratio), critical_ratio(gamma))
    fall = -np.expm1((gamma - 1.0) / gamma * np.log(r))  # 1 - r**((g-1)/g) without cancellation
    value: Array = np.sqrt(2.0 * gamma / (gamma - 1.0) * fall) * r ** (1.0 / gamma)
    return value


def flow_function_slope(ratio: npt.ArrayLike, gamma: float = AIR_GAMMA) -> Array:
    """d ln(flow_function) / d ratio, 0 where choked, minus infinity at ratio 1. Same shape.

    Raises:
        BadInput: a ratio outside 0..1.
    """
    r = np.maximum(_checked_ratio(ratio), critical_ratio(gamma))
    power = (gamma - 1.0) / gamma
    fall = -np.expm1(power * np.log(r))
    with np.errstate(divide="ignore"):
        slope: Array = (1.0 / gamma - 0.5 * power * (1.0 - fall) / fall) / r
    return np.where(_checked_ratio(ratio) <= critical_ratio(gamma), 0.0, slope)


def mass_flow_kg_s(
    area_mm2: npt.ArrayLike,
    upstream_kpa: npt.ArrayLike,
    downstream_kpa: npt.ArrayLike,
    upstream_k: npt.ArrayLike,
) -> Array:
    """Air through an effective area, kg/s; inputs broadcast together.

    Valid for ideal-gas air between 200 and 1000 K, no heat given, flow from upstream to downstream.

    Raises:
        BadInput: downstream pressure above upstream pressure.
    """
    p0 = np.asarray(upstream_kpa, dtype=np.float64)
    ratio = np.asarray(downstream_kpa, dtype=np.float64) / p0
    speed = np.sqrt(AIR_GAS_CONSTANT * np.asarray(upstream_k, dtype=np.float64))
    flow: Array = np.asarray(area_mm2, dtype=np.float64) * 1e-6 * p0 * 1e3 / speed
    return flow * flow_function(ratio)


def effective_area_mm2(
    flow_kg_s: npt.ArrayLike,
    upstream_kpa: npt.ArrayLike,
    downstream_kpa: npt.ArrayLike,
    upstream_k: npt.ArrayLike,
) -> Array:
    """Effective area that passes a given flow: `mass_flow_kg_s` turned round. mm2.

    Raises:
        BadInput: downstream pressure above upstream pressure.
    """
    per_mm2 = mass_flow_kg_s(1.0, upstream_kpa, downstream_kpa, upstream_k)
    area: Array = np.asarray(flow_kg_s, dtype=np.float64) / per_mm2
    return area


def geopotential_m(geometric_m: npt.ArrayLike) -> Array:
    """Geopotential height of a height above sea level measured with a tape (map height), m."""
    z = np.asarray(geometric_m, dtype=np.float64)
    height: Array = _EARTH_RADIUS_M * z / (_EARTH_RADIUS_M + z)
    return height


def standard_atmosphere(geopotential_height_m: npt.ArrayLike) -> Atmosphere:
    """International Standard Atmosphere up to 11 km (ISO 2533, as US Standard Atmosphere 1976).

    Args:
        geopotential_height_m: geopotential height, m, any shape; `geopotential_m` makes it from a
            map height (1.6 m apart at 3,200 m, so either serves for a car).

    Raises:
        BadInput: above 11 km or more than 1 km below sea level.
    """
    height = np.asarray(geopotential_height_m, dtype=np.float64)
    if not np.all((height >= -1000.0) & (height <= _TROPOPAUSE_M)):
        raise BadInput(Problem("height outside the troposphere", expected="-1,000 to 11,000 m"))
    temperature: Array = _SEA_LEVEL_K - _LAPSE_K_PER_M * height
    pressure: Array = _SEA_LEVEL_KPA * (temperature / _SEA_LEVEL_K) ** _PRESSURE_POWER
    density: Array = pressure * 1e3 / (AIR_GAS_CONSTANT * temperature)
    return Atmosphere(pressure, temperature, density)


def throttle_area_mm2(
    bore_mm: npt.ArrayLike,
    shaft_mm: npt.ArrayLike,
    angle_deg: npt.ArrayLike,
    closed_deg: npt.ArrayLike,
) -> Array:
    """Geometric open area of an elliptical throttle plate on a round shaft, mm2.

    The plate is seen along the bore as an ellipse that just fills the bore at `closed_deg`; the
    shaft covers a band of its own width. With k = cos(angle)/cos(closed), a = shaft/bore:

        (pi D^2/4) [1 - k + (2/pi)(a sqrt(1 - a^2/k^2) + k asin(a/k) - a sqrt(1 - a^2) - asin(a))]

    and constant once k <= a, when the shaft hides the plate. Derived from the bore minus the union
    of ellipse and shaft band. Plate thickness, edge gaps and the stop's own leak are left out.

    Args:
        bore_mm, shaft_mm: diameters, mm (shaft 0 allowed). angle_deg: plate angle from square
            across the bore, closed_deg..90. closed_deg: the angle at which it shuts. Broadcast.

    Raises:
        BadInput: angle outside closed_deg..90, or a shaft as wide as the bore.
    """
    bore, shaft, angle, closed = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (bore_mm, shaft_mm, angle_deg, closed_deg))
    )
    if not np.all((shaft >= 0.0) & (shaft < bore)):
        raise BadInput(
            Problem("throttle shaft does not fit its bore", expected="0 <= shaft < bore")
        )
    if not np.all((angle >= closed) & (angle <= 90.0) & (closed >= 0.0) & (closed < 90.0)):
        raise BadInput(Problem("throttle angle out of range", expected="closed angle to 90 deg"))
    a = shaft / bore
    k = np.cos(np.radians(angle)) / np.cos(np.radians(closed))
    hidden = np.minimum(a / np.where(k > 0.0, k, 1.0), 1.0)
    hidden = np.where(k <= a, 1.0, hidden)
    plate = a * np.sqrt(1.0 - hidden**2) + k * np.arcsin(hidden)
    plate = np.where(k <= a, k * np.pi / 2.0, plate)  # the whole plate lies behind the shaft
    band = a * np.sqrt(1.0 - a**2) + np.arcsin(a)
    area: Array = np.pi * bore**2 / 4.0 * (1.0 - k + 2.0 / np.pi * (plate - band))
    return area


def _checked_ratio(ratio: npt.ArrayLike) -> Array:
    r = np.asarray(ratio, dtype=np.float64)
    if not np.all((r >= 0.0) & (r <= 1.0)):
        raise BadInput(
            Problem(
                "pressure ratio outside 0 to 1",
                expected="downstream pressure between 0 and the upstream pressure",
            )
        )
    return r
