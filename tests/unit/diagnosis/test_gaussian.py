"""Conditioning on numbers and boxes against formulas and integration."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from idlewright.diagnosis.gaussian import Observed, condition, evidence_of_block, inside_range

NONE = np.empty(0)


def numbers_only(y, noise):
    """An observation of numbers without boxes."""
    return Observed(np.asarray(y), np.asarray(noise), NONE, NONE, NONE)


def test_numbers_have_the_multivariate_normal_density():
    """ln Z of numbers is scipy's multivariate normal log density."""
    rng = np.random.default_rng(1)
    slopes = rng.normal(size=(3, 5))
    mean, y = rng.normal(size=3), rng.normal(size=3)
    noise = np.diag([0.1, 0.2, 0.3]) + 0.05
    got = condition(mean[None], (slopes @ slopes.T)[None], numbers_only(y, noise))
    due = multivariate_normal(mean, slopes @ slopes.T + noise).logpdf(y)
    assert got.ln_z[0] == pytest.approx(due, abs=1e-12)


def test_posterior_after_numbers_is_ridge_regression():
    """E z and cov z are those of the precision form (I + B' R^-1 B)."""
    rng = np.random.default_rng(2)
    slopes = rng.normal(size=(4, 6))
    mean, y = rng.normal(size=4), rng.normal(size=4)
    noise = np.diag(rng.uniform(0.05, 0.3, size=4))
    got = condition(mean[None], (slopes @ slopes.T)[None], numbers_only(y, noise))
    precision = np.eye(6) + slopes.T @ np.linalg.inv(noise) @ slopes
    due_mean = np.linalg.solve(precision, slopes.T @ np.linalg.inv(noise) @ (y - mean))
    np.testing.assert_allclose(slopes.T @ got.weight[0], due_mean, atol=1e-12)
    cov = np.eye(6) - slopes.T @ got.gain[0] @ slopes
    np.testing.assert_allclose(cov, np.linalg.inv(precision), atol=1e-12)


@pytest.mark.parametrize("low", [-0.3, -3.0, -40.0])
def test_a_reading_of_a_word_and_a_number_can_be_taken_out_again(low):
    """Evidence of all less the block's is that of the rest, also of a word that holds anyway.

    Such a word's site has no precision; its determinant once counted as a density of e^14.
    """
    rng = np.random.default_rng(4)
    slopes = rng.normal(size=(3, 4))
    mean, y = np.zeros(3), slopes[:2] @ np.full(4, 0.2)
    box = (np.array([low]), np.array([math.inf]), np.array([0.1]))
    both = Observed(y, np.diag([0.04, 0.09]), *box)
    got = condition(mean[None], (slopes @ slopes.T)[None], both)
    added = evidence_of_block(got.weight, got.gain, [0, 2], 2)
    alone = condition(
        mean[None, 1:2], (slopes[1:2] @ slopes[1:2].T)[None], numbers_only(y[1:], [[0.09]])
    )
    # A word that cuts is kept as its EP site, so what it adds is only roughly known.
    assert (got.ln_z - added)[0] == pytest.approx(alone.ln_z[0], abs=1e-6 if low < -5 else 1.0)


@pytest.mark.parametrize("blur", [0.0, 0.3])
def test_a_number_and_a_word_agree_with_integration(blur):
    """One coordinate, a number and a one-sided box: evidence, mean and variance by a fine grid."""
    b = np.array([0.8, 1.1])
    mean = np.array([0.1, -0.2])
    seen = Observed(
        np.array([0.5]), np.array([[0.04]]), np.array([0.3]), np.array([math.inf]),
        np.array([blur]),
    )  # fmt: skip
    got = condition(mean[None], np.outer(b, b)[None], seen)
    z = np.linspace(-9, 9, 400_001)
    soft = math.hypot(blur, 1e-4)
    density = norm.pdf(z) * norm.pdf(0.5, mean[0] + b[0] * z, 0.2)
    density *= norm.cdf((mean[1] + b[1] * z - 0.3) / soft)
    total = density.sum() * (z[1] - z[0])
    due_mean = (density * z).sum() / density.sum()
    due_var = (density * z**2).sum() / density.sum() - due_mean**2
    assert got.ln_z[0] == pytest.approx(math.log(total), abs=1e-3)
    assert (b @ got.weight[0]) == pytest.approx(due_mean, abs=1e-3)
    assert 1.0 - b @ got.gain[0] @ b == pytest.approx(due_var, abs=1e-3)


def test_boxes_alone_leave_numbers_out():
    """Without numbers the evidence is the box's own probability."""
    seen = Observed(NONE, np.empty((0, 0)), np.array([0.0]), np.array([math.inf]), np.zeros(1))
    got = condition(np.array([[1.0]]), np.array([[[4.0]]]), seen)
    assert got.ln_z[0] == pytest.approx(norm.logcdf(0.5), abs=1e-8)


def test_nothing_seen_changes_nothing():
    """No factor: evidence one, no weight."""
    seen = Observed(NONE, np.empty((0, 0)), NONE, NONE, NONE)
    got = condition(np.empty((2, 0)), np.empty((2, 0, 0)), seen)
    assert got.ln_z.tolist() == [0.0, 0.0]
    assert got.weight.shape == (2, 0)


def test_a_shared_gain_cancels_in_a_ratio():
    """Two readings of one meter: their common error leaves their difference sharp."""
    gain = 0.05
    noise = np.full((2, 2), gain**2) + np.diag([1e-6, 1e-6])
    slopes = np.eye(2)
    got = condition(np.zeros((1, 2)), (slopes @ slopes.T)[None], numbers_only([0.03, 0.03], noise))
    cov = np.eye(2) - slopes.T @ got.gain[0] @ slopes
    difference = np.array([1.0, -1.0])
    assert math.sqrt(difference @ cov @ difference) < 0.002
    assert math.sqrt(cov[0, 0]) > 0.03


def test_inside_range_cuts_a_severity_and_leaves_others_alone():
    """Probability inside [0, 1]; rows without a severity (variance 0) are not cut."""
    got = inside_range(
        np.zeros(3), np.ones(3), np.array([0.5, 1.0, 7.0]), np.array([0.01, 0.01, 0.0])
    )
    due = [math.log(norm.cdf(5) - norm.cdf(-5)), math.log(0.5), 0.0]
    np.testing.assert_allclose(got, due, atol=1e-9)
