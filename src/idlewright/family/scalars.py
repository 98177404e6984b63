"""From an amount in a line to a scalar record: scale, tolerance and unit."""

from __future__ import annotations

from idlewright.family.amounts import Amount
from idlewright.family.kinds import Condition, Scalar, Scale

_UNITS = {
    "ohm": "ohm", "volt": "V", "v": "V", "mv": "mV", "amp": "A", "mm2": "mm2", "mm": "mm",
    "nm": "Nm", "rpm": "rpm", "kpa": "kPa", "deg": "deg", "k": "K", "l": "l", "s": "s",
}  # fmt: skip
LINEAR_ENGINE = ("timing_deg", "back_kpa", "dilution")
"""Engine scalars whose good value may be zero or less: linear unless their line says otherwise."""


def unit_of(scalar_id: str) -> str:
    """The unit that a scalar's name ends in, or ""."""
    last = scalar_id.rsplit(".", 1)[-1].rsplit("_", 1)[-1]
    return _UNITS.get(last, "") if last != scalar_id else ""


def tolerance(amount: Amount, within: float | None) -> float | None:
    """`within` of the line, else of the amount, else None (sheet's limits) or 0 (exact)."""
    if within is not None:
        return within
    if amount.within is not None:
        return amount.within
    from_limits = amount.value.sheet is not None and amount.value.by_word is None
    return None if from_limits else 0.0


def make_scalar(
    scalar_id: str,
    amount: Amount,
    within: float | None,
    scale: Scale,
    unit: str | None = None,
    only: Condition | None = None,
    stands_for: str | None = None,
) -> Scalar:
    """A scalar record."""
    return Scalar(
        id=scalar_id,
        scale=scale,
        value=amount.value,
        within=tolerance(amount, within),
        unit=unit_of(scalar_id) if unit is None else unit,
        only=only or {},
        stands_for=stands_for,
    )


def log_scalar(scalar_id: str, amount: Amount, within: float | None) -> Scalar:
    """A resistance or another positive quantity."""
    return make_scalar(scalar_id, amount, within, "log")
