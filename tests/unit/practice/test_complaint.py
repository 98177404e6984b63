"""Complaints fit the faults as often as the family states."""

from collections import Counter

import numpy as np
import pytest

from idlewright.family.kinds import Fault, SoftEvidence
from idlewright.practice.complaint import MOST_WORDS, Complaint, draw_complaint, weight_given

FAULTS = [Fault(name, name, (), 1.0) for name in ("leak", "coked", "pin")]
WEIGHT = np.array([0.5, 0.3, 0.1, 0.1])
WORDS = {
    "high": SoftEvidence("high", "idles high", {"leak": 3.0}, {"coked": 3.0}),
    "low": SoftEvidence("low", "stalls", {"coked": 3.0}, {}),
    "damp": SoftEvidence("damp", "damp", {"pin": 2.0}, {}),
}
CODES = {"code": SoftEvidence("code", "a code", {"pin": 3.0}, {})}


def test_odds_after_a_drawn_complaint_are_the_stated_ones():
    """The odds that come with a complaint are those that its words and codes move as stated."""
    rng = np.random.default_rng(4)
    for _ in range(200):
        said, odds = draw_complaint(rng, FAULTS, WEIGHT, WORDS, CODES)
        again = weight_given(said, FAULTS, WEIGHT, WORDS, CODES)
        assert odds == pytest.approx(again)
        assert 1 <= len(said.words) <= MOST_WORDS and len(said.codes) <= 1
        assert len(set(said.words)) == len(said.words)


def test_faults_drawn_after_a_complaint_follow_its_odds():
    """Given the only word there is, faults come as often as their weight times its factor."""
    rng = np.random.default_rng(9)
    faults = Counter()
    runs = 6000
    for _ in range(runs):
        _, odds = draw_complaint(rng, FAULTS, WEIGHT, {"high": WORDS["high"]}, {})
        pick = int(rng.choice(4, p=odds / odds.sum()))
        faults[pick] += 1
    # Only one word exists, so it is always said and the odds are 3 : 1/3 : 1 : 1 times the weights.
    expected = np.array([1.5, 0.1, 0.1, 0.1])
    shares = np.array([faults[k] for k in range(4)]) / runs
    assert shares == pytest.approx(expected / expected.sum(), abs=0.02)


def test_a_given_complaint_moves_the_odds():
    """A word multiplies the odds of what it raises by its factor and leaves the rest alone."""
    moved = weight_given(Complaint(("low",), ("code",)), FAULTS, WEIGHT, WORDS, CODES)
    assert moved / WEIGHT == pytest.approx([1.0, 3.0, 3.0, 1.0])
