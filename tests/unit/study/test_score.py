from __future__ import annotations

import numpy as np
import pytest

from idlewright.errors import BadInput
from idlewright.study.score import (
    bootstrap_mean,
    brier,
    brier_of_classes,
    brier_parts,
    calibration,
    clopper_pearson,
    log_loss,
    paired_bootstrap,
    sure_answers,
    upper_bound,
    wilson,
)


def test_two_classes_score_twice_the_binary_brier():
    """The summed score of two classes is twice the binary one."""
    p, came = np.array([0.2, 0.9, 0.5]), np.array([0.0, 1.0, 1.0])
    both = np.column_stack([1.0 - p, p])
    assert brier_of_classes(both, came.astype(int)) == pytest.approx(2 * brier(p, came))


def test_skill_is_undefined_when_all_came_out_alike():
    """Nothing can be learned from cases that all went the same way."""
    assert np.isnan(brier_parts([0.9, 0.8], [1, 1]).skill)


def test_calibration_counts_every_forecast_once():
    """Counts add up, means lie in their bin, and 0 and 1 are inside."""
    p = np.linspace(0.0, 1.0, 101)
    bins = calibration(p, p > 0.5, bins=10)
    assert sum(one.n for one in bins) == 101
    assert all(one.low <= one.mean_p <= one.high for one in bins)


def test_a_bootstrap_repeats_with_its_seed():
    """Same seed, same interval; another seed, nearly the same."""
    values = np.random.default_rng(1).normal(3.0, 2.0, size=400)
    one, again, other = (bootstrap_mean(values, seed=s) for s in (5, 5, 6))
    assert one == again
    assert one.low == pytest.approx(other.low, abs=0.05)
    # The normal interval of the mean is what the bootstrap approaches for many values.
    half = 1.959964 * values.std() / np.sqrt(len(values))
    assert (one.low, one.high) == pytest.approx(
        (values.mean() - half, values.mean() + half), abs=0.03
    )


def test_pairing_takes_out_what_cases_share():
    """Arms that differ by a constant on every case differ by it exactly."""
    hard = np.random.default_rng(2).exponential(100.0, size=60)
    found = paired_bootstrap(hard + 2.0, hard, seed=1)
    assert (found.value, found.low, found.high) == pytest.approx((2.0, 2.0, 2.0))


def test_bootstrap_interval_covers_about_its_level():
    """Over 200 samples of 80 exponential values, 95 % intervals hold the mean in 88-99 %."""
    generator = np.random.default_rng(3)
    hits = 0
    for seed in range(200):
        found = bootstrap_mean(generator.exponential(1.0, size=80), seed=seed, draws=500)
        hits += found.low <= 1.0 <= found.high
    assert 176 <= hits <= 198


def test_intervals_at_the_ends():
    """None and all of n: the interval reaches 0 and 1; Clopper-Pearson is wider than Wilson."""
    assert clopper_pearson(0, 7).low == 0.0
    assert clopper_pearson(7, 7).high == 1.0
    assert wilson(0, 7).low == 0.0
    assert wilson(7, 7).high == 1.0
    for k in range(8):
        exact, score = clopper_pearson(k, 7), wilson(k, 7)
        assert exact.high - exact.low > score.high - score.low


def test_clopper_pearson_never_covers_too_little():
    """For shares on a grid and n = 12 the exact coverage is at least the level."""
    from math import comb

    for p in np.linspace(0.01, 0.99, 99):
        cover = sum(
            comb(12, k) * p**k * (1 - p) ** (12 - k)
            for k in range(13)
            if clopper_pearson(k, 12).low <= p <= clopper_pearson(k, 12).high
        )
        assert cover >= 0.95 - 1e-12


def test_sure_answers_are_counted_with_an_upper_bound():
    """Surer than the bar: two, one of them wrong; the bound is the exact one-sided one."""
    found = sure_answers([0.995, 0.999, 0.9, 0.2], [1, 0, 0, 1])
    assert (found.n, found.wrong) == (2, 1)
    assert found.upper == pytest.approx(upper_bound(1, 2))
    assert sure_answers([0.5], [1]).upper == 1.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: brier([0.5], [1, 0]),
        lambda: brier([1.5], [1]),
        lambda: log_loss([], []),
        lambda: brier_of_classes([[0.5, 0.6]], [0]),
        lambda: brier_of_classes([[0.5, 0.5]], [2]),
        lambda: clopper_pearson(3, 2),
        lambda: wilson(0, 0),
        lambda: bootstrap_mean([], seed=1),
        lambda: paired_bootstrap([1.0], [1.0, 2.0], seed=1),
    ],
)
def test_what_cannot_be_scored_is_refused(call):
    """Mismatched, empty or impossible data raise BadInput."""
    with pytest.raises(BadInput):
        call()
