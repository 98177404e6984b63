"""Scores and intervals against values recomputed with other libraries.

Forecast scores agree with scikit-learn 1.9.1, intervals with SciPy 1.17.1's beta distribution;
G. W. Brier (1950), A. H. Murphy (1973), Gneiting and Raftery (2007): from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from idlewright.study.score import (
    brier,
    brier_of_classes,
    brier_parts,
    calibration,
    calibration_error,
    clopper_pearson,
    log_loss,
    log_loss_of_classes,
    upper_bound,
    wilson,
)

STATED = np.repeat([0.1, 0.3, 0.5, 0.7, 0.9], [4, 5, 4, 4, 3])
CAME = np.concatenate([
    np.arange(n) < k for n, k in ((4, 1), (5, 2), (4, 2), (4, 3), (3, 2))
]).astype(float)
THREE = np.array([
    [0.7, 0.2, 0.1], [0.5, 0.3, 0.2], [0.1, 0.6, 0.3], [0.2, 0.2, 0.6], [0.3, 0.3, 0.4],
])
TRUTH = np.array([0, 1, 1, 2, 0])


def test_brier_score_and_its_parts():
    """0.234 = reliability 0.0156667 - resolution 0.0316667 + uncertainty 0.25; skill 0.064."""
    parts = brier_parts(STATED, CAME)
    assert brier(STATED, CAME) == pytest.approx(0.234, abs=1e-7)
    assert parts.reliability == pytest.approx(0.0156667, abs=1e-7)
    assert parts.resolution == pytest.approx(0.0316667, abs=1e-7)
    assert (parts.uncertainty, parts.skill) == pytest.approx((0.25, 0.064), abs=1e-7)
    assert parts.score == pytest.approx(0.234, abs=1e-12)


def test_log_loss_in_nat():
    """0.6828265 nat = 0.9851104 bit; ln 2 for always one half; infinite for a wrong certainty."""
    assert log_loss(STATED, CAME) == pytest.approx(0.6828265, abs=1e-7)
    assert log_loss(STATED, CAME) / math.log(2) == pytest.approx(0.9851104, abs=1e-7)
    assert log_loss(np.full(20, 0.5), CAME) == pytest.approx(math.log(2), abs=1e-12)
    assert log_loss([0.0, 0.5], [1.0, 0.0]) == math.inf


@pytest.mark.parametrize(
    ("bins", "edge", "expected", "worst"),
    [(5, "down", 0.10, 0.2333333), (2, "down", 0.08, 0.0846154), (2, "up", None, 0.1222222)],
)
def test_calibration_error_depends_on_the_bins(bins, edge, expected, worst):
    """Expected and worst gaps with five bins, and with two whose inner edge goes down or up."""
    mean, largest = calibration_error(calibration(STATED, CAME, bins=bins, edge=edge))
    assert largest == pytest.approx(worst, abs=1e-7)
    if expected is not None:
        assert mean == pytest.approx(expected, abs=1e-7)


def test_three_suspects():
    """Brier over classes .432 (rows .14 .78 .26 .24 .74), log loss .7572544 nat, 3 of 5 right."""
    rows = [brier_of_classes(THREE[i : i + 1], TRUTH[i : i + 1]) for i in range(5)]
    assert rows == pytest.approx([0.14, 0.78, 0.26, 0.24, 0.74], abs=1e-12)
    assert brier_of_classes(THREE, TRUTH) == pytest.approx(0.432, abs=1e-7)
    assert log_loss_of_classes(THREE, TRUTH) == pytest.approx(0.7572544, abs=1e-7)
    assert int((THREE.argmax(axis=1) == TRUTH).sum()) == 3


def test_an_honest_report_is_best():
    """True chance .7, reported .5 .7 .9: expected Brier .25 .21 .25, log loss least at .7."""
    came = np.repeat([1.0, 0.0], [7, 3])
    reports = (0.5, 0.7, 0.9)
    assert [brier(np.full(10, p), came) for p in reports] == pytest.approx([0.25, 0.21, 0.25])
    logs = [log_loss(np.full(10, p), came) for p in reports]
    assert logs == pytest.approx([0.6931472, 0.6108643, 0.7645279], abs=1e-7)


def test_nine_of_twelve():
    """Clopper-Pearson [.4281415, .9451394] and Wilson [.4676947, .9110583] at 95 %."""
    exact, score = clopper_pearson(9, 12), wilson(9, 12)
    assert (exact.low, exact.high) == pytest.approx((0.4281415, 0.9451394), abs=1e-6)
    assert (score.low, score.high) == pytest.approx((0.4676947, 0.9110583), abs=1e-6)


def test_none_of_ten():
    """One-sided 95 % bound 1 - .05^(1/10) = .2588656; two-sided .3084971; 59 and 29 tries."""
    assert upper_bound(0, 10) == pytest.approx(0.2588656, abs=1e-6)
    assert clopper_pearson(0, 10).high == pytest.approx(0.3084971, abs=1e-6)
    assert upper_bound(0, 58) > 0.05 >= upper_bound(0, 59)
    assert upper_bound(0, 28) > 0.10 >= upper_bound(0, 29)
