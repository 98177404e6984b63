"""Readings that no listed car could show are slips, however many; others are not accused."""

from __future__ import annotations

import numpy as np
import pytest

from idlewright.diagnosis.belief import Case, believe
from idlewright.diagnosis.factors import Noise, Seen, number_alternatives
from idlewright.diagnosis.prior import Prior
from idlewright.diagnosis.slips import number_slips
from idlewright.diagnosis.world import Time, Timeline
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_of_check
from small_car import empty_sheet, small_family

NOISE = Noise(0.003, 0.002, 0.001, 600.0, "m:volt")
FLAT = -np.log(12.0)


@pytest.fixture(scope="module")
def model() -> CompiledModel:
    """The small car."""
    return compile_model(small_family(), empty_sheet())


def prior(model: CompiledModel) -> Prior:
    """Even odds, something else 6 %."""
    count = len(model.cells.faults) + 1
    return Prior(np.full(count, np.log(0.94 / count)), np.log(0.06))


def reading(model: CompiledModel, check: str, volts: float) -> Seen:
    """A reading with the slips it may be."""
    one = model.family.checks[check]
    form = form_of_check(model.family, one, 10e6)
    slips = number_slips(model.family, form, one.red, one.black, volts, NOISE)
    return Seen(
        check, number_alternatives(form, volts, NOISE), 0, 0, slips=slips, flat=FLAT, what=check
    )


def belief(model: CompiledModel, *seen: Seen):
    """What to believe, all readings at one time."""
    case = Case(seen, (0,) * len(seen), Timeline((Time(0),), ()))
    return believe(model, case, prior(model))


def test_two_readings_in_kilovolts_are_both_named_and_cost_the_suspects_nothing(model):
    """The odds are those of the other readings together with the two read in volts."""
    right = [reading(model, "ground", 0.4), reading(model, "closed", 0.86)]
    wild = [reading(model, "reference", 4600.0), reading(model, "coolant", 1350.0)]
    meant = [reading(model, "reference", 4.6), reading(model, "coolant", 1.35)]
    got = belief(model, *right, *wild)
    assert got.slip_kind[2:] == ("unit", "unit")
    assert (got.slip[2:] > 0.9).all()
    assert (got.slip[:2] < 0.2).all()
    due = belief(model, *right, *meant)
    share = got.fault / got.fault.sum()
    assert np.abs(share - due.fault / due.fault.sum()).max() < 0.05


def test_what_some_fault_can_show_is_not_beyond_all(model):
    """A reference of 3 V is a fault here, not a slip."""
    got = belief(model, reading(model, "reference", 3.0))
    assert got.slip[0] < 0.5
    assert int(np.argmax(got.fault)) == 5


def test_a_reading_that_nothing_shows_leaves_something_else_open(model):
    """One absurd number alone: a slip, or something nobody listed; both stay on the table."""
    got = belief(model, reading(model, "reference", 4600.0))
    assert got.slip[0] + got.other == pytest.approx(1.0, abs=1e-6)
    assert got.other < 0.5


def test_a_mistaken_unit_has_the_noise_of_what_the_meter_showed(model):
    """5.00 kV with a last digit of 10 V was 5.00 V with a last digit of 10 mV."""
    one = model.family.checks["reference"]
    form = form_of_check(model.family, one, 10e6)
    coarse = Noise(0.003, 2.0, 10.0, 1e5, "m:volt")
    shapes = number_slips(model.family, form, one.red, one.black, 5000.0, coarse)
    fine = Noise(0.003, 0.002, 0.01, 600.0, "m:volt")
    (due,) = number_alternatives(form, 5.0, fine)
    factors = [shape.factors[0] for shape in shapes if shape.slip == "unit"]
    assert any(
        (f.low, f.high) == pytest.approx((due.boxes[0].low, due.boxes[0].high))
        for f in factors
        if due.boxes and hasattr(f, "low")
    )
