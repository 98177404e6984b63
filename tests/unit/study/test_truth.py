"""`study truth`: simulated cars, counted honestly."""

import json

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from idlewright.errors import BadInput
from idlewright.family import load_family
from idlewright.family.kinds import Sheet
from idlewright.job.prepared import prepare
from idlewright.practice import open_car
from idlewright.schemas import schema
from idlewright.study.rows import Helpers
from idlewright.study.truth import FALSE_ALARM, WORLDS, places_of, simulate, summary, truth
from idlewright.study.truth_car import World, _reacting, row_of

TINY = """
format = 1
id = "tiny"
say = "one throttle sensor on three wires"
[sheet]
reference_v = { say = "reference", unit = "V", usual = [4.8, 5.2] }
[state]
key = { is = ["off", "on"], minutes = 0.2 }
throttle = { is = ["closed", "wide"], minutes = 0.1 }
sensor = { is = ["plugged", "unplugged"], minutes = 1.5, needs = { key = "off" } }
computer = { is = ["plugged", "unplugged"], minutes = 12.0, needs = { key = "off" } }
[circuit]
zero = "chassis"
reference = { source = ["ref.c", "gnd.c"], volt = "sheet.reference_v", ohm = 1.0, live = { key = "on", computer = "plugged" } }
ref = { wire = ["ref.c", "ref.s"], ohm = 0.06, within = 0.6, through = ["computer", "sensor"] }
sig = { wire = ["sig.c", "sig.s"], ohm = 0.06, within = 0.6, through = ["computer", "sensor"], input_ohm = 1e6 }
gnd = { wire = ["gnd.c", "gnd.s"], ohm = 0.06, within = 0.6, through = ["computer", "sensor"], ends_at = "chassis" }
track = { slider = ["ref.s", "sig.s", "gnd.s"], ohm = 5000, within = 0.2, at = { closed = 0.10, wide = 0.90 }, contact_ohm = 50 }
[fault]
"set_high" = { say = "Set too high", shift = { "track.at.closed" = [0.02, 0.10], "track.at.wide" = [0.01, 0.05] }, weight = 4 }
"drifted" = { say = "Track drifted", times = { "track.ohm" = [1.35, 2.2] }, weight = 1 }
[check]
"closed" = { say = "closed", do = "Read it", read = "volt", red = "sig.sensor", black = "gnd.sensor", in = { key = "on" }, minutes = 1 }
"closed.ground" = { say = "closed to ground", do = "Read it", read = "volt", red = "sig.sensor", black = "chassis", in = { key = "on" }, minutes = 1 }
"wide" = { say = "wide", do = "Read it", read = "volt", red = "sig.sensor", black = "gnd.sensor", in = { key = "on", throttle = "wide" }, minutes = 1 }
"reference" = { say = "reference", do = "Read it", read = "volt", red = "ref.sensor", black = "gnd.sensor", in = { key = "on" }, minutes = 1 }
"track" = { say = "track", do = "Read it", read = "ohm", red = "ref.sensor.part", black = "gnd.sensor.part", in = { key = "off", sensor = "unplugged" }, minutes = 2 }
"joint" = { say = "joint", do = "Read it", read = "volt", red = "gnd.sensor.part", black = "gnd.sensor", in = { key = "on" }, minutes = 1 }
"pins" = { say = "look at the pins", do = "Look", read = "word", words = ["clean", "green"], shows = { "green" = { "gnd.sensor.poor" = 0.6, "ref.sensor.poor" = 0.6 } }, in = { key = "off", sensor = "unplugged" }, minutes = 2 }
[repair]
"set" = { say = "set the sensor", do = "Set it", cures = { "set_high" = 0.95 }, minutes = 15, in = { key = "on" }, prove = ["closed"] }
"sensor" = { say = "new sensor", do = "Replace it", cures = { "drifted" = 0.97, "set_high" = 0.9 }, renews = ["track"], minutes = 35, parts = [40, 90], in = { key = "off" }, prove = ["closed"] }
"""  # noqa: E501


@pytest.fixture(scope="module")
def tiny(tmp_path_factory):
    """The tiny family's file, and what is prepared of it."""
    path = tmp_path_factory.mktemp("family") / "tiny.toml"
    path.write_text(TINY, encoding="utf-8")
    sheet = Sheet("unknown", "", {})
    return str(path), prepare(load_family(path), sheet), sheet


def rows_of(tiny, world, cars, start=0):
    """Rows of some cars in one world."""
    source, prepared, sheet = tiny
    return [row_of(source, prepared, sheet, world, seed) for seed in range(start, start + cars)]


def test_the_answer_is_the_same_for_any_number_of_workers(tiny):
    """One process, and two spawned ones: the same bytes."""
    worlds = [World("wide"), World("slips", slip=0.3)]
    one = simulate(tiny[0], 5, 3, worlds=worlds)
    two = simulate(tiny[0], 5, 3, worlds=worlds, helpers=Helpers(2))
    assert json.dumps(one) == json.dumps(two)
    assert [row["car"] for row in one["slips"]] == [3, 4, 5, 6, 7]


def test_where_all_is_as_believed_the_odds_are_right(tiny):
    """Cars by the diagnosis' own law: severities even, 90 % ranges cover 90 %, odds true."""
    world = World("as believed", "matched")
    rows = rows_of(tiny, world, 150)
    found = summary(world, rows)
    assert not found["places"]["alarm"], found["places"]
    cover = found["places"]["cover"]
    assert cover["low"] <= 0.9 <= cover["high"]
    # The leader is right as often as it says, within three standard errors.
    p = np.array([row["p_leader"] for row in rows])
    right = np.array([row["right"] for row in rows])
    assert abs(p.mean() - right.mean()) < 3 * np.sqrt((p * (1 - p)).mean() / len(rows))
    assert found["sure"]["n"] > 5 and found["sure"]["wrong"] <= 1


def test_gross_slips_are_counted_and_mostly_called(tiny):
    """One reading in five is a slip: many are called, and clean readings are left alone."""
    world = World("slips", "matched", slip=0.2)
    found = summary(world, rows_of(tiny, world, 18, start=100))["slips"]
    assert found["gross"] >= 8
    assert found["called"]["k"] / found["gross"] > 0.3
    assert found["named"]["k"] <= found["called"]["k"]
    assert found["false_calls"]["k"] / found["false_calls"]["n"] < 0.05


def test_aimed_checks_are_those_that_the_fault_changes(tiny):
    """A sensor set too high shows in the closed volts, not in a joint; aimed cars see it better."""
    source, prepared, sheet = tiny
    car = open_car("", 3, "matched", fault="set_high", model=prepared.model)
    aim = _reacting(car, prepared, car.hidden.faults[0])
    assert "closed" in aim and "joint" not in aim and "pins" not in aim
    rows = [row_of(source, prepared, sheet, World("a", "matched", aimed=True), k) for k in range(8)]
    assert all(4 <= len(row["checks"]) <= 12 for row in rows)


def test_of_several_faults_each_is_aimed_at_and_all_must_be_named(tiny):
    """Two lasting faults: twice the readings, a check of each, and a yes only if both are named."""
    source, prepared, sheet = tiny
    world = World("two", "matched", aimed=True, kind="two-faults")
    rows = [row_of(source, prepared, sheet, world, seed) for seed in range(12)]
    assert all(len(row["truth"]) == 2 and 8 <= len(row["checks"]) <= 24 for row in rows)
    lasting = [row["all_named"] for row in rows if not row["intermittent"]]
    assert lasting and None not in lasting and any(lasting)
    assert all(row["all_named"] is None for row in rows if row["intermittent"])
    assert summary(world, rows)["all_named"]["n"] == len(lasting)


def test_severities_beyond_the_stated_range_are_counted_apart(tiny):
    """Where nobody stated anything there is no place: such cars are counted, not judged."""
    world = World("wide")
    rows = rows_of(tiny, world, 10, start=20)
    assert all(row["place"] is None for row in rows if row["beyond"])
    found = summary(world, rows)["places"]
    assert found["beyond"] == sum(row["beyond"] for row in rows) > 0
    assert found["n"] <= 10 - found["beyond"]


def test_an_unlisted_fault_has_its_own_truth(tiny):
    """A car with a fault that no family names: right is only "something else"."""
    world = World("odd", unlisted=1.0)
    rows = rows_of(tiny, world, 6)
    found = summary(world, rows)
    assert all(row["truth"] == ["something-else"] for row in rows)
    assert found["unlisted"]["cars"] == 6
    assert all(row["right"] == (row["leader"] == ["something-else"]) for row in rows)
    assert found["places"]["n"] == 0 and found["places"]["distance"] is None


def test_a_study_is_as_published(tiny):
    """The document is as published, with finite numbers only and the cars asked for."""
    found = truth(tiny[0], 2, 1, worlds=WORLDS[:2])
    Draft202012Validator(schema("truth")).validate(found)
    text = json.dumps(found, allow_nan=False)
    assert json.loads(text)["format"] == "idlewright/truth/1"
    assert [one["world"]["name"] for one in found["worlds"]] == [
        "as believed",
        "as believed, aimed",
    ]
    assert all(one["cars"] == 2 for one in found["worlds"])
    with pytest.raises(BadInput, match="at least one car"):
        truth(tiny[0], 0, 1)


def test_even_places_seldom_raise_the_alarm():
    """On even places the alarm goes off in about one study of a hundred, as stated."""
    rng = np.random.default_rng(8)
    alarms = sum(places_of(rng.random(60))["alarm"] for _ in range(2000))
    assert FALSE_ALARM == 0.01
    assert 5 <= alarms <= 38


def test_places_that_crowd_raise_the_alarm():
    """Stated too narrow (places crowd at both ends) or shifted: found with 300 cars."""
    rng = np.random.default_rng(8)
    narrow = rng.beta(0.5, 0.5, 300)
    shifted = rng.beta(1.8, 1.0, 300)
    assert places_of(narrow)["alarm"] and places_of(shifted)["alarm"]
    assert places_of(narrow)["cover"]["high"] < 0.9
    exact = places_of([0.05, 0.5, 0.95, 0.99])
    assert exact["cover"]["k"] == 3 and exact["tenths"][5] == 1
