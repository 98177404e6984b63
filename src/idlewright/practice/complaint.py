"""What a driver says and what the computer stored, drawn from the family's stated odds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.prior import soft_factor
from idlewright.family.kinds import Fault, SoftEvidence
from idlewright.model.scalars import FloatArray

MOST_WORDS = 2
CODE_SHARE = 0.3
"""Share of cars that come with a stored code (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Complaint:
    """Complaint words and stored codes, by id."""

    words: tuple[str, ...]
    codes: tuple[str, ...]


def draw_complaint(
    rng: np.random.Generator,
    faults: Sequence[Fault],
    weight: FloatArray,
    words: Mapping[str, SoftEvidence],
    codes: Mapping[str, SoftEvidence],
) -> tuple[Complaint, FloatArray]:
    """A complaint of one or two words and at most one code, and the faults' odds given it.

    Each word is as common as the stated odds of the faults make it, and the odds move as stated: a
    fault drawn from them afterwards fits the complaint exactly as often as the family says.

    Args:
        faults: in order. weight: odds of each before, then of causes no odds speak of, (F + n,).
        words, codes: what may be said.
    """
    count = int(rng.integers(1, MOST_WORDS + 1))
    chosen, weight = _draw(rng, count, faults, weight, words)
    coded = int(rng.random() < CODE_SHARE)
    stored, weight = _draw(rng, coded, faults, weight, codes)
    return Complaint(chosen, stored), weight


def weight_given(
    complaint: Complaint,
    faults: Sequence[Fault],
    weight: FloatArray,
    words: Mapping[str, SoftEvidence],
    codes: Mapping[str, SoftEvidence],
) -> FloatArray:
    """Odds given a complaint, (F + n,) as in draw_complaint, not normalised."""
    for table, ids in ((words, complaint.words), (codes, complaint.codes)):
        for one in ids:
            weight = weight * _factors(table[one], faults, len(weight))
    return weight


def _draw(
    rng: np.random.Generator,
    count: int,
    faults: Sequence[Fault],
    weight: FloatArray,
    table: Mapping[str, SoftEvidence],
) -> tuple[tuple[str, ...], FloatArray]:
    left = list(table)
    chosen: list[str] = []
    for _ in range(min(count, len(left))):
        factors = np.stack([_factors(table[one], faults, len(weight)) for one in left])
        share = factors @ weight
        k = int(rng.choice(len(left), p=share / share.sum()))
        chosen.append(left.pop(k))
        weight = weight * factors[k]
    return tuple(chosen), weight


def _factors(soft: SoftEvidence, faults: Sequence[Fault], size: int) -> FloatArray:
    """Factor of one word on each cause's odds, (size,); one for causes it does not speak of."""
    found = np.ones(size)
    found[: len(faults)] = np.exp([soft_factor(soft, fault.id) for fault in faults])
    return found
