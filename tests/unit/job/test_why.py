"""The reason given for a check."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from idlewright.job import next_step
from idlewright.plan.outlook import CheckOption


def swing(weight, outcome, monkeypatch):
    """What is said of one check over rows that are a suspect each."""
    monkeypatch.setattr(next_step, "title_of", lambda belief, group: f"Suspect {group.faults[0]}")
    outlook = SimpleNamespace(
        weight=np.array(weight), checks=(CheckOption("look", np.array(outcome), 1.0),)
    )
    thought = SimpleNamespace(
        outlook=outlook, belief=None, ways=SimpleNamespace(fault=np.arange(len(weight))),
        prepared=SimpleNamespace(
            groups=[SimpleNamespace(faults=np.array([k])) for k in range(len(weight))]
        ),
    )  # fmt: skip
    return next_step._swing(thought, SimpleNamespace(id="look"))


def test_the_suspect_that_the_look_shows_is_named(monkeypatch):
    """A look that shows suspect 1 (odds .05) names it, though 0 gains more when it fails."""
    name, after = swing([0.40, 0.05, 0.55], [[0.99, 0.01], [0.1, 0.9], [0.99, 0.01]], monkeypatch)
    assert name == "suspect 1"
    assert after == pytest.approx(0.05 * 0.9 / (0.05 * 0.9 + 0.95 * 0.01))


def test_ruling_out_a_little_names_nobody(monkeypatch):
    """No outcome doubles anybody's odds: no suspect is named."""
    assert swing([0.4, 0.05, 0.55], [[0.5, 0.5], [0.6, 0.4], [0.5, 0.5]], monkeypatch)[0] == ""
