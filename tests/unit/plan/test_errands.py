from __future__ import annotations

import itertools

import numpy as np
import pytest

from idlewright.family.kinds import StateVariable
from idlewright.plan.errands import Errands, Visit, errands_for
from idlewright.plan.outlook import Tariff
from idlewright.plan.places import Places
from idlewright.plan.setup import SetUp
from unit.plan.small_outlooks import variable
from unit.plan.test_setup import CAR, DEFAULT

TARIFF = Tariff(minute=2.0, waiting=0.1)
WARM = ("engine",)


def test_an_errand_looks_at_what_its_needs_touch():
    """Unplugging the computer is about the plug and the key too, and about nothing else."""
    errand = Errands(SetUp(CAR), TARIFF).of(Visit({"computer": "off"}, {}, 1.0), ())
    assert errand.names == ("computer", "key", "plug")


def test_errands_that_differ_in_nothing_are_one():
    """Minutes count only where something fades."""
    errands = Errands(SetUp(CAR), TARIFF)
    short, long = Visit({"key": "on"}, {}, 1.0), Visit({"key": "on"}, {}, 30.0)
    assert errands.of(short, ()) is errands.of(long, ())
    assert errands.of(short, WARM) is not errands.of(long, WARM)


@pytest.mark.parametrize("needs", [
    {}, {"key": "on"}, {"key": "on", "plug": "off"}, {"computer": "off", "plug": "on"},
    {"engine": "hot", "key": "off"}, {"codes": "unread"},
])
def test_trips_are_those_of_the_whole_car(needs):
    """From every car state: the price and the state after it are those of a fresh whole journey."""
    visit = Visit(needs, {"codes": "noted"}, 1.0)
    places = Places(Errands(SetUp(CAR, 2.0, 0.1), TARIFF), [visit, Visit(DEFAULT, {}, 0.0)])
    for values in itertools.product(*(CAR[name].values for name in DEFAULT)):
        state = dict(zip(DEFAULT, values, strict=True))
        here = places.place(state)
        places.fill(np.array([here]), np.array([0]))
        whole = SetUp(CAR, 2.0, 0.1)
        journey = whole.reach(state, needs)
        if journey is None:
            assert np.isinf(places.price[here, 0])
            continue
        assert places.price[here, 0] == pytest.approx(2.0 * journey.minutes + 0.1 * journey.wait)
        after = {**journey.state, "codes": "noted"}
        assert places.state(int(places.next[here, 0])) == after


def test_actions_that_share_an_errand_are_both_filled():
    """Asking for one of them must not leave the other one looking impossible."""
    same = Visit({"key": "on"}, {}, 1.0)
    places = Places(Errands(SetUp(CAR), TARIFF), [same, same])
    start = places.place(DEFAULT)
    places.fill(np.array([start]), np.array([0]))
    places.fill(np.array([start]), np.array([1]))
    assert places.price[start, 0] == places.price[start, 1] == pytest.approx(0.4)


def test_kept_for_cars_of_the_same_kind_only():
    """Equal variables and prices share their errands; other prices or moves never do."""
    def car(minutes: float) -> dict[str, StateVariable]:
        return {"key": variable("key", ("off", "on"), (minutes, minutes))}

    assert errands_for(car(0.2), TARIFF) is errands_for(car(0.2), TARIFF)
    assert errands_for(car(0.2), TARIFF) is not errands_for(car(0.3), TARIFF)
    assert errands_for(car(0.2), TARIFF) is not errands_for(car(0.2), Tariff(minute=3.0))
