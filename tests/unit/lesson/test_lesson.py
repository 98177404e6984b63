"""A lesson step by step: what is done, what is refused, and how it ends."""

from __future__ import annotations

import pytest

from idlewright.errors import BadInput
from idlewright.lesson.lesson import Lesson
from idlewright.lesson.looks import LISTS, brief, listing, look
from idlewright.lesson.opening import Opening

FAMILY = "plunger-carburettor"


def lesson(kind: str = "stop-screw", number: int = 3) -> Lesson:
    """A lesson just begun."""
    return Lesson.begin(Opening.of(FAMILY, number, kind))


def test_a_check_gets_the_car_ready_and_costs() -> None:
    """State, caution, value with what the book asks, and minutes with the set-up in them."""
    told = lesson().do("read tps.track.ohm")
    text = " ".join(told.says)
    assert "tps.sensor unplugged" in text and "key and accessories off" in text
    assert "Asked: 4 to 6 kohm" in text
    assert told.minutes > 2.0 and not told.refused


def test_what_would_damage_is_refused_for_safety() -> None:
    """A plug with the key on, ohms on a live circuit: not done, nothing spent, state as it was."""
    one = lesson()
    one.do("turn key on")
    spent, state = one.car.spent.hands_on, dict(one.car.state)
    for line in ("turn tps.sensor unplugged", "read tps.ref.sensor tps.gnd.sensor ohm key=on"):
        told = one.do(line)
        assert (told.refused, told.minutes) == ("safety", 0.0)
        assert told.says[0].startswith("Not done: ")
    assert (one.car.spent.hands_on, dict(one.car.state)) == (spent, state)
    assert one.data()["reading"] == []


def test_what_cannot_be_is_refused_as_impossible() -> None:
    """A state that needs another first, without a danger in it."""
    told = lesson().do("turn engine hot")
    assert told.refused == "impossible" and "key run first" in told.says[0]


@pytest.mark.parametrize("line", ["turn plunger out", "turn gear drive"])
def test_what_only_lacks_power_is_no_danger(line: str) -> None:
    """With the key off it does nothing and hurts nobody: not held against the learner."""
    told = lesson().do(line)
    assert told.refused == "impossible" and "first" in told.says[0]


def test_power_on_a_plugged_motor_is_a_danger() -> None:
    """Battery volts at the motor's pins while the computer still drives them."""
    assert lesson().do("turn bench car").refused == "safety"


def test_no_repair_at_an_engine_that_runs() -> None:
    """The key goes off first, unless the repair is made with the engine running."""
    one = lesson()
    one.do("turn key run")
    one.do("repair battery.alternator")
    assert one.car.state["key"] == "off"
    one.do("repair idle.stop.set")
    assert one.car.state["key"] == "run"


def test_a_reading_between_places_keeps_the_state_it_was_taken_in() -> None:
    """What is turned later does not change what was read."""
    one = lesson()
    one.do("read tps.ref.sensor tps.gnd.sensor ohm")
    before = dict(one.data()["reading"][0]["state"])
    one.do("turn key run")
    assert before["key"] == "off" and one.data()["reading"][0]["state"] == before


def test_nothing_leaves_or_is_proved_with_a_plug_off() -> None:
    """Out of order until everything is back."""
    one = lesson()
    one.do("turn tps.sensor unplugged")
    for line in ("prove 2", "leave", "stop"):
        told = one.do(line)
        assert told.refused == "order" and "tps.sensor" in told.says[0]
    assert one.ending is None
    one.do("turn tps.sensor plugged")
    assert one.do("stop had enough").refused == ""
    assert one.ending == "sent on"


def test_a_line_that_is_no_step_changes_nothing() -> None:
    """A check, repair, place, state or reading that is not there: bad input, and no step."""
    one = lesson()
    for line in (
        "read tps.signl", "repair all", "read a b volt", "turn key sideways", "turn kez on",
        "strike r1 why", "read tps.ref.sensor tps.gnd.sensor amp", "read a b", "prove 0",
        "read tps.ref.sensor tps.ref.sensor volt",
    ):  # fmt: skip
        with pytest.raises(BadInput):
            one.do(line)
    assert one.told == [] and one.car.spent.hands_on == 0.0


def test_proven_is_every_try_since_the_last_repair_clean() -> None:
    """The right repair and clean tries are a proof; the wrong repair and a bad try are none."""
    one = lesson()
    assert one.do("prove 3").says[-1] == "It showed in 3 of 3 tries."
    assert one.tried_before == (False, False, False)
    one.do("repair ect.replace")
    one.do("prove 3")
    assert not one.proven
    one.do("repair idle.stop.set")
    assert not one.proven
    one.do("prove 4")
    assert one.proven
    one.do("leave")
    assert one.ending == "proven" and one.car.faults == ()


def test_a_reading_is_struck_with_its_reason() -> None:
    """It stays, does not count, and cannot be struck twice."""
    one = lesson()
    one.do("read tps.signal.closed")
    one.do("strike r1 the leads were swapped")
    assert one.data()["reading"][0]["struck"] == "the leads were swapped"
    with pytest.raises(BadInput, match="struck already"):
        one.do("strike r1 again")


def test_what_can_be_looked_at() -> None:
    """The complaint without the fault, the car now, and every list with a text in it."""
    one = lesson()
    assert brief(one)["words"] and "stop_in" not in str(brief(one))
    one.do("read tps.signal.closed")
    assert look(one)["readings"][0]["id"] == "r1" and look(one)["state"] == {"key": "on"}
    for what in LISTS:
        assert listing(one, what, "")
    assert [row[0] for row in listing(one, "checks", "stop screw")] == ["idle.stop.look"]
    with pytest.raises(BadInput, match='did you mean "checks"'):
        listing(one, "check", "")
