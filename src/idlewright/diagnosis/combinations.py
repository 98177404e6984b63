"""Which alternatives of the readings to weigh together, and their factors as one observation."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from idlewright.diagnosis.factors import REPEATABILITY_SHARE, NumberFactor, Seen
from idlewright.diagnosis.gaussian import Observed, inside_range
from idlewright.model.compiled import CompiledModel
from idlewright.model.forms import Box
from idlewright.model.scalars import FloatArray

DROP_NATS = 25.0
MOST_TRIED = 4096
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
class Factors:
    """Every factor of every alternative, each once.

    Attributes:
        items: the factors. latents: their latents' numbers. times: when they were seen.
        of: per reading that has alternatives, per alternative: its factors.
    """

    items: list[NumberFactor | Box] = field(default_factory=list)
    latents: list[int] = field(default_factory=list)
    times: list[int] = field(default_factory=list)
    of: list[list[list[int]]] = field(default_factory=list)

    @staticmethod
    def collect(model: CompiledModel, seen: Sequence[Seen], times: Sequence[int]) -> Factors:
        """Number the factors of all readings.

        Equal boxes seen at one time are one: a border seen again errs the same way again, and EP
        would count near copies of one box as more than they say.
        """
        found = Factors()
        boxes: dict[tuple[Box, int], int] = {}
        for one, time in zip(seen, times, strict=True):
            if not one.alternatives:
                continue
            known: dict[NumberFactor | Box, int] = {}
            options = []
            for alternative in one.alternatives:
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
                options.append([known[item] for item in items])
            found.of.append(options)
        return found


def combinations(
    seen: Sequence[Seen], factors: Factors, mean: FloatArray, slopes: FloatArray
) -> list[Combination]:
    """Combinations worth weighing.

    An alternative whose boxes are out of every row's reach (by DROP_NATS more than the reading's
    best) is dropped; of the rest at most MOST_KEPT combinations are kept, the most hopeful first.

    Args:
        mean, slopes: the factors' latents in every row, (R, F) and (R, F, K).
    """
    able = [one for one in seen if one.alternatives]
    variance = 4.0 * np.einsum("rfk,rfk->rf", slopes, slopes)
    per_reading = []
    for one, options in zip(able, factors.of, strict=True):
        hopes = [_hope(factors, mine, mean, variance) for mine in options]
        best = max(hopes)
        per_reading.append(
            [
                (hope, k, mine, one.alternatives[k].ln_weight)
                for k, (hope, mine) in enumerate(zip(hopes, options, strict=True))
                if hope > best - DROP_NATS
            ]
        )
    tried = []
    for picked in itertools.islice(itertools.product(*per_reading), MOST_TRIED):
        flat = dict.fromkeys(i for _, _, mine, _ in picked for i in mine)
        ordered = sorted(flat, key=lambda i: isinstance(factors.items[i], Box))
        hope = sum(option[0] for option in picked)
        combination = Combination(
            tuple(option[1] for option in picked), ordered, sum(option[3] for option in picked)
        )
        tried.append((hope, combination))
    tried.sort(key=lambda pair: -pair[0])
    return [combination for _, combination in tried[:MOST_KEPT]]


def _hope(factors: Factors, mine: list[int], mean: FloatArray, variance: FloatArray) -> float:
    """Largest log density, over rows, of an alternative's factors taken one by one."""
    total = np.zeros(len(mean))
    for i in mine:
        item = factors.items[i]
        if isinstance(item, Box):
            low, high = np.full(len(mean), item.low), np.full(len(mean), item.high)
            spread = variance[:, i] + item.blur**2 + 1e-12
            total = total + inside_range(low, high, mean[:, i], spread)
        else:
            spread = variance[:, i] + item.variance + item.gain**2
            total = total - 0.5 * ((item.y - mean[:, i]) ** 2 / spread + np.log(spread))
    return float(total.max())


def observe(items: Sequence[NumberFactor | Box]) -> Observed:
    """Numbers (first) and boxes (after) as one observation with its meters' covariance.

    Readings with the same meter share its gain; readings of the same latent with the same meter
    also share all of their own error but REPEATABILITY_SHARE of its variance.
    """
    numbers = [item for item in items if isinstance(item, NumberFactor)]
    boxes = [item for item in items if isinstance(item, Box)]
    count = len(numbers)
    noise = np.zeros((count, count))
    for i, a in enumerate(numbers):
        for j, b in enumerate(numbers):
            if i == j:
                noise[i, i] = a.variance + a.gain**2
            elif a.meter == b.meter:
                noise[i, j] = a.gain * b.gain
                if a.latent == b.latent:
                    shared = (1.0 - REPEATABILITY_SHARE) * min(a.variance, b.variance)
                    noise[i, j] += shared
    return Observed(
        y=np.array([item.y for item in numbers]),
        noise=noise,
        low=np.array([item.low for item in boxes]),
        high=np.array([item.high for item in boxes]),
        blur=np.array([item.blur for item in boxes]),
    )
