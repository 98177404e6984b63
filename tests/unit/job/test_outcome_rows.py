"""Which rows stand for all in the plan."""

from __future__ import annotations

import numpy as np
import pytest

from idlewright.job.outcomes import MASS_KEPT, MOST_ROWS, _strata


def rows(suspects, cells, seed=3):
    """Rows of suspects with odds of very different size, in random order."""
    generator = np.random.default_rng(seed)
    suspect = np.repeat(np.arange(suspects), cells)
    weight = generator.dirichlet(np.full(suspects, 0.7))[suspect] * generator.random(len(suspect))
    weight /= weight.sum()
    shuffled = generator.permutation(len(suspect))
    severity = np.tile(np.linspace(0.0, 1.0, cells), suspects)
    return weight[shuffled], suspect[shuffled], severity[shuffled]


def test_every_suspect_keeps_its_odds():
    """130 suspects of 40 rows: those that hold 998 in 1,000 keep their odds, the rest has none."""
    weight, suspect, severity = rows(130, 40)
    chosen, stands_for = _strata(weight, suspect, np.ones(len(weight), dtype=bool), severity)
    whole = np.bincount(suspect, weight)
    kept = np.bincount(suspect[chosen], stands_for, 130)
    assert kept[kept > 0] == pytest.approx(whole[kept > 0])
    assert kept.sum() >= MASS_KEPT
    assert len(chosen) <= 1.5 * MOST_ROWS
    assert (np.diff(chosen) > 0).all()


def test_mild_and_bad_are_both_there():
    """The rows of one suspect keep its middle severity and its spread."""
    weight, suspect, severity = rows(1, 400)
    chosen, stands_for = _strata(weight, suspect, np.ones(400, dtype=bool), severity)
    for power in (1, 2):
        assert stands_for @ severity[chosen] ** power == pytest.approx(
            weight @ severity**power, abs=0.01
        )


def test_a_suspect_without_odds_is_left_out():
    """Rows of weight nothing stand for nothing, and nothing is divided by nothing."""
    weight = np.array([0.0, 0.5, 0.0, 0.5])
    chosen, stands_for = _strata(
        weight, np.array([0, 1, 2, 3]), np.ones(4, dtype=bool), np.zeros(4)
    )
    assert chosen.tolist() == [1, 3]
    assert stands_for.tolist() == [0.5, 0.5]
