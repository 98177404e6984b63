"""Kinds of practice cars hide what their names say, on every shipped family."""

from __future__ import annotations

import pytest

from idlewright.errors import BadInput
from idlewright.family import load_family
from idlewright.family.kinds import Family
from idlewright.family.shipped import known_files
from idlewright.practice import KINDS, kind_named, open_car
from idlewright.practice.chance import Chance
from idlewright.practice.kinds import MISUSE, clash

SEEDS = range(40)


@pytest.fixture(scope="module", params=sorted(known_files("families")))
def family(request: pytest.FixtureRequest) -> Family:
    """Every shipped family."""
    return load_family(request.param)


def hidden(family: Family, kind: str) -> list[tuple[str, ...]]:
    """Fault ids that a kind hides, for SEEDS."""
    return [kind_named(kind).hide(family, Chance(seed)).faults for seed in SEEDS]


def test_what_somebody_did(family: Family) -> None:
    """One fault of those that came by it, not always the same."""
    for kind, how in (("stop-screw", "stop screw"), ("wrong-part", "wrong part")):
        found = hidden(family, kind)
        assert all(family.faults[fault].came_by == how for (fault,) in found)
        assert len(set(found)) > 1


def test_a_fault_that_comes_and_goes(family: Family) -> None:
    """Always one, always intermittent."""
    assert all(family.faults[fault].intermittent for (fault,) in hidden(family, "intermittent"))


def test_two_faults_can_be_there_together(family: Family) -> None:
    """Two different ones that touch no value in common; never the same pair for every seed."""
    found = hidden(family, "two-faults")
    for pair in found:
        assert len(set(pair)) == 2
        assert clash(family.faults[fault] for fault in pair) is None
    assert len(set(found)) > 30


def test_no_part_is_needed(family: Family) -> None:
    """Nothing wrong, or learned values, each about as often."""
    found = hidden(family, "no-part")
    learned = [pair for pair in found if pair]
    assert all(family.faults[fault].came_by == "learned values" for (fault,) in learned)
    assert 8 <= len(learned) <= 32


def test_a_car_of_a_kind() -> None:
    """open_car hides what the kind says, the same for the same seed, slips included."""
    cars = [open_car("plunger-carburettor", 3, kind="two-faults") for _ in range(2)]
    assert cars[0].faults == cars[1].faults and len(cars[0].faults) == 2
    assert open_car("plunger-carburettor", 3, kind="slips").luck.slip == MISUSE
    assert set(KINDS) >= {"intermittent", "two-faults", "stop-screw", "wrong-part", "slips"}


def test_a_kind_that_is_not_there() -> None:
    """The names there are, and what was perhaps meant."""
    with pytest.raises(BadInput, match="did you mean \"two-faults\""):
        open_car("plunger-carburettor", 1, kind="two-fault")
