"""Box probabilities by expectation propagation against exact ones."""

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest
from scipy.stats import multivariate_normal, truncnorm

from idlewright.diagnosis.box import box_probability, ln_between

INF = math.inf


def exact(mean, cov, low, high, blur):
    """ln P(box) by Genz's integration (scipy), blur added to the covariance."""
    law = multivariate_normal(
        mean,
        cov + np.diag(blur**2 + 1e-9),
        allow_singular=True,
        abseps=1e-6,
        maxpts=100_000,
        seed=3,
    )
    return math.log(max(law.cdf(high, lower_limit=low), 1e-300))


def random_box(rng, sides, alike=0.6):
    """A correlated Gaussian as readings leave it, and a box that is neither sure nor hopeless.

    In half of them two latents are `alike`: 0 = the same latent.
    """
    slopes = rng.normal(size=(sides, sides + 2)) * rng.uniform(0.2, 1.5, size=(sides, 1))
    if sides > 1 and rng.random() < 0.5:
        slopes[1] = slopes[0] + alike * slopes[1]
    mean = rng.normal(size=sides)
    cov = slopes @ slopes.T
    sd = np.sqrt(np.diag(cov))
    low = mean + sd * rng.uniform(-2.0, 1.0, size=sides)
    high = np.where(rng.random(sides) < 0.5, INF, low + sd * rng.uniform(0.5, 3.0, size=sides))
    flip = rng.random(sides) < 0.3
    low, high = (
        np.where(flip & np.isinf(high), -INF, low),
        np.where(flip & np.isinf(high), low, high),
    )
    return mean, cov, low, high, np.full(sides, 0.1)


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (-1.0, 2.0),
        (8.0, 9.0),
        (-30.0, -29.5),
        (30.0, INF),
        (-INF, -12.0),
        (-1e-9, 1e-9),
        (3.0, 3.1),
    ],
)
def test_log_of_a_slice_keeps_its_digits_in_both_tails(a, b):
    """ln(Phi(b) - Phi(a)) agrees with 50-digit arithmetic to 1e-9."""
    with mpmath.workdps(50):
        lower, upper = (mpmath.ncdf(x) if x < 0 else 1 - mpmath.ncdf(-x) for x in (a, b))
        if a > 0:
            lower, upper = mpmath.ncdf(-b), mpmath.ncdf(-a)
        due = float(mpmath.log(upper - lower))
    assert float(ln_between(np.array([a]), np.array([b]))[0]) == pytest.approx(due, abs=1e-7)


def test_an_empty_slice_is_impossible_not_an_error():
    """A slice without width gets a huge negative number."""
    assert ln_between(np.array([2.0]), np.array([2.0]))[0] == -1e6


def test_one_side_is_exact():
    """With one side EP is the exact truncated Gaussian: probability, mean and variance."""
    mean, variance, blur = 0.3, 0.8, 0.2
    fit = box_probability(
        np.array([[mean]]), np.array([[[variance]]]), np.array([1.0]), np.array([2.0]),
        np.array([blur]),
    )  # fmt: skip
    total = variance + blur**2 + 1e-9
    sd = math.sqrt(total)
    law = truncnorm((1.0 - mean) / sd, (2.0 - mean) / sd, loc=mean, scale=sd)
    chance = math.log(
        multivariate_normal.cdf(2.0, mean, total) - multivariate_normal.cdf(1.0, mean, total)
    )
    assert fit.ln_z[0] == pytest.approx(chance, abs=1e-9)
    # E x = mean + cov pull and var x = cov - cov gain cov, x + blur being what is cut.
    assert mean + total * fit.pull[0, 0] == pytest.approx(law.mean(), abs=1e-8)
    assert total - total**2 * fit.gain[0, 0, 0] == pytest.approx(law.var(), abs=1e-8)


@pytest.mark.parametrize(("alike", "bar"), [(0.6, 0.05), (0.1, 0.1)])
@pytest.mark.parametrize("sides", [2, 3, 4, 5, 6])
def test_up_to_six_words_agree_with_exact_box_probabilities(sides, alike, bar):
    """|ln Z| of EP is within 0.05 of Genz's value for up to six words, 0.1 if two nearly repeat."""
    worst, compared = 0.0, 0
    for seed in range(10):
        mean, cov, low, high, blur = random_box(np.random.default_rng([sides, seed]), sides, alike)
        due = exact(mean, cov, low, high, blur)
        if due < math.log(1e-4):
            continue  # Genz's own error would count
        compared += 1
        fit = box_probability(mean[None], cov[None], low, high, blur)
        worst = max(worst, abs(fit.ln_z[0] - due))
    assert compared >= 4
    assert worst <= bar


def test_copies_of_a_word_are_far_from_independent_words():
    """Three equal words cost little more than one, though EP is off by up to 0.2 there.

    (Equal words of one stretch are made one before they come here; this is what is left if not.)
    """
    cov = np.ones((1, 3, 3))
    low, high, blur = np.zeros(3), np.full(3, INF), np.full(3, 0.05)
    fit = box_probability(np.full((1, 3), -1.0), cov, low, high, blur)
    due = exact(np.full(3, -1.0), cov[0], low, high, blur)
    assert fit.ln_z[0] == pytest.approx(due, abs=0.2)


def test_moments_after_two_words_agree_with_integration():
    """Mean and covariance after two words agree with a fine grid to 0.01 sd."""
    cov = np.array([[1.0, 0.7], [0.7, 1.0]])
    low, high, blur = np.array([0.2, -INF]), np.array([INF, 0.5]), np.array([0.1, 0.1])
    total = cov + np.diag(blur**2 + 1e-9)
    axis = np.linspace(-6, 6, 1201)
    x, y = np.meshgrid(axis, axis, indexing="ij")
    weight = multivariate_normal.pdf(np.dstack([x, y]), [0, 0], total) * (x > 0.2) * (y < 0.5)
    weight /= weight.sum()
    due_mean = np.array([(weight * x).sum(), (weight * y).sum()])
    due_cross = (weight * (x - due_mean[0]) * (y - due_mean[1])).sum()
    fit = box_probability(np.zeros((1, 2)), cov[None], low, high, blur)
    mean = total @ fit.pull[0]
    after = total - total @ fit.gain[0] @ total
    np.testing.assert_allclose(mean, due_mean, atol=0.012)
    assert after[0, 1] == pytest.approx(due_cross, abs=0.012)


def test_order_of_words_does_not_matter():
    """Permuting the sides moves the log probability by less than 1e-9, or by EP's last step."""
    mean, cov, low, high, blur = random_box(np.random.default_rng(8), 5)
    first = box_probability(mean[None], cov[None], low, high, blur).ln_z[0]
    for seed in range(5):
        p = np.random.default_rng(seed).permutation(5)
        other = box_probability(mean[None, p], cov[None][:, p][:, :, p], low[p], high[p], blur[p])
        assert other.ln_z[0] == pytest.approx(first, abs=1e-9)


def test_a_latent_that_cannot_move_gives_a_number_not_a_nan():
    """Zero variance and zero blur: inside the box ln Z = 0, outside very small, never NaN."""
    zero = np.zeros((1, 2, 2))
    low, high, blur = np.zeros(2), np.ones(2), np.zeros(2)
    inside = box_probability(np.array([[0.5, 0.5]]), zero, low, high, blur)
    outside = box_probability(np.array([[0.5, 1.5]]), zero, low, high, blur)
    assert inside.ln_z[0] == pytest.approx(0.0, abs=1e-6)
    assert np.isfinite(outside.ln_z[0])
    assert outside.ln_z[0] < -1e3
    assert all(np.isfinite(a).all() for a in (outside.pull, outside.gain))


def test_rows_do_not_see_each_other():
    """A row gets the same answer alone and in company."""
    rng = np.random.default_rng(4)
    parts = [random_box(rng, 3) for _ in range(4)]
    low, high, blur = parts[0][2:]
    mean, cov = np.stack([p[0] for p in parts]), np.stack([p[1] for p in parts])
    together = box_probability(mean, cov, low, high, blur).ln_z
    alone = [box_probability(m[None], c[None], low, high, blur).ln_z[0] for m, c in
             zip(mean, cov, strict=True)]  # fmt: skip
    np.testing.assert_allclose(together, alone, atol=1e-10)
