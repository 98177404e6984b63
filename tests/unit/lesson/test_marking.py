"""Marks: what was wasted as things stood, order and safety; luck neither helps nor hurts."""

from __future__ import annotations

from typing import Any

import pytest
from jsonschema import Draft202012Validator

from idlewright.lesson.lesson import Lesson
from idlewright.lesson.marking import marks_of
from idlewright.lesson.opening import Opening
from idlewright.report.lesson_text import marks_text
from idlewright.schemas import schema

FAMILY = "plunger-carburettor"


def worked(lines: list[str], opening: Opening) -> Lesson:
    """A lesson with these steps taken."""
    lesson = Lesson.begin(opening)
    for line in lines:
        lesson.do(line)
    return lesson


@pytest.fixture(scope="module")
def clumsy() -> dict[str, Any]:
    """Marks of a learner who unplugs early, guesses a part, and reads nothing again."""
    lines = [
        "turn key on", "turn tps.sensor unplugged", "read tps.track.ohm", "read tps.signal.closed",
        "read tps.signal.closed", "repair ect.replace", "prove 3", "repair idle.stop.set",
        "prove 5", "leave",
    ]  # fmt: skip
    return marks_of(worked(lines, Opening.of(FAMILY, 3, "stop-screw")), "Anna")


def test_they_are_as_published(clumsy: dict[str, Any]) -> None:
    """The document is valid, and its text fits 80 columns and names every part."""
    Draft202012Validator(schema("practice")).validate(clumsy)
    text = marks_text(clumsy, 80, False)
    assert max(map(len, text.splitlines())) <= 80
    for head in ("WHAT IT WAS", "WHAT IT COST", "DECISIONS", "ORDER", "SAFETY"):
        assert head in text


def test_beside_the_plan_and_the_best(clumsy: dict[str, Any]) -> None:
    """Knowing the fault costs least, then the plan; this learner spent most."""
    totals = [clumsy[who]["total"] for who in ("best", "plan", "spent")]
    assert totals == sorted(totals) and totals[0] > 0.0
    assert clumsy["best"]["repairs"] == ["idle.stop.set"]
    assert "Throttle stop screwed in" in clumsy["was"][0] and clumsy["left"] == []


def test_each_wasted_step_has_its_reason(clumsy: dict[str, Any]) -> None:
    """Early unplugging, a known answer, a part on a guess; the proof is no decision."""
    why = {step["line"]: step["why"] for step in clumsy["steps"]}
    last = {step["number"]: step for step in clumsy["steps"]}
    assert "destroys" in why["read tps.track.ohm"]
    assert last[5]["why"] == "its answer was known" and last[4]["why"] == ""
    assert "odds that it cures" in why["repair ect.replace"] and last[6]["better"]
    assert last[7]["regret"] is None
    wasted = sum(step["regret"] for step in clumsy["steps"] if step["why"])
    assert clumsy["regret"] == pytest.approx(wasted, abs=0.05)


def test_order_and_safety(clumsy: dict[str, Any]) -> None:
    """The refused plug is for safety; too early and not read again are order."""
    assert [note["step"] for note in clumsy["safety"]] == [2]
    text = " ".join(note["says"] for note in clumsy["order"])
    assert "Too early" in text and "not read again: tps.signal.closed" in text


def test_a_lucky_guess_is_no_merit() -> None:
    """The right part at once, unread: cheaper than the plan, and yet a poor decision."""
    lines = ["repair idle.stop.set", "prove 3", "leave"]
    marks = marks_of(worked(lines, Opening.of(FAMILY, 3, "stop-screw")))
    assert marks["spent"]["total"] < marks["plan"]["total"]
    assert marks["left"] == [] and marks["regret"] > 15.0
    assert "that was luck" in marks_text(marks, 80, False)


def test_handing_back_is_no_cheaper_than_sending_on() -> None:
    """A car that leaves with its fault comes back, and has to be cured all the same."""
    opening = Opening.of(FAMILY, 3, "stop-screw")
    left, sent = (marks_of(worked([line], opening)) for line in ("leave", "stop"))
    assert left["spent"]["total"] > sent["spent"]["total"] > left["plan"]["total"]
    assert left["left"] and left["regret"] > 5.0


def test_after_a_proof_that_failed() -> None:
    """To look on is never poor, whatever the odds still believe; to hand the car back is."""
    lines = ["repair idle.gasket.renew", "prove 3", "read basics.cold_start", "leave"]
    marks = marks_of(worked(lines, Opening.of(FAMILY, 3, "stop-screw")))
    assert (marks["steps"][2]["regret"], marks["steps"][2]["why"]) == (None, "")
    said = " ".join(note["says"] for note in marks["order"])
    assert "though it showed in 3 of 3 tries" in said


def test_what_comes_and_goes_needs_more_tries() -> None:
    """Seen in some of the tries before, then proved with one: too few."""
    data = {
        "format": 1, "id": "now-and-then", "family": FAMILY, "number": 5,
        "hidden": [{"fault": "tps.sig.sensor.loose", "shows": 0.2}],
    }  # fmt: skip
    lesson = worked(["prove 12"], Opening(FAMILY, 5, "", data))
    bad = len(lesson.tried_before) - sum(lesson.tried_before)
    assert 0 < bad < 12
    for line in ("repair tps.pins.renew", "prove 1", "leave"):
        lesson.do(line)
    said = " ".join(note["says"] for note in marks_of(lesson)["order"])
    assert "It comes and goes" in said and "1 were made" in said


def test_slips_are_named_at_the_end() -> None:
    """Caught ones and missed ones; a good reading that was struck."""
    data = {
        "format": 1, "id": "slippery", "family": FAMILY, "number": 2, "hidden": [],
        "luck": {"slip": 1.0, "kind": "leads swapped"},
    }  # fmt: skip
    lines = [
        "read tps.signal.closed", "read tps.reference", "read ask", "strike r1 swapped",
        "strike r3 a feeling", "leave",
    ]  # fmt: skip
    slips = marks_of(worked(lines, Opening(FAMILY, 2, "", data)))["slips"]
    assert [one["reading"] for one in slips["made"]] == ["r1", "r2"]
    assert (slips["missed"], slips["struck_wrongly"]) == (["r2"], ["r3"])


def test_ohms_read_before_the_key_went_on_are_no_obstacle() -> None:
    """They were read on a dead circuit; the lesson is marked, the same each time."""
    lines = ["read tps.ref.sensor tps.gnd.sensor ohm", "turn key run", "read ask", "leave"]
    lesson = worked(lines, Opening.of(FAMILY, 3, "no-part"))
    marks = marks_of(lesson)
    assert marks["ending"] == "handed back" and marks == marks_of(lesson)
    text = marks_text(marks, 80, False)
    assert ("Nothing was wrong" in text) == ("Gone when" not in text)


def test_slips_between_places_are_found_by_their_state() -> None:
    """The same two places in two states are two readings."""
    data = {
        "format": 1, "id": "slippery", "family": FAMILY, "number": 2, "hidden": [],
        "luck": {"slip": 1.0, "kind": "leads swapped"},
    }  # fmt: skip
    places = "read tps.ref.sensor tps.gnd.sensor volt"
    lines = [f"{places} key=on", f"{places} key=run", "read tps.reference", "read tps.reference"]
    lesson = worked([*lines, "strike r3 swapped", "leave"], Opening(FAMILY, 2, "", data))
    marks = marks_of(lesson)
    assert [one["reading"] for one in marks["slips"]["made"]] == ["r1", "r2", "r3", "r4"]
    assert marks["steps"][3]["why"] == ""  # whoever doubts a slip and reads again is right


def test_a_lesson_that_goes_on_tells_nothing() -> None:
    """No truth, no plan, no best, no judgement before the end."""
    marks = marks_of(worked(["read ask"], Opening.of(FAMILY, 3, "stop-screw")))
    Draft202012Validator(schema("practice")).validate(marks)
    assert (marks["was"], marks["plan"], marks["best"]) == ([], None, None)
    assert marks["steps"][0]["regret"] is None
    assert "the lesson goes on" in marks_text(marks, 80, False)
