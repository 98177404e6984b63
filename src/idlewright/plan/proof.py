"""Proving a cure, and finding what comes and goes: how many tries, and in which order to look.

Sources: clean tries from (1 - p)^n <= miss; Wald's sequential ratio test (A. Wald, Sequential
Tests of Statistical Hypotheses, 1945) and the index rule for repeated looks (W. L. Black,
Discrete Sequential Search, 1965; Blackwell), both cited from memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from idlewright.errors import BadInput, Problem

Decision = Literal["fixed", "not fixed", "go on"]

ALL_SEEN = 1e-14
"""Unseen mass at which a search is taken to be over."""

ALMOST_WHOLE = 1e-9


def proof_tries(p: float, miss: float = 0.05) -> int:
    """Clean tries that prove an intermittent fault gone: least n with (1 - p)^n <= miss.

    Args:
        p: share of tries, under the provoking condition, in which the fault showed; 0 < p <= 1.
        miss: accepted chance of that many clean tries although the fault is still there.

    Raises:
        BadInput: p or miss cannot be used.
    """
    if not 0.0 < p <= 1.0:
        raise BadInput(Problem(f"a fault seen in a share {p:g} of the tries", "a share above 0, "
                               "at most 1", "provoke the fault until it has been seen"))
    if not 0.0 < miss < 1.0:
        raise BadInput(Problem(f"a chance {miss:g} of missing the fault", "between 0 and 1"))
    if p == 1.0:
        return 1
    # The slack keeps a whole number of tries whole in spite of rounding.
    return max(1, math.ceil(math.log(miss) / math.log1p(-p) - ALMOST_WHOLE))


@dataclass(frozen=True, slots=True)
class RatioTest:
    """Wald's sequential ratio test for "fixed?" from tries that go well or badly.

    Attributes:
        fixed_p, faulty_p: chance of a bad try when fixed and when not; fixed_p < faulty_p.
        wrongly_not_fixed, wrongly_fixed: wanted chances of the two errors.
    """

    fixed_p: float
    faulty_p: float
    wrongly_not_fixed: float = 0.05
    wrongly_fixed: float = 0.05

    def __post_init__(self) -> None:
        errors = self.wrongly_fixed + self.wrongly_not_fixed
        if not 0.0 < self.fixed_p < self.faulty_p < 1.0:
            raise BadInput(Problem("the chances of a bad try are wrong",
                                   "0 < when fixed < when not fixed < 1"))
        if not (self.wrongly_fixed > 0.0 and self.wrongly_not_fixed > 0.0 and errors < 1.0):
            raise BadInput(Problem("the error chances are wrong", "above 0, together below 1"))

    @property
    def bounds(self) -> tuple[float, float]:
        """Log ratios at which "fixed" and "not fixed" are said, reached or passed."""
        return (
            math.log(self.wrongly_fixed / (1.0 - self.wrongly_not_fixed)),
            math.log((1.0 - self.wrongly_fixed) / self.wrongly_not_fixed),
        )

    @property
    def steps(self) -> tuple[float, float]:
        """What a good and a bad try add to the log ratio."""
        return (
            math.log((1.0 - self.faulty_p) / (1.0 - self.fixed_p)),
            math.log(self.faulty_p / self.fixed_p),
        )

    def decide(self, good: int, bad: int) -> Decision:
        """What so many good and bad tries say."""
        low, high = self.bounds
        for_good, for_bad = self.steps
        ratio = good * for_good + bad * for_bad
        if ratio <= low:
            return "fixed"
        return "not fixed" if ratio >= high else "go on"

    def behaviour(self, p: float) -> tuple[float, float]:
        """Chance of ending with "not fixed" and mean tries if each goes badly with chance p.

        Exact recursion over (good, bad) counts until less than 1e-14 of the chance is undecided.
        """
        open_cases = {(0, 0): 1.0}
        not_fixed, tries = 0.0, 0.0
        while sum(open_cases.values()) > ALL_SEEN:
            tries += sum(open_cases.values())
            after: dict[tuple[int, int], float] = {}
            for (good, bad), chance in open_cases.items():
                for case, share in (((good + 1, bad), 1.0 - p), ((good, bad + 1), p)):
                    decision = self.decide(*case)
                    if decision == "go on":
                        after[case] = after.get(case, 0.0) + chance * share
                    elif decision == "not fixed":
                        not_fixed += chance * share
            open_cases = after
        return not_fixed, tries


def look_order(
    prior: Sequence[float], chance: Sequence[float], minutes: Sequence[float]
) -> Iterator[int]:
    """Places to look for an intermittent fault, for ever: greatest unseen mass * chance / minutes.

    No other order finds it in fewer expected minutes when looks are independent and cost no
    set-up.

    Args:
        prior: belief in each place.
        chance: chance that one look at the place shows a fault that is there.
        minutes: minutes of one look.
    """
    unseen = list(prior)
    while True:
        worth = [u * c / m for u, c, m in zip(unseen, chance, minutes, strict=True)]
        pick = worth.index(max(worth))
        unseen[pick] *= 1.0 - chance[pick]
        yield pick


def expected_look_minutes(
    order: Iterator[int], prior: Sequence[float], chance: Sequence[float],
    minutes: Sequence[float],
) -> float:
    """Expected minutes until the fault is seen when looking in `order`, which never ends."""
    unseen = list(prior)
    total = 0.0
    for pick in order:
        total += minutes[pick] * sum(unseen)
        unseen[pick] *= 1.0 - chance[pick]
        if sum(unseen) <= ALL_SEEN:
            break
    return total
