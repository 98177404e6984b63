"""Patterns of coming and going that the readings leave room for."""

from __future__ import annotations

import numpy as np
import pytest

from idlewright.diagnosis.evidence import Weigher
from idlewright.diagnosis.factors import Noise, Seen, number_alternatives, word_alternatives
from idlewright.diagnosis.moods import MOST_DOUBTED, MOST_KEPT, Moods
from idlewright.diagnosis.world import Time, Timeline, make_rows
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_of_check
from oracle.cases import random_car, readings_of
from small_car import empty_sheet, small_family

LOOSE = 6
NOISE = Noise(0.003, 0.002, 0.001, 600.0, "m:volt")


@pytest.fixture(scope="module")
def model() -> CompiledModel:
    """The small car."""
    return compile_model(small_family(), empty_sheet())


def prior(model: CompiledModel) -> np.ndarray:
    """Even odds."""
    count = len(model.cells.faults) + 1
    return np.full(count, -np.log(count))


def odds(model: CompiledModel, seen, times, timeline: Timeline, *, sifted: bool) -> np.ndarray:
    """Odds of every fault and of the good car, (F + 1,)."""
    sift = Moods(model, seen, times, timeline).sift if sifted else None
    rows = make_rows(model.cells, prior(model), timeline, sift=sift)
    weighed = Weigher(model, timeline, rows).weigh(seen, times)
    number = model.cells.fault[rows.cell] % (len(model.cells.faults) + 1)
    return np.bincount(number, np.exp(weighed.ln_row - weighed.ln_total))


def patterns_kept(model: CompiledModel, seen, times, timeline: Timeline) -> set[tuple[bool, ...]]:
    """Patterns of the loose pin that are weighed."""
    rows = make_rows(model.cells, prior(model), timeline, None, Moods(
        model, seen, times, timeline).sift)  # fmt: skip
    own = model.cells.fault[rows.cell] == LOOSE
    return {tuple(map(bool, row)) for row in rows.active[own]}


def ground(model: CompiledModel, name: str, volts: float) -> Seen:
    """The voltage drop of the sensor ground."""
    form = form_of_check(model.family, model.family.checks["ground"], 10e6)
    return Seen(name, number_alternatives(form, volts, NOISE), 0, 0, flat=-2.0)


def test_odds_are_as_if_every_pattern_was_weighed(model):
    """Random jobs of six stretches: odds within .01 of the full sum over 64 patterns."""
    timeline = Timeline((Time(0),) * 6, ())
    for case in range(12):
        rng = np.random.default_rng([71, case])
        fault = LOOSE if case % 2 else None
        active = tuple(bool(b) for b in rng.random(6) < 0.5) if fault is not None else None
        true = random_car(model, timeline, rng, fault, active)
        seen, times = readings_of(true, 9, rng)
        full = odds(model, seen, times, timeline, sifted=False)
        quick = odds(model, seen, times, timeline, sifted=True)
        assert np.abs(full - quick).max() <= 0.01


def test_a_fault_that_never_rests_keeps_its_pattern(model):
    """High ground drop in all of eight stretches: always active is among the patterns."""
    timeline = Timeline((Time(0),) * 8, ())
    seen = [ground(model, f"r{t}", 0.9) for t in range(8)]
    kept = patterns_kept(model, seen, list(range(8)), timeline)
    assert (True,) * 8 in kept
    assert len(kept) <= MOST_KEPT


def test_a_number_that_may_be_a_slip_does_not_decide(model):
    """One wild number among four normal ones: both with and without activity there is kept."""
    timeline = Timeline((Time(0),) * 5, ())
    volts = [0.002, 0.002, 2.6, 0.002, 0.002]
    seen = [ground(model, f"r{t}", v) for t, v in enumerate(volts)]
    kept = patterns_kept(model, seen, list(range(5)), timeline)
    assert (False, False, True, False, False) in kept
    assert (False,) * 5 in kept
    assert len(kept) <= MOST_KEPT * (1 + MOST_DOUBTED)


def test_words_alone_can_be_sifted(model):
    """No number at all: patterns are told apart by the words."""
    family = model.family
    form = form_of_check(family, family.checks["feel"], 10e6)
    seen = [Seen("a", word_alternatives(form, "high"), 0, 0, odds={"pin.loose": 0.5}, base=0.02)]
    kept = patterns_kept(model, seen, [1], Timeline((Time(0),) * 3, ()))
    assert any(pattern[1] for pattern in kept)
