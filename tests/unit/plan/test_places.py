from __future__ import annotations

import numpy as np
import pytest

from idlewright.plan.errands import Errands, Visit
from idlewright.plan.outlook import Tariff
from idlewright.plan.places import Places
from idlewright.plan.setup import SetUp
from unit.plan.small_outlooks import variable
from unit.plan.test_setup import CAR, DEFAULT

TARIFF = Tariff(minute=2.0, waiting=0.1)
ALL = np.arange(4)


def places():
    """Four actions: key on; unplugged; hot and short; hot and long with the key off."""
    return Places(Errands(SetUp(CAR, 2.0, 0.1), TARIFF), [
        Visit({"key": "on"}, {}, 1.0), Visit({"plug": "off"}, {"key": "on"}, 1.0),
        Visit({"engine": "hot"}, {"key": "off"}, 2.0),
        Visit({"engine": "hot", "key": "off"}, {}, 30.0),
    ])


def test_prices_and_next_places():
    """Set-up money by the tariff; what an action leaves is where the next one starts."""
    found = places()
    start = found.place(DEFAULT)
    found.fill(np.array([start]), ALL)
    assert found.price[start, :2] == pytest.approx([0.4, 3.0])
    after = found.state(int(found.next[start, 1]))
    assert (after["plug"], after["key"]) == ("off", "on")


def test_a_short_look_leaves_it_hot_and_a_long_one_does_not():
    """Within a quarter of its life a state is taken as fresh; after thirty minutes it is gone."""
    found = places()
    start = found.place(DEFAULT)
    found.fill(np.array([start]), ALL)
    assert found.state(int(found.next[start, 2]))["engine"] == "hot"
    assert found.state(int(found.next[start, 3]))["engine"] == "cold"


def test_what_fades_on_the_way_is_brought_about_again():
    """With two minutes left, a set-up of twelve minutes has to warm the engine up again."""
    found = Places(Errands(SetUp(CAR, 1.0, 0.1), TARIFF),
                   [Visit({"engine": "hot", "computer": "off"}, {}, 1.0)])
    hot = {**DEFAULT, "engine": "hot"}
    fresh = found.place(hot)
    stale = found.place(hot, {"engine": 2.0})
    assert fresh != stale
    assert all(move.name != "engine" for move in found.journey(fresh, {"computer": "off"}).moves)
    moves = found.journey(stale, {"engine": "hot", "computer": "off"}).moves
    assert any(move.name == "engine" for move in moves)


def test_states_that_differ_in_nothing_that_matters_are_one_place():
    """A variable no action names or needs is not looked at."""
    found = Places(Errands(SetUp({**CAR, "lamp": variable("lamp", ("off", "on"), (1, 1))}), TARIFF),
                   [Visit({"key": "on"}, {}, 1.0)])
    assert found.place({"key": "off", "lamp": "on"}) == found.place({"key": "off", "lamp": "off"})


def test_the_table_grows():
    """More than sixteen places keep their prices."""
    many = {f"v{i}": variable(f"v{i}", ("0", "1"), (1.0 + i, 1.0 + i)) for i in range(6)}
    visits = [Visit({name: "1"}, {}, 1.0) for name in many]
    found = Places(Errands(SetUp(many), Tariff(minute=1.0)), visits)
    seen = {found.place(dict.fromkeys(many, "0"))}
    for _ in range(6):
        found.fill(np.array(sorted(seen)), np.arange(6))
        seen |= {int(p) for p in found.next[sorted(seen)].ravel()}
    assert len(seen) == 64
    found.fill(np.array(sorted(seen)), np.arange(6))
    for place in seen:
        state = found.state(place)
        for column, name in enumerate(many):
            expected = 0.0 if state[name] == "1" else 1.0 + column
            assert found.price[place, column] == pytest.approx(expected)
