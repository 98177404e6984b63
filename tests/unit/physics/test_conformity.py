import math

import numpy as np
import pytest

from idlewright.errors import BadInput, CannotTell
from idlewright.physics.conformity import (
    RULE_95,
    Limits,
    Rule,
    against_reference_u,
    corrected_limits,
    judge_overload,
    judge_reading,
    p_inside,
    reason,
)

CLOSED = Limits(0.47, 0.57)


@pytest.mark.parametrize(
    ("y", "word", "nearer"),
    [
        (0.510, "inside", "lower"),
        (0.550, "inside", "upper"),
        (0.5535, "inside", "upper"),
        (0.554, "too close to call", "upper"),
        (0.570, "too close to call", "upper"),
        (0.586, "too close to call", "upper"),
        (0.587, "outside", "upper"),
        (0.453, "outside", "lower"),
        (0.454, "too close to call", "lower"),
        (0.4865, "inside", "lower"),
    ],
)
def test_a_verdict_needs_the_guard_on_either_side(y: float, word: str, nearer: str) -> None:
    """With u = 10 mV nothing within 16.45 mV of a limit is called."""
    verdict = judge_reading(y, 0.01, CLOSED)
    assert (verdict.word, verdict.nearer) == (word, nearer)
    assert verdict.guard == pytest.approx(0.01645)


def test_without_uncertainty_a_limit_belongs_to_the_good_range() -> None:
    """A reading exactly on the limit is inside, the next one up is outside."""
    assert judge_reading(0.57, 0.0, CLOSED).word == "inside"
    assert judge_reading(math.nextafter(0.57, 1.0), 0.0, CLOSED).word == "outside"
    assert judge_reading(0.57, 0.0, CLOSED).p_inside == 1.0


def test_limits_too_narrow_for_the_meter_are_never_called_inside() -> None:
    """In the middle of limits 3.4 u apart each guard holds but both tails together do not."""
    narrow = Limits(-1.7, 1.7)
    verdict = judge_reading(0.0, 1.0, narrow)
    assert verdict.margin > verdict.guard
    assert verdict.p_inside == pytest.approx(0.9109, abs=1e-4)
    assert verdict.word == "too close to call"
    assert judge_reading(0.0, 1.0, Limits(-2.0, 2.0)).word == "inside"


def test_one_sided_limits() -> None:
    """A missing limit never bites."""
    assert judge_reading(0.02, 0.003, Limits(None, 0.05)).word == "inside"
    assert judge_reading(1e6, 1e4, Limits(10e3, None)).word == "inside"
    assert judge_reading(9e3, 1e2, Limits(10e3, None)).nearer == "lower"


def test_an_overload_is_above_the_top_and_no_more_is_known() -> None:
    """Open where at most 1 ohm is good is outside; insulation above 10 kohm is inside."""
    outside = judge_overload(40e6, 2e5, Limits(None, 1.0))
    assert (outside.word, outside.p_inside) == ("outside", 0.0)
    inside = judge_overload(40e6, 2e5, Limits(10e3, None))
    assert (inside.word, inside.p_inside) == ("inside", 1.0)
    open_to_doubt = judge_overload(400.0, 3.0, Limits(None, 1e3))
    assert (open_to_doubt.word, open_to_doubt.p_inside) == ("too close to call", None)
    assert judge_overload(400.0, 3.0, Limits(10e3, None)).word == "too close to call"
    assert judge_overload(400.0, 3.0, Limits(None, 396.0)).word == "too close to call"
    assert judge_overload(400.0, 3.0, Limits(None, 395.0)).word == "outside"


def test_probability_keeps_the_shape_and_meets_the_step_without_uncertainty() -> None:
    """Readings broadcast against uncertainties; u = 0 gives 0 or 1."""
    y = np.array([[0.47], [0.46]])
    p = p_inside(y, np.array([0.0, 0.01]), CLOSED)
    assert p.shape == (2, 2)
    assert p[:, 0].tolist() == [1.0, 0.0]
    assert p[0, 1] == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize(
    ("y", "says"),
    [
        (0.51, "0.510 V is inside 0.47 to 0.57 V: 40 mV from the lower limit, guard 16 mV"),
        (0.6, "0.600 V is 30 mV above the upper limit of 0.47 to 0.57 V, guard 16 mV"),
        (0.4, "0.400 V is 70 mV below the lower limit of 0.47 to 0.57 V, guard 16 mV"),
        (0.565, "0.565 V is only 5 mV inside the upper limit of 0.47 to 0.57 V, guard 16 mV"),
        (0.58, "0.580 V is only 10 mV beyond the upper limit of 0.47 to 0.57 V, guard 16 mV"),
        (0.57, "0.570 V is on the upper limit of 0.47 to 0.57 V"),
    ],
)
def test_the_reason_is_a_sentence_with_margin_and_guard(y: float, says: str) -> None:
    """People see how far the reading is from the nearer limit, and how far it had to be."""
    verdict = judge_reading(y, 0.01, CLOSED)
    assert reason(verdict, y, CLOSED, "V", 0.001) == says


def test_a_rule_states_itself() -> None:
    """The sentence names the sureness and the guard; another sureness has its own factor."""
    assert "at least 95 % sure (guard 1.645 u at each limit)" in RULE_95.text
    assert Rule.at(0.999).factor == pytest.approx(3.0902, abs=5e-5)
    assert judge_reading(0.55, 0.01, CLOSED, Rule.at(0.999)).word == "too close to call"


@pytest.mark.parametrize(
    ("low", "high"), [(None, None), (2.0, 1.0), (math.nan, 1.0), (0.0, math.nan)]
)
def test_limits_that_limit_nothing_are_refused(low: float | None, high: float | None) -> None:
    """Both missing, crossed or not numbers: no verdict can be given on them."""
    with pytest.raises(BadInput):
        Limits(low, high)


@pytest.mark.parametrize(
    ("y", "u"), [(math.nan, 0.1), (math.inf, 0.1), (1.0, -1.0), (1.0, math.inf)]
)
def test_a_reading_that_is_no_number_is_not_judged(y: float, u: float) -> None:
    """Neither reading nor uncertainty may be missing."""
    with pytest.raises(BadInput):
        judge_reading(y, u, CLOSED)


def test_limits_move_with_the_reference() -> None:
    """A 4.5 V reference moves 0.5 to 1.0 V at 5 V to 0.45 to 0.90 V; a dead one moves none."""
    moved = corrected_limits(Limits(0.5, 1.0), 5.0, 4.5)
    assert (moved.low, moved.high) == pytest.approx((0.45, 0.9))
    assert corrected_limits(Limits(None, 1.0), 5.0, 4.5).low is None
    with pytest.raises(CannotTell, match="cure that first"):
        corrected_limits(CLOSED, 5.0, 0.0)


def test_a_shared_gain_cancels_in_the_share_of_the_reference() -> None:
    """One meter's gain error leaves the share alone; two meters' gain errors both count."""
    parts = {"y_variance": 1e-6, "reference_variance": 4e-6}
    bare = against_reference_u(0.5, 5.0, **parts)
    assert bare == pytest.approx(math.hypot(1e-3, 0.1 * 2e-3))
    gains = {"y_gain_sd": 0.01, "reference_gain_sd": 0.01}
    assert against_reference_u(0.5, 5.0, **parts, **gains) == pytest.approx(bare, rel=1e-9)
    two = against_reference_u(0.5, 5.0, **parts, **gains, same_meter=False)
    assert two == pytest.approx(math.hypot(bare, 0.5 * 0.01, 0.5 * 0.01))
