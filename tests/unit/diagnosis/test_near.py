"""What is near enough for a second look: leaving the rest on straight lines changes little."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from idlewright.diagnosis import near
from idlewright.family.load import load_family
from idlewright.family.sheet import load_sheet
from idlewright.model.compiled import compile_model
from tests.oracle.gauss_newton import gauss_newton
from tests.oracle.study import bank_odds, prior, random_case

SHEET = Path(__file__).parents[3] / "examples" / "invented-saloon.sheet.toml"


@pytest.mark.parametrize("number", [156, 194, 265, 270])
def test_faults_far_out_on_the_lines_are_found(number, monkeypatch):
    """Jobs in which a fault lies 13 to 20 nats higher at its own posterior than on its lines.

    Against every row within 30 nats. With a fixed limit of 10 nats and nothing tried below it these
    four were off by .08 to .60 (measured); case numbers of this project's oracle study, seed 6.
    """
    family = load_family("plunger-carburettor")
    model = compile_model(family, load_sheet(SHEET, family))
    ln_fault = prior(model)
    timeline, seen, times, _ = random_case(model, np.random.default_rng([6, number]), "mixed")
    found = bank_odds(model, ln_fault, seen, times, timeline)
    monkeypatch.setattr(near, "KEEP_NATS", 30.0)
    everything = bank_odds(model, ln_fault, seen, times, timeline)
    np.testing.assert_allclose(found, everything, atol=0.03)


@pytest.mark.parametrize(
    ("number", "readings"),
    [(109, range(9)), (188, (1, 3, 6, 8, 9, 10))],
    ids=["80 mV across a joint", "two drops in one ground"],
)
def test_a_good_joint_far_out_in_its_spread_is_no_fault(number, readings):
    """A joint of 3 mV usually and 80 mV now and then: the straight line of the first is no guide.

    Against exact weights of drawn worlds. Before steps were held short and drops under 50 mV read
    on a logarithm the first was off by .87, the second by .14 (measured); case numbers of this
    project's oracle study, seed 12.
    """
    family = load_family("plunger-carburettor")
    model = compile_model(family, load_sheet(SHEET, family))
    ln_fault = prior(model)
    rng = np.random.default_rng([12, number])
    timeline, seen, times, _ = random_case(model, rng, "mixed")
    seen, times = [seen[k] for k in readings], [times[k] for k in readings]
    found = bank_odds(model, ln_fault, seen, times, timeline)
    exact = gauss_newton(model, ln_fault, seen, times, timeline, 512, seed=99)
    np.testing.assert_allclose(found, exact.odds, atol=0.03)
