"""`study gaps`: faults no check shows, faults no check tells apart."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from jsonschema import Draft202012Validator

from idlewright import schema
from idlewright.family import load_family
from idlewright.family.kinds import Check, Fault, Sheet, Span, Word
from idlewright.family.shipped import known_files
from idlewright.model.compiled import compile_model
from idlewright.report.gaps_text import gaps_text
from idlewright.study.gaps import SEEN, gaps, is_silent, same_repair
from small_car import empty_sheet, small_family


def small_gaps(**changes):
    """Gaps of the small car with some of its faults or checks changed."""
    family = small_family()
    return gaps(compile_model(replace(family, **changes), empty_sheet()))


@pytest.fixture(scope="module", params=known_files("families"))
def shipped(request):
    """Gaps of each shipped family with the usual values."""
    family = load_family(request.param)
    return family, gaps(compile_model(family, Sheet("", "0" * 64, {})))


def by_fault(found):
    """Fault entries by id."""
    return {entry["fault"]: entry for entry in found["faults"]}


def pair_of(found, a, b):
    """The entry of two faults."""
    return next(pair for pair in found["pairs"] if {pair["a"], pair["b"]} == {a, b})


def test_every_shipped_fault_is_seen_or_declared(shipped):
    """No fault of a shipped family is silent without its file saying so."""
    _, found = shipped
    assert not is_silent(found), [f["fault"] for f in found["faults"] if f["silent"]]


def test_nothing_declared_silent_is_seen(shipped):
    """A fault declared silent that a check does show would be a wrong declaration."""
    _, found = shipped
    assert [f["fault"] for f in found["faults"] if f["declared"] and not f["silent"]] == []


def test_shipped_faults_not_told_apart_share_a_repair(shipped):
    """Two faults that no check tells apart cost nothing only if one repair cures both."""
    _, found = shipped
    apart = [p for p in found["pairs"] if not p["told_apart"] and not p["same_repair"]]
    assert [(p["a"], p["b"]) for p in apart] == []


def test_every_pair_stands_once(shipped):
    """F faults make F (F - 1) / 2 pairs, each with two different faults, none twice."""
    family, found = shipped
    count = len(family.faults)
    pairs = {frozenset((p["a"], p["b"])) for p in found["pairs"]}
    assert len(found["pairs"]) == len(pairs) == count * (count - 1) // 2
    assert all(len(pair) == 2 for pair in pairs)


def test_the_answer_is_as_published(shipped):
    """It is a valid gaps document."""
    Draft202012Validator(schema("gaps")).validate(shipped[1])


def test_the_best_check_of_a_plain_fault_is_the_one_at_its_place():
    """A poor sensor ground is seen best at the ground; a setting where the throttle is read."""
    found = by_fault(small_gaps())
    assert found["gnd.poor"]["check"] == "ground"
    assert found["set_high"]["check"] in ("closed", "feel")
    assert found["gnd.poor"]["sigma"] > SEEN


def test_a_fault_that_changes_nothing_read_is_silent():
    """A fault on a scalar that no check sees has no check and no distance."""
    family = small_family()
    hidden = Fault(
        "input.high", "Input resistance too high", (Span("set", "input.ohm", 2e6, 3e6),), 1
    )
    faults = {**family.faults, hidden.id: hidden}
    found = small_gaps(faults=faults)
    entry = by_fault(found)["input.high"]
    assert entry["silent"] and entry["sigma"] < 0.5
    assert is_silent(found)
    assert "SEEN BY NO CHECK" in gaps_text(found)


def test_declared_silence_is_not_a_fault_of_the_family():
    """`silent` in the family's file says why; it is shown and no longer counts."""
    family = small_family()
    hidden = Fault(
        "input.high", "Input too high", (Span("set", "input.ohm", 2e6, 3e6),), 1, silent="harmless"
    )
    found = small_gaps(faults={**family.faults, hidden.id: hidden})
    assert by_fault(found)["input.high"]["silent"]
    assert not is_silent(found)
    assert "declared: harmless" in gaps_text(found)


def test_equal_faults_are_not_told_apart_and_their_repair_is_compared():
    """Two faults of one scalar and range have no distance; same repair or not is said."""
    family = small_family()
    twin = replace(family.faults["gnd.poor"], id="gnd.twin")
    look = replace(family.checks["look"], words=(Word("clean"), Word("green")))
    checks = {**family.checks, "look": look}
    found = small_gaps(faults={**family.faults, "gnd.twin": twin}, checks=checks)
    pair = pair_of(found, "gnd.poor", "gnd.twin")
    assert pair["sigma"] < 1e-6 and not pair["told_apart"] and not pair["same_repair"]
    assert " gnd.poor and gnd.twin: no check" in gaps_text(found)


def test_a_narrow_fault_inside_a_wide_one_is_not_told_apart():
    """The worst severity of the other is assumed: a fault within another's range hides in it."""
    family = small_family()
    narrow = Fault("gnd.some", "Some resistance", (Span("set", "gnd.ohm", 900, 1100),), 1)
    checks = {k: c for k, c in family.checks.items() if k != "look"}
    found = small_gaps(faults={**family.faults, narrow.id: narrow}, checks=checks)
    assert pair_of(found, "gnd.poor", "gnd.some")["sigma"] < SEEN


def test_words_count_by_their_odds():
    """One look with odds p under the fault and q on a good car: sqrt(2 x relative entropy)."""
    p, q = 0.6, 0.02
    look = Check("look", "look", "Look", "word", {}, 1, false_word=q,
                 words=(Word("clean"), Word("green", odds={"gnd.poor": p})))  # fmt: skip
    found = by_fault(small_gaps(checks={"look": look}))
    entropy = p * math.log(p / q) + (1 - p) * math.log((1 - p) / (1 - q))
    assert found["gnd.poor"]["sigma"] == pytest.approx(math.sqrt(2 * entropy), abs=1e-3)
    assert found["ref.poor"]["sigma"] == 0.0


def test_a_coarse_meter_sees_less():
    """The distance is in standard deviations of tolerances and meter: noise makes it smaller."""
    family = small_family()
    checks = {"closed": replace(family.checks["closed"], noise=0.2)}
    fine = by_fault(small_gaps(checks={"closed": family.checks["closed"]}))["set_high"]["sigma"]
    coarse = by_fault(small_gaps(checks=checks))["set_high"]["sigma"]
    assert coarse < 0.3 * fine


def test_same_repair_asks_for_one_that_suits_both():
    """One repair must cure both nearly as well as their best ones."""
    family = small_family()
    assert same_repair(family, "set_high", "set_low")
    assert same_repair(family, "gnd.poor", "pin.loose")
    assert not same_repair(family, "gnd.poor", "ref.poor")


def test_text_is_plain_and_narrow(shipped):
    """Every line fits 80 columns; the head counts faults and pairs."""
    text = gaps_text(shipped[1])
    assert max(map(len, text.splitlines())) <= 80
    assert f"{len(shipped[1]['faults'])} of {len(shipped[1]['faults'])} faults are seen" in text
