"""Evidence of many ways of reading at once is the evidence of each by itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from idlewright.diagnosis.evidence import Weigher
from idlewright.diagnosis.pieces import DEAD
from idlewright.diagnosis.shared import OUT_OF_REACH_NATS
from idlewright.diagnosis.world import make_rows
from idlewright.family.load import load_family
from idlewright.family.sheet import load_sheet
from idlewright.model.compiled import compile_model
from idlewright.study.truth import WORLDS, simulate
from tests.oracle.study import prior, random_case

SHEET = Path(__file__).parents[3] / "examples" / "invented-saloon.sheet.toml"


def test_each_way_as_by_itself_and_what_is_left_out_is_out_of_reach():
    """Eleven readings, two of a speed that may be held or not: looks in reach get the same.

    Those not asked about their boxes are out of reach with them too (give or take the share of the
    severity inside its range), and dead. Case 188 of this project's oracle study, seed 12.
    """
    family = load_family("plunger-carburettor")
    model = compile_model(family, load_sheet(SHEET, family))
    timeline, seen, times, _ = random_case(model, np.random.default_rng([12, 188]), "mixed")
    weigher = Weigher(model, timeline, make_rows(model.cells, prior(model), timeline))
    sight = weigher.sight(seen, times)
    parts = weigher.parts(sight)
    every = np.arange(len(sight.looks.row))
    heaviest = np.full(len(every), -np.inf)
    np.maximum.at(heaviest, sight.looks.of, weigher.rows.ln_prior[sight.row_ids])
    best = max(float((part.ln + heaviest).max()) for part in parts)
    assert len(parts) > 2
    skipped = 0
    for part in parts:
        alone = weigher.score(sight, part.combination.factors, part.level, every).ln_z
        alone += part.combination.ln_weight + part.ln_level
        same = np.isclose(part.ln, alone, atol=1e-6)
        beyond = heaviest + part.ln < best - OUT_OF_REACH_NATS
        assert np.all(same | beyond)
        assert np.all(part.ln[~same] < 0.5 * DEAD)
        assert np.all((heaviest + alone)[~same] < best - OUT_OF_REACH_NATS + 1.0)
        skipped += int((~same).sum())
    assert skipped


def test_rows_far_out_are_not_lifted_by_leaving_a_reading_out():
    """A practice car whose leader was lifted by e^8000 through an unlikely slip.

    Rows far out must not stand with less than they deserve against them: the scenario of that slip
    adds what leaving the reading out gains, by another reckoning.
    """
    (world,) = [one for one in WORLDS if one.name == "as believed, aimed"]
    (row,) = simulate("plunger-carburettor", 1, 131, worlds=[world])[world.name]
    assert row["leader"] == row["truth"] == ["idle.purge_open"]
