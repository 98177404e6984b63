"""A reading as a list of alternatives, an alternative as numbers and boxes of latents.

Numbers, words, open circuit, modes and slips are all the same thing here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from idlewright.model.forms import Box, Form, Mode
from idlewright.model.latents import (
    VOLT_KNEE,
    Latent,
    ScaleName,
    noise_in_unit,
    slope_of_scale,
    spread_on_scale,
    to_scale,
)

REPEATABILITY_SHARE = 0.25
"""Share of a reading's own (not gain) variance that is new each time it is repeated; the rest is
common to readings of the same thing with the same meter. Common practice, no source."""

COARSE = 2.0
"""A display step this many times the other noise is taken as an interval, not as a density."""
NEAR_ZERO = 3.0
"""A number nearer to zero than so many standard uncertainties is one too, on a logarithmic scale or
where its uncertainty is wider than the straight part of the scale of volts."""


@dataclass(frozen=True, slots=True)
class Noise:
    """How well a meter shows one number.

    Attributes:
        gain: standard deviation of its hidden gain error (share of reading), shared by all its
            readings on that function. own: standard uncertainty of one reading, in its unit,
            without the display. step: size of the last displayed digit, own unit. top: largest
            number it can show. meter: id shared by readings with the same gain.
    """

    gain: float
    own: float
    step: float
    top: float
    meter: str


@dataclass(frozen=True, slots=True)
class NumberFactor:
    """Latent x was read as y (working scale).

    Attributes:
        variance: of this reading alone. gain: dx by one standard deviation of the meter's gain.
        meter: readings with the same meter and function share that gain.
    """

    latent: Latent
    y: float
    variance: float
    gain: float
    meter: str


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way a reading can have come about.

    Attributes:
        numbers, boxes: factors. ln_weight: log prior of this way. slip: None, or its kind.
        says: the slip in words.
    """

    numbers: tuple[NumberFactor, ...] = ()
    boxes: tuple[Box, ...] = ()
    ln_weight: float = 0.0
    slip: str | None = None
    says: str = ""

    @property
    def factors(self) -> tuple[NumberFactor | Box, ...]:
        """All factors, numbers before boxes."""
        return (*self.numbers, *self.boxes)


@dataclass(frozen=True, slots=True)
class Seen:
    """One reading, ready for the evidence.

    Attributes:
        id: reading id. alternatives: the ways it can be right (modes). odds: fault id -> chance of
            the word seen when that fault is active, for odds words; base: chance on any other car.
        epoch, episode: when. slips: ways it can be wrong. flat: ln density of a broad rest, in
            working-scale units (for a word: ln of one over the number of words). what: id of the
            check; a look repeated at one time says nothing new ("": always counts).
    """

    id: str
    alternatives: tuple[Alternative, ...]
    epoch: int
    episode: int
    odds: Mapping[str, float] = field(default_factory=dict)
    base: float = 1.0
    slips: tuple[Alternative, ...] = ()
    flat: float = 0.0
    what: str = ""


RANGE_OF_SCALE: Mapping[ScaleName, float] = {
    "volt": 12.0,
    "ohm": 20.0,
    "log": 4.0,
    "linear": 100.0,
}
"""Width of the broad rest on each working scale (linear: in the latent's own unit)."""


def number_alternatives(form: Form, value: float, noise: Noise) -> tuple[Alternative, ...]:
    """Ways a number (in the form's unit) can be right: one per mode."""
    return tuple(_as_number(mode, value, noise, form.noise) for mode in form.modes if mode.number)


def overload_alternatives(form: Form, noise: Noise) -> tuple[Alternative, ...]:
    """Ways "open circuit" can be right: the latent is beyond the top of the meter's range."""
    found = []
    for mode in form.modes:
        if mode.number is not None:
            top = float(to_scale(mode.number.scale, noise.top))
            box = Box(mode.number, top, math.inf, 0.05)
            found.append(Alternative(boxes=(*mode.boxes, box)))
    return tuple(found)


def word_alternatives(form: Form, word: str) -> tuple[Alternative, ...]:
    """Ways a word given by limits can be right: one per mode."""
    return tuple(Alternative(boxes=mode.boxes) for mode in form.words.get(word, ()))


def word_and_number(form: Form, word: str, value: float, noise: Noise) -> tuple[Alternative, ...]:
    """Ways a word with a number ("turns, 6.2 V") can be right: modes that agree with the word."""
    found = []
    for worded in form.words.get(word, ()):
        for mode in form.modes:
            if mode.number is not None and _agree(worded.boxes, mode.boxes):
                alone = _as_number(mode, value, noise, form.noise)
                extra = tuple(b for b in worded.boxes if b.latent not in _latents(mode.boxes))
                found.append(replace(alone, boxes=(*alone.boxes, *extra)))
    return tuple(found)


def _latents(boxes: tuple[Box, ...]) -> set[Latent]:
    return {box.latent for box in boxes}


def _agree(first: tuple[Box, ...], second: tuple[Box, ...]) -> bool:
    return all(
        a.low < b.high and b.low < a.high for a in first for b in second if a.latent == b.latent
    )


def _as_number(mode: Mode, value: float, noise: Noise, extra: float) -> Alternative:
    latent = mode.number
    assert latent is not None
    return _read_as(latent, value, noise, extra, mode.boxes)


def _read_as(
    latent: Latent, value: float, noise: Noise, extra: float, boxes: tuple[Box, ...] = ()
) -> Alternative:
    slope = float(slope_of_scale(latent.scale, value))
    y = float(to_scale(latent.scale, value))
    own = math.hypot(noise.own, noise_in_unit(latent.scale, extra, value))
    gain = noise.gain * abs(value) * slope
    spread = math.hypot(own, noise.step / math.sqrt(12.0))
    if _is_next_to_nothing(latent.scale, value, spread):
        # Near zero the working scale has no even density, only ends that are known.
        floor = max(value, 0.0) if latent.scale == "log" else value
        low = float(to_scale(latent.scale, value - 2.0 * spread))
        high = float(to_scale(latent.scale, floor + 2.0 * spread))
        ln_density = -math.log(min(high - low, RANGE_OF_SCALE[latent.scale]))
        return Alternative(boxes=(*boxes, Box(latent, low, high, 0.1)), ln_weight=ln_density)
    if noise.step > COARSE * own:
        half = 0.5 * noise.step
        low = float(to_scale(latent.scale, value - half))
        high = float(to_scale(latent.scale, value + half))
        blur = math.hypot(max(own, 0.05 * noise.step) * slope, gain)
        # Per unit of the working scale, so that it compares with densities of other readings.
        ln_density = -math.log(max(high - low, 1e-9))
        return Alternative(boxes=(*boxes, Box(latent, low, high, blur)), ln_weight=ln_density)
    variance = float(spread_on_scale(latent.scale, value, spread)) ** 2
    return Alternative(
        numbers=(NumberFactor(latent, y, max(variance, 1e-12), gain, noise.meter),), boxes=boxes
    )


def _is_next_to_nothing(scale: ScaleName, value: float, spread: float) -> bool:
    """A number that may be zero, on a scale that is uneven within its uncertainty."""
    if scale == "log":
        return value < NEAR_ZERO * spread
    return scale == "volt" and spread > VOLT_KNEE and abs(value) < NEAR_ZERO * spread


def read_as(latent: Latent, value: float, noise: Noise) -> Alternative:
    """The reading, taken as a number of another latent (for slips)."""
    return _read_as(latent, value, noise, 0.0)
