"""What every check would read, on a good car and under every fault."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from idlewright import IdlewrightError, schema
from idlewright.family import load_family
from idlewright.family.kinds import Check, Resistor, Scalar, Sheet, SheetValue, Value
from idlewright.model.cells import place
from idlewright.model.compiled import compile_model
from idlewright.model.curves import POINTS, WEIGHTS, WIDTH
from idlewright.model.forms import form_of_check
from idlewright.model.latents import from_scale
from idlewright.model.predict import predict
from idlewright.physics.meter import ORDINARY_METER, Meter, MeterFunction
from idlewright.report.predict_text import predict_text
from small_car import empty_sheet, small_family


@pytest.fixture(scope="module")
def small():
    """The small car, compiled."""
    return compile_model(small_family(), empty_sheet())


@pytest.fixture(scope="module")
def shipped():
    """The shipped carburettor family, usual values, and its whole prediction."""
    model = compile_model(load_family("plunger-carburettor"), Sheet("", "0" * 64, {}))
    return model, predict(model)


def rows_of(answer, check):
    """Rows of one check by fault id, "" the good car."""
    found = next(c for c in answer["checks"] if c["check"] == check)
    return {"+".join(row["faults"]): row for row in found["rows"]}


def drawn(model, check, fault, count=40_000, seed=5):
    """Readings of one check without a meter, from random cars with exact physics, sorted."""
    rng = np.random.default_rng(seed)
    cells = model.cells
    ids = [f.id for f in cells.faults]
    number = ids.index(fault) if fault else -1
    own = np.flatnonzero((cells.fault == number) & (cells.centre >= 0) & (cells.centre <= 1))
    cell = own[rng.integers(len(own), size=count)]
    z = rng.standard_normal((count, model.columns))
    wide = 1.0 / max(len(own), 1)
    u = rng.uniform(-0.5, 0.5, count) * wide
    spread = cells.spread[cell]
    z[:, -1] = np.divide(u, spread, out=np.zeros(count), where=spread > 0)
    form = form_of_check(model.family, model.family.checks[check], 10e6)
    worlds = place(model.table, cells, cell, z).worlds
    x, _ = form.modes[0].number.evaluate(model.physics, worlds)
    return np.sort(from_scale(form.scale, x))


PERFECT = Meter(
    "perfect",
    {
        "volt": MeterFunction(0.0, 0, 1e-6, 600.0, input_ohm=10e6),
        "ohm": MeterFunction(0.0, 0, 1e-3, 40e6),
    },
)


def test_pieces_of_the_normal_law_add_up_to_it():
    """Seven narrow normal laws make the standard normal one: mass, variance and tails."""
    assert WEIGHTS.sum() == pytest.approx(1.0)
    assert pytest.approx(1.0, abs=0.02) == WEIGHTS @ (POINTS**2 + WIDTH**2)
    below = [WEIGHTS @ [0.5 * math.erfc((p - x) / WIDTH / math.sqrt(2)) for p in POINTS]
             for x in (-1.645, 0.0, 1.645)]  # fmt: skip
    assert below == pytest.approx([0.05, 0.5, 0.95], abs=0.003)


@pytest.mark.parametrize("check", ["closed", "wide", "reference", "ground", "coolant", "track"])
@pytest.mark.parametrize("fault", ["", "gnd.poor", "common.poor", "set_high", "ref.low"])
def test_ranges_are_those_of_random_cars(small, check, fault):
    """Read with a perfect meter, low and high leave 5 % of random exact cars on either side."""
    answer = predict(small, check=check, fault=fault or None, meter=PERFECT)
    row = rows_of(answer, check)[fault]
    cars = drawn(small, check, fault)
    for key, share in (("low", 0.05), ("median", 0.5), ("high", 0.95)):
        # A share where readings pile up is as good as the reading itself; either may be met.
        near = np.quantile(cars, share)
        width = np.quantile(cars, 0.95) - np.quantile(cars, 0.05)
        assert abs(row[key] - near) <= 0.06 * width + 1e-6, (key, row[key], near)


def test_a_real_meter_widens_the_range(small):
    """The meter's own uncertainty is in the range: an ordinary one reads wider than a perfect."""
    fine = rows_of(predict(small, "wide", meter=PERFECT), "wide")[""]
    usual = rows_of(predict(small, "wide"), "wide")[""]
    assert usual["high"] - usual["low"] > fine["high"] - fine["low"]
    assert usual["median"] == pytest.approx(fine["median"], rel=1e-3)


def test_the_good_car_stands_first_and_every_fault_once(shipped):
    """Each check has the good car's row, then one row a fault, in the family's order."""
    model, answer = shipped
    expected = [[], *([fault] for fault in model.family.faults)]
    assert [check["check"] for check in answer["checks"]] == list(model.family.checks)
    assert all([row["faults"] for row in check["rows"]] == expected for check in answer["checks"])


def test_the_answer_is_as_published(shipped):
    """It is a valid predict document, named by the family's content."""
    model, answer = shipped
    Draft202012Validator(schema("predict")).validate(answer)
    assert answer["made_by"]["family_sha256"] == model.family.sha256
    assert answer["made_by"]["sheet_sha256"] is None and answer["meter"] is None
    assert answer["level"] == 0.9


def test_words_add_up_and_ranges_are_in_order(shipped):
    """Odds of words sum to one; low <= median <= high; overload is a share."""
    for check in shipped[1]["checks"]:
        for row in check["rows"]:
            assert not row["words"] or sum(row["words"].values()) == pytest.approx(1.0)
            assert 0.0 <= row["overload"] <= 1.0
            if row["median"] is not None:
                assert row["low"] <= row["median"] <= row["high"]


def test_a_fault_elsewhere_reads_as_a_good_car(shipped):
    """A check that a fault cannot touch gives exactly the good car's row."""
    rows = rows_of(shipped[1], "tps.signal.closed")
    touched = {**rows["carb.pump_shot_weak"], "faults": []}
    assert touched == rows[""]


def test_good_cars_lie_inside_the_limits(shipped):
    """Where the family states fixed limits, the good car's range lies inside them."""
    outside = []
    for check in shipped[1]["checks"]:
        row, spec = check["rows"][0], check["spec"]
        if spec is None or row["median"] is None:
            continue
        low = -math.inf if spec["low"] is None else spec["low"]
        high = math.inf if spec["high"] is None else spec["high"]
        slack = 0.1 * (high - low) if math.isfinite(high - low) else 0.0
        if row["low"] < low - slack or row["high"] > high + slack:
            outside.append((check["check"], row["low"], row["high"], spec))
    assert outside == []


def test_open_circuit_is_overload_not_a_number(small):
    """An open track reads overload in nearly all cars: the share is said, no number."""
    family = small_family()
    opened = {**family.scalars, "track.ohm": Scalar("track.ohm", "log", Value(1e9), 0.0, "ohm")}
    model = compile_model(replace(family, scalars=opened), empty_sheet())
    row = rows_of(predict(model, "track"), "track")[""]
    assert row["overload"] == pytest.approx(1.0, abs=1e-6)
    assert row["low"] is row["median"] is row["high"] is None


def test_ohms_of_a_live_circuit_are_not_valid(small):
    """With the key on the track carries volts: the row says so and shows no ohms."""
    family = small_family()
    live = replace(family.checks["track"], id="track.live", state={"key": "on"})
    model = compile_model(replace(family, checks={**family.checks, live.id: live}), empty_sheet())
    answer = predict(model)
    row = rows_of(answer, "track.live")[""]
    assert row["valid"] is False and "live" in row["why_invalid"]
    assert row["low"] is row["median"] is row["high"] is None and row["words"] == {}
    assert rows_of(answer, "track")[""]["valid"] is True
    assert "not valid" in predict_text(answer)


def test_ohms_across_a_short_to_a_live_feed_are_not_valid(shipped):
    """A signal wire on a battery feed is live with the key off; a good one is not."""
    rows = rows_of(shipped[1], "tps.sig.to_chassis")
    assert rows["tps.sig.short.feed"]["valid"] is False
    assert rows[""]["valid"] is True and rows[""]["overload"] > 0.5


def test_volts_behind_insulation_do_not_make_ohms_invalid():
    """Volts through more ohms than the meter shows count for nothing: it reads overload."""
    family = small_family()
    leak = Resistor("leak", "ref.s", "live", "leak.ohm")
    scalars = {**family.scalars, "leak.ohm": Scalar("leak.ohm", "log", Value(1e9), 0.0, "ohm")}
    check = Check("far", "far", "Read", "ohm", {"key": "on"}, 1, red="live", black="zero")
    model = compile_model(
        replace(family, scalars=scalars, resistors={**family.resistors, "leak": leak},
                checks={"far": check}),
        empty_sheet(),
    )  # fmt: skip
    row = rows_of(predict(model), "far")[""]
    assert row["valid"] and row["overload"] > 0.999


def test_words_by_limits_and_by_odds(small):
    """A feeler word follows the setting; a look has its stated odds, stray words on others."""
    answer = predict(small)
    feel, look = rows_of(answer, "feel"), rows_of(answer, "look")
    assert max(feel[""]["words"], key=feel[""]["words"].get) == "as set"
    assert max(feel["set_high"]["words"], key=feel["set_high"]["words"].get) == "high"
    assert look["gnd.poor"]["words"]["green"] == pytest.approx(0.6)
    assert look["set_high"]["words"]["green"] == pytest.approx(0.02)


def test_a_number_with_words_shows_both(shipped):
    """The motor on a battery: turns or stands, and the volts meanwhile."""
    rows = rows_of(shipped[1], "isc.motor.nine")
    assert rows[""]["words"]["turns"] > 0.95 and rows[""]["median"] > 6
    assert rows["isc.winding_open"]["words"]["stands"] > 0.95


def test_limits_come_from_the_sheet_or_the_family():
    """Sheet limits with a sheet, none without; practice limits always; no words as numbers."""
    family = small_family()
    spec = replace(family.checks["wide"].spec or family.checks["closed"].spec, sheet="closed_v")
    closed = replace(family.checks["closed"], spec=spec)
    family = replace(family, checks={**family.checks, "closed": closed})
    given = Sheet("s", "1" * 64, {"closed_v": SheetValue(0.47, 0.57, None, "p. 3")})
    with_sheet = predict(compile_model(family, given), "closed")
    assert with_sheet["checks"][0]["spec"] == {"low": 0.47, "high": 0.57}
    assert with_sheet["made_by"]["sheet_sha256"] == "1" * 64
    assert predict(compile_model(family, empty_sheet()), "closed")["checks"][0]["spec"] is None
    assert predict(compile_model(family, given), "look")["checks"][0]["spec"] is None


def test_one_check_and_one_fault_can_be_asked(small):
    """`check` and `fault` narrow the answer; its rows are those of the whole."""
    whole = predict(small)
    part = predict(small, check="closed", fault="set_high")
    assert [c["check"] for c in part["checks"]] == ["closed"]
    rows = part["checks"][0]["rows"]
    assert [row["faults"] for row in rows] == [[], ["set_high"]]
    for row in rows:
        same = rows_of(whole, "closed")["+".join(row["faults"])]
        assert row["median"] == pytest.approx(same["median"], rel=1e-9)


@pytest.mark.parametrize(("key", "name"), [("check", "closd"), ("fault", "set_hi")])
def test_an_unknown_name_is_bad_input_that_names_the_nearest(small, key, name):
    """BadInput with what may have been meant; exit code 2."""
    with pytest.raises(IdlewrightError, match="did you mean") as caught:
        predict(small, **{key: name})
    assert caught.value.exit_code == 2


def test_a_named_meter_is_named(small):
    """The answer says which meter it is for; None is an ordinary one, and reads the same."""
    named = predict(small, "closed", meter=ORDINARY_METER)
    plain = predict(small, "closed")
    assert (named["meter"], plain["meter"]) == ("ordinary", None)
    assert named["checks"] == plain["checks"]


def test_unknown_input_bias_is_carried_as_both_worlds():
    """A sheet that does not say where the input is pulled: the range holds both worlds."""
    family = load_family("plunger-carburettor")

    def bias(word):
        sheet = Sheet("s", "1" * 64, {"signal_bias": SheetValue(None, None, word, "p. 1")})
        return predict(compile_model(family, sheet), "tps.signal.bias", "tps.ref.open")

    down, up, both = (bias(word)["checks"][0]["rows"][0] for word in ("down", "up", "unknown"))
    assert down["high"] < 1.0 and up["low"] > 4.0
    assert both["low"] < 1.0 and both["high"] > 4.0


def test_text_gathers_what_reads_like_a_good_car(shipped):
    """A table shows the faults that a check sees; the rest are counted in one line."""
    model, _ = shipped
    text = predict_text(predict(model, check="tps.gnd.joint"))
    assert "tps.gnd.sensor.poor" in text and "carb.pump_shot_weak" not in text
    assert "Reads like a good car under" in text
    assert max(map(len, text.splitlines())) <= 80


def test_text_of_one_fault_shows_only_the_checks_that_see_it(shipped):
    """Checks that do not see the fault are counted at the end."""
    model, _ = shipped
    text = predict_text(predict(model, fault="carb.pump_shot_weak"))
    assert "carb.pump.jets" in text and "tps.signal.closed" not in text
    assert "other checks do not see carb.pump_shot_weak." in " ".join(text.split())
