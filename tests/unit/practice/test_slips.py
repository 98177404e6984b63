"""Slips are done to the car: the wrong pin or state is what is really read."""

import numpy as np
import pytest

from idlewright.family import load_family
from idlewright.model.compiled import compile_model
from idlewright.model.forms import form_of_check
from idlewright.physics.meter import ORDINARY_METER
from idlewright.practice import open_car
from idlewright.practice.slips import another_word, misread, possible_slips
from idlewright.quantities import parse_quantity
from small_car import empty_sheet


@pytest.fixture(scope="module")
def model():
    """A shipped family, compiled."""
    return compile_model(load_family("plunger-carburettor"), empty_sheet())


def slips_of(model, check_id):
    """Every slip of a check."""
    check = model.family.checks[check_id]
    form = form_of_check(model.family, check, 10e6)
    return possible_slips(model.family, form, check.red)


def test_each_kind_of_reading_has_its_kinds_of_slip(model):
    """Volts at a plug, ohms with a plug off, speeds, words: each can go wrong in its own ways."""
    kinds = {check: {s.kind for s in slips_of(model, check)} for check in model.family.checks}
    assert kinds["tps.signal.closed"] == {
        "next pin", "leads swapped", "other position", "unit", "digits",
    }  # fmt: skip
    assert kinds["tps.track.ohm"] >= {"plug left on", "unit", "digits", "other position"}
    assert "leads swapped" not in kinds["tps.track.ohm"]
    assert kinds["isc.speed.in"] == {"cylinder count", "digits"}
    assert kinds["tps.pins.look"] == {"other word"}


def test_a_slipped_form_reads_the_wrong_thing(model):
    """Next pin reads the neighbour, swapped leads the negative, a plug left on the circuit too."""
    car = open_car("", 3, law="matched", model=model, fault="idle.bore_coked")

    def told(check, kind, says=""):
        slip = next(s for s in slips_of(model, check) if s.kind == kind and says in s.says)
        text = car._typed(check, 0, slip.form, ORDINARY_METER, (), slip.factor)
        return parse_quantity(text).value

    right = parse_quantity(car.read("tps.signal.closed")).value
    reference = parse_quantity(car.read("tps.reference")).value
    assert told("tps.signal.closed", "next pin", "tps.ref") == pytest.approx(reference, rel=0.01)
    assert told("tps.signal.closed", "leads swapped") == pytest.approx(-right, abs=0.01)
    assert told("tps.signal.closed", "unit") == pytest.approx(1000 * right, rel=0.01)
    whole = parse_quantity(car.read("tps.track.ohm")).value
    assert told("tps.track.ohm", "plug left on") < 0.97 * whole
    speed = parse_quantity(car.read("isc.speed.in")).value
    assert told("isc.speed.in", "cylinder count") == pytest.approx(2 * speed, rel=0.02)


def test_a_misread_digit_changes_one_digit_only():
    """Any place and digit: the text differs in exactly one place and stays a number."""
    for place in range(6):
        for digit in range(9):
            text = misread("4.70 kohm", place, digit)
            assert sum(a != b for a, b in zip(text, "4.70 kohm", strict=True)) == 1
            parse_quantity(text)


def test_another_word_keeps_the_number_beside_it():
    """The word is exchanged whole, commas in it included; what stands behind it stays."""
    rng = np.random.default_rng(1)
    assert another_word("turns, 6.2 V", ["turns", "stands"], rng) == "stands, 6.2 V"
    words = ["fast, then sinks", "slow when cold"]
    assert another_word("fast, then sinks", words, rng) == "slow when cold"
