"""A job in which no listed fault is possible any more still has a next step."""

from dataclasses import replace

import numpy as np
import pytest

from idlewright.diagnosis.belief import believe
from idlewright.diagnosis.prior import prior_of
from idlewright.job.case import case_of
from idlewright.job.file import load_job
from idlewright.job.prospects import limits_of, prospects
from idlewright.plan.propose import propose
from idlewright.practice import open_car
from idlewright.study.book import Vehicle
from tiny_family import TINY


@pytest.mark.parametrize("ln_else", [2.0, 1e5])
def test_something_else_for_certain_ends_in_stopping(tmp_path, ln_else):
    """With odds of something else at one, the weights are still a belief and the plan stops."""
    path = tmp_path / "tiny.toml"
    path.write_text(TINY, encoding="utf-8")
    vehicle = Vehicle.of(str(path))
    model = vehicle.prepared.model
    car = open_car(vehicle.family, 5, "matched", vehicle.sheet, fault="drifted", model=model)
    car.read("closed")
    data = {**car.as_job("rare"), "family": str(path)}
    job = replace(load_job(data), family=model.family, sheet=vehicle.sheet)
    prior = replace(prior_of(model.family, job.words, []), ln_else=ln_else)
    belief = believe(model, case_of(job, model), prior, slips=False)
    outlook, ways, _ = prospects(job, belief, vehicle.prepared.forms, {})
    assert outlook.weight.sum() == pytest.approx(1.0)
    assert ways.weight[-1] == pytest.approx(belief.other)
    assert np.isfinite(ways.mean).all()
    found = propose(outlook, job.state, limits_of(job))
    if belief.other > 0.999:
        assert found.next.kind == "stop"


def test_a_repair_before_any_reading_leaves_a_belief(tmp_path):
    """Work done and nothing read: faults that come and go have one pattern, that of no times."""
    path = tmp_path / "tiny.toml"
    path.write_text(TINY, encoding="utf-8")
    vehicle = Vehicle.of(str(path))
    model = vehicle.prepared.model
    car = open_car(vehicle.family, 5, "matched", vehicle.sheet, fault="drifted", model=model)
    comes_and_goes = {fault.id for fault in model.family.faults.values() if fault.intermittent}
    car.repair(next(r.id for r in model.family.repairs.values() if comes_and_goes & set(r.cures)))
    data = {**car.as_job("early"), "family": str(path)}
    job = replace(load_job(data), family=model.family, sheet=vehicle.sheet)
    belief = believe(model, case_of(job, model), prior_of(model.family, job.words, []))
    assert belief.fault.sum() + belief.good + belief.other == pytest.approx(1.0)
