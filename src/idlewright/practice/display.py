"""What a meter shows of a true value, typed as a person would type it."""

from __future__ import annotations

import math

import numpy as np

from idlewright.diagnosis.factors import REPEATABILITY_SHARE
from idlewright.model.latents import ScaleName, noise_in_unit
from idlewright.physics.meter import Meter, MeterFunction, Shown, in_base_unit
from idlewright.practice.chance import Chance
from idlewright.practice.laws import Law


class Instruments:
    """All meters used on one car: each keeps its own hidden gain.

    Args:
        chance: random numbers. law: how meters err.
    """

    def __init__(self, chance: Chance, law: Law) -> None:
        self._chance = chance
        self._law = law

    def gain(self, meter: Meter, read: str) -> float:
        """The meter's hidden gain error on a function (0.01 = 1 % high)."""
        function = meter.function(read)
        kind = "volt" if read == "mV" else read
        rng = self._chance.of("gain", meter.id, kind)
        return function.gain_sd * float(self._law.error(rng))

    def shown(
        self,
        meter: Meter,
        read: str,
        value: float,
        scale: ScaleName,
        extra: float,
        name: tuple[str, int],
        factor: float = 1.0,
    ) -> Shown:
        """What the display shows, in the function's base unit.

        Args:
            meter: with which. read: its function. value: at the lead places, unit of `read`.
            scale: working scale of what is read: `extra` (the check's own standard uncertainty) is
                a share of the value where readings are logarithms, else in the unit of `read`.
            name: what is read, and how often it was read before. factor: on what is shown (a
                mistaken unit, a tachometer set wrong).
        """
        function = meter.function(read)
        one = abs(in_base_unit(read, 1.0))
        true = (in_base_unit(read, value) + _leads(function, read)) * (1.0 + self.gain(meter, read))
        step = float(function.step_at(true))
        spread = math.hypot(
            function.counts * step / math.sqrt(3.0),
            one * noise_in_unit(scale, extra, value),
        )
        right = meter.show(read, true + spread * self._error(meter, read, name))
        if factor == 1.0:
            return right
        return Shown(right.value * factor, right.step * factor, right.overload)

    def _error(self, meter: Meter, read: str, name: tuple[str, int]) -> float:
        """An error of standard deviation one; repeats of a reading share most of it."""
        what, occasion = name
        common = float(self._law.error(self._chance.of("noise", meter.id, read, what)))
        rng = self._chance.of("noise", meter.id, read, what, occasion)
        fresh = float(self._law.error(rng))
        share = math.sqrt(1.0 - REPEATABILITY_SHARE)
        if self._law.rectangular:  # the same correlation of repeats, but never beyond the limits
            return common if rng.random() < share else fresh
        return share * common + math.sqrt(REPEATABILITY_SHARE) * fresh


def _leads(function: MeterFunction, read: str) -> float:
    return function.lead_ohm if read == "ohm" else 0.0


def typed(meter: Meter, read: str, shown: Shown) -> str:
    """A display as a person types it."""
    return meter.shown_text(
        read, float(shown.value), float(np.asarray(shown.step)), bool(shown.overload)
    )
