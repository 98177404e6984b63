"""True answers before any meter."""

import math
from dataclasses import dataclass

import numpy as np
import pytest

from idlewright.model.forms import Box, Form, Mode
from idlewright.model.worlds import Gradient
from idlewright.practice.answers import answer, word_by_odds


@dataclass(frozen=True)
class Given:
    """A latent with a given value."""

    value: float
    scale: str = "linear"
    unit: str = "rpm"

    def evaluate(self, physics, worlds):
        """The value, whatever the world."""
        return np.array([self.value]), Gradient(np.empty(0, dtype=np.int64), np.empty((0, 1)))


def form(modes=(), words=None, odds=None, usual=None):
    """A form of these modes and words."""
    return Form(tuple(modes), "rpm", "linear", words or {}, odds or {}, usual, "rpm", 0.0, (), 0.02)


def sharp(latent):
    """No blur."""
    return 0.0


def test_the_mode_that_holds_is_read():
    """A motor with a positive margin reads its volts while turning, else those standing."""
    for margin, expected in ((0.3, 9.0), (-0.3, 6.0)):
        latent = Given(margin)
        turns = Mode((Box(latent, 0.0, math.inf, 0.03),), Given(9.0))
        stands = Mode((Box(latent, -math.inf, 0.0, 0.03),), Given(6.0))
        assert answer(form([turns, stands]), None, None, sharp).number == pytest.approx(expected)


def test_nothing_is_read_where_the_only_mode_does_not_hold():
    """The running time of a motor that stands cannot be read."""
    latent = Given(-0.3)
    only = Mode((Box(latent, 0.0, math.inf, 0.03),), Given(4.0))
    assert answer(form([only]), None, None, sharp).number is None


def test_words_by_limits_follow_the_value_and_the_blur():
    """Just below a border the word is the lower one, unless the blur carries it across."""
    latent = Given(0.79)
    words = {
        "none": (Mode((Box(latent, 0.0, 0.8, 0.1),), None),),
        "smoke": (Mode((Box(latent, 0.8, math.inf, 0.1),), None),),
    }
    assert answer(form(words=words), None, None, sharp).word == "none"
    assert answer(form(words=words), None, None, lambda latent: 0.5).word == "smoke"


def test_words_by_odds_come_as_often_as_stated():
    """Stated chances under the fault; the stray chance, shared out, on every other car."""
    odds = {"clean": {}, "green": {"gnd.poor": 0.6}, "wet": {"plug_wet": 0.8}}
    with_odds = form(odds=odds, usual="clean")
    picks = (np.arange(10_000) + 0.5) / 10_000
    for active, word, share in (
        (["gnd.poor"], "green", 0.6 / 1.01),
        (["gnd.poor"], "wet", 0.01 / 1.01),
        ([], "green", 0.01),
        (["other"], "clean", 0.98),
        (["gnd.poor", "plug_wet"], "wet", 0.8 / 1.42),
    ):
        seen = np.mean([word_by_odds(with_odds, active, pick) == word for pick in picks])
        assert seen == pytest.approx(share, abs=0.001), (active, word)
