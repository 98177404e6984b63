"""What must leave the odds alone: order, names, a wire in two pieces, units, file format."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from idlewright.diagnosis.factors import Noise, Seen, number_alternatives, word_alternatives
from idlewright.diagnosis.world import Renewal, Time, Timeline
from idlewright.family.kinds import Family, Resistor
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_between, form_of_check
from oracle.study import ONCE, bank_odds, prior
from small_car import empty_sheet, small_family

NOISE = Noise(gain=0.0029, own=0.0017, step=0.001, top=600.0, meter="m:volt")
TIMELINE = Timeline(
    (Time(0), Time(0), Time(1)), (Renewal({"gnd.poor": 0.97, "pin.loose": 0.9}, (4,)),)
)

Reading = tuple[str, float | str, int]
"""(check, number or word, stretch)."""

READINGS = st.lists(
    st.one_of(
        st.tuples(st.just("closed"), st.floats(0.40, 0.95), st.integers(0, 2)),
        st.tuples(st.just("wide"), st.floats(4.0, 4.9), st.integers(0, 2)),
        st.tuples(st.just("reference"), st.floats(4.0, 5.2), st.integers(0, 2)),
        st.tuples(st.just("ground"), st.floats(0.0, 0.6), st.integers(0, 2)),
        st.tuples(st.just("coolant"), st.floats(0.8, 1.5), st.integers(0, 2)),
        st.tuples(st.just("feel"), st.sampled_from(["as set", "high", "low"]), st.integers(0, 2)),
        st.tuples(st.just("look"), st.just("green"), st.integers(0, 2)),
    ),
    min_size=1,
    max_size=6,
)


@cache
def model() -> CompiledModel:
    """The small car."""
    return compile_model(small_family(), empty_sheet())


def seen_of(family: Family, reading: Reading) -> Seen:
    """A reading as evidence."""
    check, answer, stretch = reading
    form = form_of_check(family, family.checks[check], 1e7)
    if isinstance(answer, float):
        ways = number_alternatives(form, round(answer, 3), NOISE)
        return Seen(check, ways, 0, stretch, what=check)
    if answer in form.words:
        return Seen(check, word_alternatives(form, answer), 0, stretch, what=check)
    return Seen(check, (), 0, stretch, odds=form.odds[answer], base=0.02, what=check)


def odds(car: CompiledModel, readings: list[Reading], timeline: Timeline = TIMELINE) -> np.ndarray:
    """Odds of every fault, good car last."""
    seen = [seen_of(car.family, r) for r in readings]
    return bank_odds(car, prior(car), seen, [stretch for _, _, stretch in readings], timeline)


@settings(max_examples=40)
@given(READINGS)
def test_odds_are_odds(readings):
    """Whatever was read: finite, none below zero, sum one."""
    got = odds(model(), readings)
    assert np.isfinite(got).all()
    assert got.min() >= 0.0
    assert got.sum() == pytest.approx(1.0, abs=1e-9)


@settings(max_examples=30)
@given(READINGS, st.randoms(use_true_random=False))
def test_order_of_entry_does_not_matter(readings, random):
    """Any permutation of the readings: the same odds to 1e-9."""
    mixed = list(readings)
    random.shuffle(mixed)
    np.testing.assert_allclose(odds(model(), mixed), odds(model(), readings), atol=1e-9)


@settings(max_examples=20)
@given(READINGS, READINGS)
def test_what_was_weighed_before_leaves_no_trace(kept, struck):
    """Weighing more readings, then fewer again, gives what the fewer gave: bit for bit."""
    first = odds(model(), kept)
    odds(model(), kept + struck)
    np.testing.assert_array_equal(odds(model(), kept), first)


@settings(max_examples=25)
@given(READINGS)
def test_a_look_or_word_repeated_in_one_stretch_changes_nothing(readings):
    """Entering every word again leaves the odds alone."""
    words = [r for r in readings if isinstance(r[1], str)]
    np.testing.assert_allclose(
        odds(model(), readings + words), odds(model(), readings), atol=1e-9
    )


def renamed(value: Any, names: Mapping[str, str]) -> Any:
    """A record with every text that is a name replaced."""
    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, tuple):
        return tuple(renamed(v, names) for v in value)
    if isinstance(value, Mapping):
        return {renamed(k, names): renamed(v, names) for k, v in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return replace(
            value, **{f.name: renamed(getattr(value, f.name), names) for f in fields(value)}
        )
    return value


def other_names(family: Family, seed: int) -> dict[str, str]:
    """New names for nodes, scalars and resistors, in another alphabetical order."""
    nodes = {n for r in family.resistors.values() for n in (r.a, r.b)}
    nodes |= {n for s in family.sources.values() for n in (s.plus, s.minus)}
    old = sorted({*nodes, *family.scalars, *family.resistors, *family.sources} - {*family.checks})
    order = np.random.default_rng(seed).permutation(len(old))
    return {name: f"n{k}" for name, k in zip(old, order, strict=True)}


@settings(max_examples=8)
@given(READINGS, st.integers(0, 1000))
def test_names_of_places_and_parts_do_not_matter(readings, seed):
    """Every node, scalar and element renamed: odds the same to 1e-9."""
    family = small_family()
    other = renamed(family, other_names(family, seed))
    car = compile_model(other, empty_sheet())
    np.testing.assert_allclose(odds(car, readings), odds(model(), readings), atol=1e-9)


@cache
def cut_wire() -> tuple[CompiledModel, CompiledModel]:
    """The small car with an exact signal wire, whole and in two pieces of half the ohms."""
    family = small_family()
    exact = replace(family.scalars["sig.ohm"], within=0.0)
    whole = replace(family, scalars={**family.scalars, "sig.ohm": exact})
    piece = replace(exact, value=replace(exact.value, number=0.05))
    cut = replace(
        family,
        scalars={**family.scalars, "sig.ohm": piece, "sig2.ohm": replace(piece, id="sig2.ohm")},
        resistors={
            **family.resistors,
            "sig": Resistor("sig", "sig.c", "sig.m", "sig.ohm"),
            "sig2": Resistor("sig2", "sig.m", "sig.s", "sig2.ohm"),
        },
    )
    return compile_model(whole, empty_sheet()), compile_model(cut, empty_sheet())


@settings(max_examples=15)
@given(READINGS)
def test_a_wire_in_two_pieces_is_the_same_wire(readings):
    """Half the ohms in each of two exact pieces: odds the same to 1e-9."""
    whole, cut = cut_wire()
    np.testing.assert_allclose(odds(cut, readings), odds(whole, readings), atol=1e-9)


@settings(max_examples=15)
@given(st.floats(0.0, 0.6), READINGS)
def test_an_unused_wire_changes_nothing(value, readings):
    """A resistor between two places nobody reads: odds the same to 1e-9."""
    family = small_family()
    spare = {**family.resistors, "spare": Resistor("spare", "x", "y", "coolant.ohm")}
    car = compile_model(replace(family, resistors=spare), empty_sheet())
    more = [*readings, ("ground", value, 0)]
    np.testing.assert_allclose(odds(car, more), odds(model(), more), atol=1e-9)


def test_the_order_of_records_in_the_family_does_not_matter():
    """Scalars, resistors and faults listed backwards: the same odds, each with its own fault."""
    family = small_family()
    back = {
        name: dict(reversed(list(getattr(family, name).items())))
        for name in ("scalars", "resistors", "faults", "checks")
    }
    car = compile_model(replace(family, **back), empty_sheet())
    timeline = Timeline((Time(0),) * 3, ())
    readings: list[Reading] = [("closed", 0.66, 0), ("reference", 4.9, 1), ("feel", "high", 2)]
    forward, backward = odds(model(), readings, timeline), odds(car, readings, timeline)
    np.testing.assert_allclose(backward[:-1][::-1], forward[:-1], atol=1e-9)


@settings(max_examples=20)
@given(st.floats(0.004, 0.5))
def test_swapped_leads_show_the_negative(value):
    """Red and black exchanged and the sign turned: the same evidence."""
    family = small_family()
    on = {"key": "on", "throttle": "closed"}
    ways = [
        number_alternatives(form_between(family, red, black, "volt", on, 1e7), sign * value, NOISE)
        for red, black, sign in (("gnd.s", "zero", 1.0), ("zero", "gnd.s", -1.0))
    ]
    first, second = (
        bank_odds(model(), prior(model()), [Seen("r", way, 0, 0)], [0], ONCE) for way in ways
    )
    np.testing.assert_allclose(second, first, atol=1e-9)


ROOT = Path(__file__).parents[2]
SHEET = ROOT / "examples" / "invented-saloon.sheet.toml"


@cache
def shipped() -> Family:
    """The shipped family."""
    from idlewright.family.load import load_family

    return load_family("plunger-carburettor")


def test_a_sheet_in_json_is_the_same_sheet(tmp_path):
    """The same values from TOML and from JSON: equal nominals, spreads and variants."""
    from idlewright.family.sheet import load_sheet
    from idlewright.model.scalars import resolve_scalars

    as_json = tmp_path / "same.sheet.json"
    as_json.write_text(json.dumps(tomllib.loads(SHEET.read_text("utf-8"))), "utf-8")
    tables = [
        resolve_scalars(shipped(), load_sheet(path, shipped())) for path in (SHEET, as_json)
    ]
    np.testing.assert_array_equal(tables[0].nominal, tables[1].nominal)
    np.testing.assert_array_equal(tables[0].spread, tables[1].spread)
    assert tables[0].variants == tables[1].variants


JOB = """
format = 1
id = "same"
family = "plunger-carburettor"
vehicle = "invented"

[[reading]]
id = "r1"
check = "tps.signal.closed"
value = "{signal}"

[[reading]]
id = "r2"
red = "tps.gnd.sensor"
black = "battery.negative"
function = "volt"
state = {{ key = "on", throttle = "closed" }}
value = "{drop}"

[[reading]]
id = "r3"
check = "tps.track.ohm"
value = "{track}"
"""


def evidence_of(path: Path) -> np.ndarray:
    """Odds from a job file's readings."""
    from idlewright.job.case import case_of
    from idlewright.job.file import load_job

    job = load_job(path)
    car = compile_model(job.family, job.sheet)
    case = case_of(job, car)
    return bank_odds(car, prior(car), list(case.seen), list(case.times), case.timeline)


@pytest.mark.parametrize(
    "values",
    [
        {"signal": "520 mV", "drop": "20.0 mV", "track": "4.70 kohm"},
        {"signal": "0.520 V", "drop": "0.0200 V", "track": "4700 ohm"},
        {"signal": "0.000520 kV", "drop": "20.0 mV", "track": "0.00470 Mohm"},
    ],
)
def test_units_of_readings_do_not_matter(values, tmp_path):
    """Millivolts for volts, kilohms for ohms, the same last digit: the same odds to 1e-9."""
    plain = tmp_path / "plain.toml"
    plain.write_text(JOB.format(signal="0.520 V", drop="0.0200 V", track="4.70 kohm"), "utf-8")
    other = tmp_path / "other.toml"
    other.write_text(JOB.format(**values), "utf-8")
    np.testing.assert_allclose(evidence_of(other), evidence_of(plain), atol=1e-9)


def test_a_job_in_json_is_the_same_job(tmp_path):
    """The same job from TOML and from JSON: the same odds, bit for bit."""
    text = JOB.format(signal="0.520 V", drop="20 mV", track="4.7 kohm")
    as_toml, as_json = tmp_path / "job.toml", tmp_path / "job.json"
    as_toml.write_text(text, "utf-8")
    as_json.write_text(json.dumps(tomllib.loads(text)), "utf-8")
    np.testing.assert_array_equal(evidence_of(as_json), evidence_of(as_toml))
