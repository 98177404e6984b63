"""Which alternatives of the readings to weigh together, and their factors as one observation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from idlewright.diagnosis.factors import REPEATABILITY_SHARE, NumberFactor, Seen
from idlewright.diagnosis.gaussian import Observed, inside_range
from idlewright.model.compiled import CompiledModel
from idlewright.model.forms import Box
from idlewright.model.scalars import FloatArray

DROP_NATS = 25.0
MOST_KEPT = 32


@dataclass(frozen=True, slots=True)
class Combination:
    """One alternative for every reading.

    Attributes:
        picked: alternative of each reading that has any. factors: their factors' numbers, numbers
            before boxes. ln_weight: log prior of the combination.
    """

    picked: tuple[int, ...]
    factors: list[int]
    ln_weight: float


@dataclass(frozen=True, slots=True)
class Option:
    """One alternative of one reading: its number, its factors and its log prior."""

    number: int
    factors: list[int]
    ln_weight: float


@dataclass(frozen=True, slots=True)
class Factors:
    """Every factor of every alternative, each once.

    Attributes:
        items: the factors. latents: their latents' numbers. times: when they were seen.
        of: per reading (none: it has no alternatives), its options.
    """

    items: list[NumberFactor | Box] = field(default_factory=list)
    latents: list[int] = field(default_factory=list)
    times: list[int] = field(default_factory=list)
    of: list[list[Option]] = field(default_factory=list)

    @staticmethod
    def collect(model: CompiledModel, seen: Sequence[Seen], times: Sequence[int]) -> Factors:
        """Number the factors of all readings.

        Equal boxes seen at one time are one: a border seen again errs the same way again, and EP
        would count near copies of one box as more than they say.
        """
        found = Factors()
        boxes: dict[tuple[Box, int], int] = {}
        for one, time in zip(seen, times, strict=True):
            known: dict[NumberFactor | Box, int] = {}
            options = []
            for k, alternative in enumerate(one.alternatives):
                items = alternative.factors
                for item in items:
                    if isinstance(item, Box) and (item, time) in boxes:
                        known[item] = boxes[item, time]
                    if item not in known:
                        known[item] = len(found.items)
                        if isinstance(item, Box):
                            boxes[item, time] = known[item]
                        found.items.append(item)
                        found.latents.append(model.number_of(item.latent))
                        found.times.append(time)
                options.append(Option(k, [known[item] for item in items], alternative.ln_weight))
            found.of.append(options)
        return found


def combinations(
    readings: Sequence[Sequence[Option]],
    items: Sequence[NumberFactor | Box],
    mean: FloatArray,
    variance: FloatArray,
) -> list[Combination]:
    """Combinations worth weighing.

    An alternative whose boxes are out of every row's reach (by DROP_NATS more than the reading's
    best) is dropped; of the rest the MOST_KEPT most hopeful combinations are kept, best first.

    Args:
        readings: options of each reading; a reading without any is passed over.
        mean, variance: the factors' latents in every row, (F, R) each.
    """
    kept: list[tuple[float, tuple[Option, ...]]] = [(0.0, ())]
    for options in readings:
        if not options:
            continue
        if len(options) == 1:
            kept = [(hope, (*picked, options[0])) for hope, picked in kept]
            continue
        hopes = [best_density(o, items, mean, variance) for o in options]
        able = [(h, o) for h, o in zip(hopes, options, strict=True) if h > max(hopes) - DROP_NATS]
        # Hopes add up, so the best of all are among the best so far, each continued.
        longer = [(hope + h, (*picked, o)) for hope, picked in kept for h, o in able]
        kept = sorted(longer, key=lambda pair: -pair[0])[:MOST_KEPT]
    return [combination_of(picked, items) for _, picked in kept]


def combination_of(picked: Sequence[Option], items: Sequence[NumberFactor | Box]) -> Combination:
    """The combination of one option a reading."""
    flat = dict.fromkeys(i for option in picked for i in option.factors)
    ordered = sorted(flat, key=lambda i: isinstance(items[i], Box))
    return Combination(
        tuple(option.number for option in picked),
        ordered,
        sum(option.ln_weight for option in picked),
    )


def best_density(
    option: Option,
    items: Sequence[NumberFactor | Box],
    mean: FloatArray,
    variance: FloatArray,
) -> float:
    """Largest log density, over rows, of an option's factors taken one by one."""
    return float(densities(option, items, mean, variance).max())


def densities(
    option: Option,
    items: Sequence[NumberFactor | Box],
    mean: FloatArray,
    variance: FloatArray,
) -> FloatArray:
    """Log density in each row of an option's factors taken one by one, (R,).

    Args:
        items, mean, variance: as in `combinations`.
    """
    rows = mean.shape[1]
    total = np.zeros(rows)
    for i in option.factors:
        item = items[i]
        if isinstance(item, Box):
            low, high = np.full(rows, item.low), np.full(rows, item.high)
            spread = variance[i] + item.blur**2 + 1e-12
            total = total + inside_range(low, high, mean[i], spread)
        else:
            spread = variance[i] + item.variance + item.gain**2
            total = total - 0.5 * ((item.y - mean[i]) ** 2 / spread + np.log(spread))
    return total


def observe(items: Sequence[NumberFactor | Box]) -> Observed:
    """Numbers (first) and boxes (after) as one observation with its meters' covariance.

    Readings with the same meter share its gain; readings of the same latent with the same meter
    also share all of their own error but REPEATABILITY_SHARE of its variance.
    """
    numbers = [item for item in items if isinstance(item, NumberFactor)]
    boxes = [item for item in items if isinstance(item, Box)]
    return Observed(
        y=np.array([item.y for item in numbers]),
        noise=_noise(numbers),
        low=np.array([item.low for item in boxes]),
        high=np.array([item.high for item in boxes]),
        blur=np.array([item.blur for item in boxes]),
    )


def _noise(numbers: Sequence[NumberFactor]) -> FloatArray:
    noise = np.zeros((len(numbers), len(numbers)))
    for i, a in enumerate(numbers):
        noise[i, i] = a.variance + a.gain**2
        for j, b in enumerate(numbers[:i]):
            if a.meter == b.meter:
                noise[i, j] = a.gain * b.gain
                if a.latent == b.latent:
                    shared = (1.0 - REPEATABILITY_SHARE) * min(a.variance, b.variance)
                    noise[i, j] += shared
                noise[j, i] = noise[i, j]
    return noise
