"""Odds before any reading: what the family holds common, moved a little by complaint and codes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase

import numpy as np

from idlewright.family.kinds import Family, SoftEvidence
from idlewright.model.scalars import FloatArray

NOTHING_WRONG = 0.04
"""Share of complaints where nothing is wrong now (common practice, no source)."""
SOMETHING_ELSE = 0.06
"""Share of complaints whose cause no fault of the family names (common practice, no source)."""
MOST_FACTOR = 3.0
"""A complaint word or a code may move odds by this factor and no more."""


@dataclass(frozen=True, slots=True)
class Prior:
    """Log prior odds, normalised.

    Attributes:
        ln_fault: each fault of the family in order, then the good car, (F + 1,).
        ln_else: something else.
    """

    ln_fault: FloatArray
    ln_else: float


def prior_of(
    family: Family,
    words: Iterable[str] = (),
    codes: Iterable[str] = (),
    memory: Mapping[str, float] | None = None,
) -> Prior:
    """Prior of a job.

    Args:
        family: expanded family. words, codes: ids of complaint words and stored codes.
        memory: fault id -> factor on its weight, from proven jobs.
    """
    faults = list(family.faults.values())
    weight = np.array([fault.weight for fault in faults])
    if memory:
        weight = weight * np.array([memory.get(fault.id, 1.0) for fault in faults])
    weight = weight / weight.sum() * (1.0 - NOTHING_WRONG - SOMETHING_ELSE)
    ln = np.log(np.append(weight, NOTHING_WRONG))
    for table, ids in ((family.words, words), (family.codes, codes)):
        for one in ids:
            ln = ln + np.array([*(soft_factor(table[one], f.id) for f in faults), 0.0])
    ln_else = math.log(SOMETHING_ELSE)
    total = np.logaddexp(np.logaddexp.reduce(ln), ln_else)
    return Prior(ln - total, ln_else - total)


def soft_factor(soft: SoftEvidence, fault: str) -> float:
    """Log factor of one word or code on one fault's odds, within MOST_FACTOR either way."""
    up = _strongest(soft.raises, fault)
    down = _strongest(soft.lowers, fault)
    most = math.log(MOST_FACTOR)
    return max(-most, min(most, math.log(up) - math.log(down)))


def _strongest(factors: Mapping[str, float], fault: str) -> float:
    """The factor of the most exact matching id (ids may end in *), 1 if none matches."""
    if fault in factors:
        return factors[fault]
    matching = [key for key in factors if "*" in key and fnmatchcase(fault, key)]
    return factors[max(matching, key=len)] if matching else 1.0
