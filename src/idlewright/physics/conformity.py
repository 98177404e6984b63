"""Is a reading within its limits? Inside, outside, or too close to call (JCGM 106:2012).

The rule is the non-binary one of ILAC-G8:09/2019 clause 4.2 with a guard of 1.645 u at each limit
(a false call at most once in twenty at a limit; the 95 % default of ISO 14253-1, from memory): a
reading is called only when it clears the nearer limit by the guard.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from idlewright.errors import BadInput, CannotTell, Problem
from idlewright.physics.normal import ndtr
from idlewright.physics.uncertainty import propagate
from idlewright.quantities import format_quantity, format_range

FloatArray = NDArray[np.float64]
Word = Literal["inside", "outside", "too close to call"]
Side = Literal["lower", "upper"]


@dataclass(frozen=True, slots=True)
class Limits:
    """A lower and an upper limit, both belonging to the good range; None = none on that side."""

    low: float | None
    high: float | None

    def __post_init__(self) -> None:
        ends = [end for end in (self.low, self.high) if end is not None]
        if not ends or any(math.isnan(end) for end in ends) or ends != sorted(ends):
            says = f"limits {self.low} to {self.high} are none"
            raise BadInput(Problem(says, "a lower limit not above the upper one", "check the page"))

    @property
    def least(self) -> float:
        """The lower limit, or minus infinity."""
        return -math.inf if self.low is None else self.low

    @property
    def most(self) -> float:
        """The upper limit, or infinity."""
        return math.inf if self.high is None else self.high


@dataclass(frozen=True, slots=True)
class Rule:
    """A decision rule: how sure a verdict must be, and the guard that this asks for.

    Attributes:
        sure: least probability that a verdict is right, one limit at a time.
        factor: guard at each limit in standard uncertainties.
    """

    sure: float
    factor: float

    @classmethod
    def at(cls, sure: float) -> Rule:
        """The rule for another probability, 0.5 < sure < 1."""
        return cls(sure=sure, factor=NormalDist().inv_cdf(sure))

    @property
    def text(self) -> str:
        """The rule in a sentence for people."""
        return (
            f"inside or outside only when at least {100 * self.sure:g} % sure "
            f"(guard {self.factor:.4g} u at each limit); too close to call between"
        )


RULE_95 = Rule(sure=0.95, factor=1.645)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a reading says against its limits.

    Attributes:
        word: inside, outside, or too close to call.
        p_inside: probability that the true value lies within the limits; None where an overload
            leaves it open.
        u: standard uncertainty used. guard: rule's factor times u.
        nearer: which limit is nearer. margin: distance to it, positive towards the inside.
        rule: the rule's sentence.
    """

    word: Word
    p_inside: float | None
    u: float
    guard: float
    nearer: Side
    margin: float
    rule: str


def p_inside(y: ArrayLike, u: ArrayLike, limits: Limits) -> FloatArray:
    """Probability that the true value lies within limits, its error normal (JCGM 106 clause 7).

    Args:
        y: readings, any shape. u: their standard uncertainties, same unit, may be 0.
        limits: same unit; a true value on a limit is inside.
    """
    value, sd = np.broadcast_arrays(np.asarray(y, np.float64), np.asarray(u, np.float64))
    known = sd > 0.0
    safe = np.where(known, sd, 1.0)
    with np.errstate(over="ignore"):  # a vanishing sd puts the limit infinitely many of them away
        below = ndtr((limits.least - value) / safe)
        above = ndtr((value - limits.most) / safe)
    exact = (value >= limits.least) & (value <= limits.most)
    return np.where(known, np.clip(1.0 - below - above, 0.0, 1.0), exact.astype(np.float64))


def judge_reading(y: float, u: float, limits: Limits, rule: Rule = RULE_95) -> Verdict:
    """Verdict on a reading y with standard uncertainty u. BadInput if either is no number.

    "Outside" needs the guard beyond a limit. "Inside" needs the guard within both limits *and*
    `rule.sure` for the two together, which matters only where limits are closer than about 4 u.
    """
    if not (math.isfinite(y) and math.isfinite(u) and u >= 0.0):
        raise BadInput(f"a reading of {y} with uncertainty {u} cannot be judged")
    to_low, to_high = y - limits.least, limits.most - y
    nearer: Side = "lower" if to_low <= to_high else "upper"
    margin = min(to_low, to_high)
    guard = rule.factor * u
    inside = float(p_inside(y, u, limits))
    word: Word = "too close to call"
    if margin < -guard:
        word = "outside"
    elif margin >= guard and inside >= rule.sure - 1e-9:
        word = "inside"
    return Verdict(word, inside, u, guard, nearer, margin, rule.text)


def judge_overload(top: float, u: float, limits: Limits, rule: Rule = RULE_95) -> Verdict:
    """Verdict when the display showed overload: the true value is above `top`, however far.

    `top` and u (of a reading there) in the unit of the limits. It can be outside (the top clears
    the upper limit), inside (no upper limit, and the top clears the lower one), or too close.
    """
    guard = rule.factor * u
    word: Word = "too close to call"
    chance: float | None = None
    if limits.high is not None and top - guard > limits.high:
        word, chance = "outside", 0.0
    elif limits.high is None and top - guard >= limits.least:
        word, chance = "inside", 1.0
    nearer: Side = "lower" if limits.high is None else "upper"
    margin = top - limits.least if limits.high is None else limits.most - top
    return Verdict(word, chance, u, guard, nearer, margin, rule.text)


def reason(verdict: Verdict, y: float, limits: Limits, unit: str, step: float) -> str:
    """Why the verdict is what it is, as a sentence without a full stop.

    Args:
        y: the reading. limits: what it was judged against. unit: of y and limits.
        step: last digit shown, same unit; margin and guard are written no finer.
    """
    shown, span = format_quantity(y, unit, step), format_range(limits.low, limits.high, unit)
    margin = format_quantity(abs(verdict.margin), unit, step)
    guard = format_quantity(verdict.guard, unit, _fine(step, verdict.guard))
    side = verdict.nearer
    if verdict.word == "inside":
        return f"{shown} is inside {span}: {margin} from the {side} limit, guard {guard}"
    if verdict.word == "outside":
        where = "below" if side == "lower" else "above"
        return f"{shown} is {margin} {where} the {side} limit of {span}, guard {guard}"
    if abs(verdict.margin) < 0.5 * step:
        return f"{shown} is on the {side} limit of {span}"
    place = "inside" if verdict.margin > 0.0 else "beyond"
    return f"{shown} is only {margin} {place} the {side} limit of {span}, guard {guard}"


def _fine(step: float, guard: float) -> float:
    """The step for writing a guard: the display's, or finer so that two digits of it show."""
    return step if guard <= 0.0 else min(step, 10.0 ** (math.floor(math.log10(guard)) - 1))


def corrected_limits(limits: Limits, nominal_reference: float, measured_reference: float) -> Limits:
    """Limits of a ratiometric sensor moved to the reference actually measured (all in V).

    The book's limits hold at `nominal_reference`; a sensor fed with another reference shows the
    same share of it. CannotTell when the reference is dead: no share can be formed.
    """
    if not (nominal_reference > 0.0 and measured_reference > 0.0):
        raise CannotTell(
            f"limits cannot be moved to a reference of {measured_reference:g} V; cure that first"
        )
    scale = measured_reference / nominal_reference
    low = None if limits.low is None else limits.low * scale
    high = None if limits.high is None else limits.high * scale
    return Limits(low, high)


def against_reference_u(
    y: float,
    reference: float,
    *,
    y_variance: float,
    reference_variance: float,
    y_gain_sd: float = 0.0,
    reference_gain_sd: float = 0.0,
    same_meter: bool = True,
) -> float:
    """Standard uncertainty (V) for judging y against limits moved by a measured reference.

    It is the uncertainty of the share y/reference, times the reference. Read with one meter, the
    relative gain error of both is the same and cancels; read with two, both count.

    Args:
        y, reference: the two readings, V, reference > 0.
        y_variance, reference_variance: independent parts (counts, display), V^2.
        y_gain_sd, reference_gain_sd: relative standard uncertainty of each meter's gain.
        same_meter: one meter on one function read both.
    """
    shared = y_gain_sd * reference_gain_sd * y * reference if same_meter else 0.0
    covariance = [
        [y_variance + (y_gain_sd * y) ** 2, shared],
        [shared, reference_variance + (reference_gain_sd * reference) ** 2],
    ]
    variance = float(propagate([[1.0, -y / reference]], covariance)[0, 0])
    return math.sqrt(max(0.0, variance))


@dataclass(frozen=True, slots=True)
class Risks:
    """How often a check calls parts wrongly, over all parts and readings.

    Attributes:
        false_pass: accepted though the true value is outside (consumer's risk).
        false_fail: refused though the true value is inside (producer's risk).
        share_inside: parts whose true value is inside.
        share_passed: parts accepted.
    """

    false_pass: float
    false_fail: float
    share_inside: float
    share_passed: float


def global_risks(
    mean: float, spread: float, meter_sd: float, limits: Limits, accept: Limits
) -> Risks:
    """Risks of accepting a part iff its reading lies in `accept` (JCGM 106 clause 9.5).

    True values are normal (mean, spread > 0), the meter's error normal (meter_sd > 0); all in one
    unit. Integrated over the true value by Gauss-Legendre between one limit and the next.
    """
    reach = 12.0 * spread
    low_end, high_end = mean - reach, mean + reach
    bends = (limits.least, limits.most, accept.least, accept.most)
    edges = sorted({low_end, high_end, *(bend for bend in bends if low_end < bend < high_end)})
    nodes, weights = np.polynomial.legendre.leggauss(256)
    passed_in = passed_out = inside = 0.0
    for low, high in pairwise(edges):
        x = 0.5 * (low + high) + 0.5 * (high - low) * nodes
        share = weights * 0.5 * (high - low) * np.exp(-0.5 * ((x - mean) / spread) ** 2)
        share /= spread * math.sqrt(2.0 * math.pi)
        passed = float(np.sum(share * p_inside(x, meter_sd, accept)))
        if limits.least <= 0.5 * (low + high) <= limits.most:
            inside += float(np.sum(share))
            passed_in += passed
        else:
            passed_out += passed
    return Risks(passed_out, inside - passed_in, inside, passed_in + passed_out)
