"""Ways a check can be answered: modes, words, numbers, and what a reading becomes."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from idlewright.diagnosis.factors import (
    Noise,
    number_alternatives,
    overload_alternatives,
    read_as,
    word_alternatives,
    word_and_number,
)
from idlewright.errors import BadInput
from idlewright.family.kinds import Family
from idlewright.family.load import load_family
from idlewright.model.compiled import compile_model
from idlewright.model.forms import form_between, form_of_check
from idlewright.model.latents import MotorOutput, OhmBetween, VoltBetween, spread_on_scale, to_scale
from small_car import empty_sheet, small_family

NOISE = Noise(gain=0.003, own=0.002, step=0.001, top=600.0, meter="m:volt")


@cache
def shipped() -> Family:
    """The shipped family."""
    return load_family("plunger-carburettor")


def form(check: str, family: Family | None = None):
    """Form of a check."""
    chosen = family or small_family()
    return form_of_check(chosen, chosen.checks[check], 1e7)


def test_a_voltage_has_one_mode_and_the_meters_input():
    """Plain volts: one mode, no boxes, read with the given input resistance."""
    got = form("closed")
    assert [mode.boxes for mode in got.modes] == [()]
    assert isinstance(got.modes[0].number, VoltBetween)
    assert got.modes[0].number.input_ohm == 1e7
    assert (got.unit, got.scale) == ("V", "volt")


def test_motor_volts_have_a_turning_and_a_standing_mode():
    """A driven motor turns or stands; each mode has its own volts and the margin's box."""
    got = form("isc.motor.nine", shipped())
    kinds = [mode.number.kind for mode in got.modes]
    assert kinds == ["volts_turning", "volts_stalled"]
    turning, standing = (mode.boxes[0] for mode in got.modes)
    assert (turning.low, turning.high) == (0.0, math.inf)
    assert (standing.low, standing.high) == (-math.inf, 0.0)
    assert turning.latent == standing.latent


def test_controlled_idle_is_held_or_out_of_reach_or_stuck():
    """The computer holds its target, or is at either end of the plunger, or the motor stands."""
    got = form("basics.idle.hot", shipped())
    assert len(got.modes) == 4
    held, fast, slow, stuck = got.modes
    assert held.number.scalar == shipped().control.target
    assert isinstance(stuck.boxes[0].latent, MotorOutput)
    assert stuck.boxes[0].high == 0.0
    assert {len(mode.boxes) for mode in (fast, slow)} == {2}


def test_words_by_limits_are_boxes_and_words_by_odds_are_not():
    """`feel` has limits on a scalar; `look` has stated odds only."""
    feel, look = form("feel"), form("look")
    box = feel.words["as set"][0].boxes[0]
    assert (box.low, box.high, box.blur) == (0.085, 0.115, 0.004)
    assert feel.words["high"][0].boxes[0].high == math.inf
    assert not look.words
    assert look.odds["green"] == {"gnd.poor": 0.6, "pin.loose": 0.5}


def test_told_the_mode_only_that_mode_is_left():
    """"Turns, 6.2 V" is the turning mode alone; the number alone keeps both."""
    got = form("isc.motor.nine", shipped())
    both = number_alternatives(got, 6.2, NOISE)
    told = word_and_number(got, "turns", 6.2, NOISE)
    assert len(both) == 2
    assert len(told) == 1
    assert told[0].numbers[0].latent.kind == "volts_turning"
    assert len(told[0].boxes) == 1


def test_open_circuit_is_a_box_beyond_the_top():
    """OL on ohms: the latent is above the top of the range, nothing else is said."""
    between = form_between(small_family(), "ref.s", "gnd.s", "ohm", {"key": "off"}, 1e7)
    got = overload_alternatives(between, replace(NOISE, top=40e6))
    box = got[0].boxes[0]
    assert box.low == pytest.approx(math.log(40e6 + 1.0))
    assert box.high == math.inf
    assert not got[0].numbers


def test_a_number_becomes_a_density_with_the_meters_parts():
    """Own noise and display width are the reading's variance; the gain is kept apart."""
    got = number_alternatives(form("closed"), 0.52, NOISE)[0].numbers[0]
    slope = 1.0 / math.hypot(0.52, 0.01)
    assert got.y == pytest.approx(math.asinh(0.52 / 0.01))
    assert got.variance == pytest.approx((0.002**2 + 0.001**2 / 12) * slope**2, rel=1e-4)
    assert got.gain == pytest.approx(0.003 * 0.52 * slope)


def test_a_coarse_display_becomes_an_interval():
    """A step over twice the other noise: the value lies between the half steps."""
    coarse = Noise(gain=0.0, own=0.0, step=0.1, top=600.0, meter="m:volt")
    got = number_alternatives(form("closed"), 0.5, coarse)[0]
    assert not got.numbers
    low, high = to_scale("volt", np.array([0.45, 0.55]))
    assert got.boxes[0].low == pytest.approx(low)
    assert got.boxes[0].high == pytest.approx(high)


def test_volts_that_may_be_nothing_are_an_interval():
    """0.18 V, uncertain by 0.2 V: what is about zero fits, 11.8 V does not."""
    noisy = replace(NOISE, own=0.2)
    box = number_alternatives(form("closed"), 0.18, noisy)[0].boxes[0]
    nothing, full = to_scale("volt", np.array([0.0, 11.8]))
    assert box.low < nothing < box.high < full - 1.0
    assert number_alternatives(form("closed"), 11.8, noisy)[0].numbers
    assert number_alternatives(form("closed"), 0.001, NOISE)[0].numbers  # within the straight part


def test_an_uncertainty_on_the_scale_of_volts():
    """The central 90 % of the value is the central 90 % on the scale, at zero as far from it."""
    for value, spread in ((0.0, 0.2), (0.1, 0.2), (12.0, 0.2), (0.0, 1e-4)):
        half = 1.645 * float(spread_on_scale("volt", value, spread))
        ends = to_scale("volt", np.array([value - 1.645 * spread, value + 1.645 * spread]))
        assert 2.0 * half == pytest.approx(ends[1] - ends[0])
    assert spread_on_scale("log", 2.0, 0.1) == pytest.approx(0.05)


def test_a_word_that_is_not_there_has_no_way():
    """An unknown word gives no alternative (its caller says so)."""
    assert word_alternatives(form("feel"), "purple") == ()


def test_a_slip_reads_the_same_value_of_something_else():
    """read_as puts a value on another latent."""
    ground = form("ground").modes[0].number
    assert read_as(ground, 0.52, NOISE).numbers[0].latent == ground


def test_any_two_places_can_be_read_in_volts_or_ohms_only():
    """Two named places, volts or ohms; anything else is bad input that says what is possible."""
    family = small_family()
    got = form_between(family, "ref.s", "zero", "ohm", {"key": "off"}, 1e7)
    assert isinstance(got.modes[0].number, OhmBetween)
    with pytest.raises(BadInput, match="cannot be read between two places"):
        form_between(family, "ref.s", "zero", "rpm", {}, 1e7)


def test_every_check_of_the_shipped_family_can_be_answered():
    """Each check has a number, words by limits or words by odds, and its latents can be solved."""
    family = shipped()
    model = compile_model(small_family(), empty_sheet())
    assert model.columns > 1
    for check in family.checks.values():
        got = form_of_check(family, check, 1e7)
        assert got.modes or got.words or got.odds, check.id
