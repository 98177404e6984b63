import math

import numpy as np
import pytest

from idlewright.errors import BadInput
from idlewright.physics.meter import (
    ORDINARY,
    ORDINARY_METER,
    Meter,
    MeterFunction,
    in_base_unit,
    ohmmeter_shows,
    unloaded_volts,
    voltmeter_shows,
    why_ohms_invalid,
    without_leads,
)
from idlewright.physics.meter_statement import meter_from_mapping
from idlewright.quantities import UNIT_OF_READ, Overload, Where, parse_display, parse_quantity

VOLT = MeterFunction(0.5, 3, 1e-4, 600.0, full_count=4000, input_ohm=10e6)
OHM = MeterFunction(1.0, 3, 0.1, 40e6, full_count=4000, lead_ohm=0.2)


def test_ranges_step_tenfold_to_the_top() -> None:
    """A 4000-count meter has the ranges 400 mV, 4, 40, 400 and 600 V, and 400 ohm to 40 Mohm."""
    np.testing.assert_allclose(VOLT.ranges(), [1e-4, 1e-3, 1e-2, 1e-1, 1.0], rtol=1e-12)
    np.testing.assert_allclose(OHM.ranges() * 4000, [4e2, 4e3, 4e4, 4e5, 4e6, 4e7], rtol=1e-12)


@pytest.mark.parametrize(
    ("value", "step"),
    [(0.0, 1e-4), (0.3999, 1e-4), (0.39994, 1e-4), (0.39996, 1e-3), (-12.6, 1e-2), (1e4, 1.0)],
)
def test_the_range_is_chosen_by_the_displayed_count(value: float, step: float) -> None:
    """The last digit jumps tenfold where the rounded count would reach 4000; sign is no matter."""
    assert float(VOLT.step_at(value)) == pytest.approx(step)


def test_uncertainty_of_one_reading_by_hand() -> None:
    """5.00 V on the 40 V range: gain 0.5 %/sqrt 3, 3 counts of 10 mV rectangular, 10 mV display."""
    gain, counts, display = 0.025 / math.sqrt(3), 0.03 / math.sqrt(3), 0.01 / math.sqrt(12)
    assert VOLT.u(5.0) == pytest.approx(math.hypot(gain, counts, display), rel=1e-12)
    assert VOLT.gain_sd == pytest.approx(0.005 / math.sqrt(3))
    assert float(VOLT.independent_variance(5.0)) == pytest.approx(counts**2 + display**2)


def test_a_number_typed_coarser_than_the_display_is_as_wide_as_typed() -> None:
    """ "0.5 V" spans 0.45 to 0.55 V whatever the meter resolves; finer than it shows is no gain."""
    coarse = VOLT.independent_variance(0.5, 0.1) - VOLT.independent_variance(0.5)
    assert float(coarse) == pytest.approx((0.1**2 - 1e-6) / 12)
    assert VOLT.u(0.5, 1e-6) == VOLT.u(0.5)


def test_variance_keeps_the_shape_of_many_readings() -> None:
    """Arrays go in and out with one shape."""
    readings = np.array([[0.1, 1.0, 10.0], [0.0, 100.0, 500.0]])
    assert VOLT.variance(readings).shape == readings.shape
    assert float(VOLT.variance(readings)[0, 1]) == pytest.approx(VOLT.u(1.0) ** 2)


def test_display_rounds_and_overloads() -> None:
    """12.6349 V shows 12.63 V; above the top there is no number; a sign is kept."""
    shown = Meter("m", {"volt": VOLT}).show("volt", [12.6349, -0.05237, 601.0, -700.0, 600.4])
    np.testing.assert_allclose(shown.value, [12.63, -0.0524, 600.0, -600.0, 600.0], rtol=1e-12)
    assert shown.overload.tolist() == [False, False, True, True, False]


def test_a_full_count_above_the_top_of_the_last_range_is_an_overload() -> None:
    """The last digit that 40 Mohm in 4000 counts can show is 39.99 Mohm."""
    shown = Meter("m", {"ohm": OHM}).show("ohm", [39.99e6, 39.996e6, 1e9])
    assert shown.overload.tolist() == [False, True, True]


def test_the_hidden_gain_is_one_number_for_all_readings_of_a_function() -> None:
    """A meter that reads 0.4 % high does so at every reading, and within its statement."""
    meter = Meter("m", {"volt": VOLT})
    shown = meter.show("volt", [1.0, 10.0, 100.0], gain=0.004)
    np.testing.assert_allclose(shown.value, [1.004, 10.04, 100.4])
    gains = [meter.hidden_gains(np.random.default_rng(seed))["volt"] for seed in range(200)]
    assert max(map(abs, gains)) <= 0.005
    assert np.std(gains) == pytest.approx(VOLT.gain_sd, rel=0.15)


def test_what_a_display_shows_reads_back_as_typed_text() -> None:
    """A simulated display can be typed in again without loss."""
    shown = ORDINARY_METER.show("ohm", 3908.2)
    text = ORDINARY_METER.shown_text("ohm", float(shown.value), float(shown.step))
    assert text == "3.908 kohm"
    back = parse_quantity(text)
    assert (back.value, back.step) == (3908.0, 1.0)
    assert ORDINARY_METER.shown_text("ohm", 4e7, 1e4, overload=True) == "OL"
    assert ORDINARY_METER.shown_text("mV", 0.02, 1e-4) == "20.0 mV"


def test_an_overload_beside_a_unit_tells_the_range_left_on() -> None:
    """ "OL" alone is above the top; "OL ohm" and "OL kohm" are above those ranges only."""
    floors = [
        OHM.overload_floor(_overload(text)) for text in ("OL", "OL ohm", "OL kohm", "OL Mohm")
    ]
    assert floors == pytest.approx([40e6, 400.0, 400e3, 40e6])
    assert VOLT.overload_floor(_overload("OL mV")) == pytest.approx(0.4)
    assert ORDINARY["rpm"].overload_floor(_overload("OL rpm")) == 10e3


def _overload(text: str) -> Overload:
    found = parse_display(text)
    assert isinstance(found, Overload)
    return found


def test_lead_resistance_is_read_and_taken_off() -> None:
    """Both leads add to a resistance; after lead zero the gain acts on the difference only."""
    assert float(ohmmeter_shows(10.0, 0.4)) == 10.4
    ohms, u = without_leads(OHM, 10.4, 0.4)
    assert ohms == pytest.approx(10.0)
    independent = 2 * float(OHM.independent_variance(10.0))
    assert u == pytest.approx(math.sqrt(independent + (OHM.gain_sd * 10.0) ** 2))


def test_loading_goes_to_nothing_on_an_open_and_is_undone_on_the_rest() -> None:
    """Through 1e15 ohm a voltmeter shows nothing; a known source resistance can be taken off."""
    assert float(voltmeter_shows(12.0, 1e15, 10e6)) < 1e-6
    assert float(voltmeter_shows(12.0, math.inf, 10e6)) == 0.0
    assert float(unloaded_volts(voltmeter_shows(5.0, 1e5, 10e6), 1e5, 10e6)) == pytest.approx(5.0)


def test_ohms_on_a_live_circuit_are_refused_with_the_reason() -> None:
    """The volts between the leads are named; a dead circuit passes."""
    assert why_ohms_invalid(0.0) == ""
    assert why_ohms_invalid(-0.0005) == ""
    assert "live (-12 V between the leads)" in why_ohms_invalid(-12.0)
    assert "key off" in why_ohms_invalid(0.02)


def test_a_meter_without_the_function_says_so() -> None:
    """An instrument that cannot read kPa is not guessed at."""
    with pytest.raises(BadInput, match="meter m cannot read kPa"):
        Meter("m", {"volt": VOLT}, stated=True).function("kPa")
    assert ORDINARY_METER.function("mV") is ORDINARY["volt"]
    assert in_base_unit("mV", 20.0) == 0.02
    assert in_base_unit("kPa", 60.0) == 60.0


def test_the_ordinary_meter_reads_everything_a_check_can_ask() -> None:
    """Every number a check reads has an ordinary instrument, named as such."""
    for read in UNIT_OF_READ:
        assert ORDINARY_METER.function(read).top > 0.0
    assert ORDINARY_METER.says == "a stated ordinary meter"


@pytest.mark.parametrize(
    "figures",
    [
        {"percent": -1.0},
        {"counts": math.nan},
        {"resolution": 0.0},
        {"top": math.inf},
        {"top": 1e-5},
        {"input_ohm": 0.0},
        {"full_count": 10},
    ],
)
def test_impossible_figures_make_no_function(figures: dict[str, float]) -> None:
    """Negative, missing or contradictory figures are refused."""
    good = {"percent": 0.5, "counts": 3.0, "resolution": 1e-3, "top": 600.0}
    with pytest.raises(BadInput):
        MeterFunction(**{**good, **figures})  # type: ignore[arg-type]


def test_a_stated_meter_takes_the_rest_from_the_ordinary_one() -> None:
    """What is stated holds; what is left out is the ordinary meter's."""
    stated = {
        "id": "m1",
        "volt": {"percent": 0.8, "counts": 5, "resolution": "1 mV", "input_ohm": "1 Mohm"},
        "ohm": {"lead_ohm": 0},
    }
    meter = meter_from_mapping(stated)
    assert meter.says == "meter m1"
    assert meter.function("volt") == MeterFunction(0.8, 5, 1e-3, 600.0, 4000, 1e6)
    assert meter.function("ohm").lead_ohm == 0.0
    assert meter.function("rpm") is ORDINARY["rpm"]


def test_every_problem_of_a_stated_meter_is_reported_at_once_with_its_place() -> None:
    """Missing id, unknown names, wrong kinds, units and sizes: one problem each, none hidden."""
    stated = {
        "volts": {},
        "volt": {"percent": -1, "count": 3, "resolution": "1 ohm", "input_ohm": True},
        "ohm": {"percent": "1", "full_count": 4000.5, "input_ohm": 1e7, "lead_ohm": -1},
        "rpm": {"top": 10**400, "resolution": "1 rpm"},
        "volt_ac": {"input_ohm": 10**400},
        "amp": 3,
        "mm": {"resolution": "1 m", "top": "1 mm"},
    }
    with pytest.raises(BadInput) as caught:
        meter_from_mapping(stated, lambda key: Where("job.toml", 9, f"meter.{key}"))
    problems = caught.value.problems
    assert {p.key for p in problems} == {
        "meter.id", "meter.volts", "meter.volt.percent", "meter.volt.count",
        "meter.volt.resolution", "meter.volt.input_ohm", "meter.ohm.percent",
        "meter.ohm.full_count", "meter.ohm.input_ohm", "meter.ohm.lead_ohm", "meter.rpm.top",
        "meter.amp", "meter.mm", "meter.volt_ac.input_ohm",
    }  # fmt: skip
    assert len(problems) == 14
    assert all(p.file == "job.toml" and p.line == 9 for p in problems)
    remedies = {p.key: p.remedy for p in problems}
    assert remedies["meter.volts"] == 'did you mean "volt"?'
    assert remedies["meter.volt.count"] == 'did you mean "counts"?'
