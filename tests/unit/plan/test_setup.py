from __future__ import annotations

import itertools

import pytest

from idlewright.family.kinds import StateVariable
from idlewright.plan.setup import SetUp
from unit.plan.small_outlooks import variable

KEY_OFF = {"key": "off"}
CAR = {
    "key": variable("key", ("off", "on", "run"), (0.2, 0.2, 0.5)),
    "plug": variable("plug", ("on", "off"), (1.5, 1.5), needs={"on": KEY_OFF, "off": KEY_OFF},
                     cautions=("unplug",)),
    "computer": variable("computer", ("on", "off"), (12.0, 12.0),
                         needs={"off": {"key": "off", "plug": "off"}}),
    "engine": StateVariable(
        "engine", ("cold", "hot"), {"hot": 1.0}, {"hot": 12.0, "cold": 480.0},
        {"hot": {"key": "run"}, "cold": KEY_OFF}, {}, fades={"hot": (20.0, "cold")},
    ),
    "codes": StateVariable("codes", ("unread", "noted"), {"noted": 4.0}, {}, {}, {}),
}
SETUP = SetUp(CAR)
DEFAULT = {"key": "off", "plug": "on", "computer": "on", "engine": "cold", "codes": "unread"}


def names(journey):
    """Moves as (variable, value)."""
    return [(move.name, move.after) for move in journey.moves]


def test_nothing_to_do_costs_nothing():
    """A state that already holds needs no move."""
    journey = SETUP.reach(DEFAULT, {"key": "off"})
    assert (journey.moves, journey.minutes, journey.wait) == ((), 0.0, 0.0)


def test_key_goes_off_before_the_plug_and_on_again():
    """Unplugging needs key off; a check with key on then needs it on again, in that order."""
    journey = SETUP.reach({**DEFAULT, "key": "on"}, {"key": "on", "plug": "off"})
    assert names(journey) == [("key", "off"), ("plug", "off"), ("key", "on")]
    assert journey.minutes == pytest.approx(1.9)
    assert journey.moves[1].cautions == ("unplug",)
    assert journey.state["key"] == "on"


def test_needs_are_met_recursively():
    """Unplugging the computer needs the sensor unplugged, which needs key off."""
    journey = SETUP.reach({**DEFAULT, "key": "run"}, {"computer": "off"})
    assert names(journey) == [("key", "off"), ("plug", "off"), ("computer", "off")]


def test_a_need_that_upsets_another_is_put_back():
    """Computer unplugged but sensor plugged: the sensor goes off and on again."""
    journey = SETUP.reach(DEFAULT, {"computer": "off", "plug": "on"})
    assert names(journey) == [("plug", "off"), ("computer", "off"), ("plug", "on")]


def test_cost_depends_on_where_the_car_stands():
    """From unplugged with key off, key on is all that is missing."""
    journey = SETUP.reach({**DEFAULT, "plug": "off"}, {"key": "on", "plug": "off"})
    assert names(journey) == [("key", "on")]


def test_waiting_is_kept_apart():
    """Warming up: one hands-on minute for the engine and half for the key, twelve of waiting."""
    journey = SETUP.reach(DEFAULT, {"engine": "hot"})
    assert (journey.minutes, journey.wait) == pytest.approx((1.5, 12.0))


def test_what_nobody_can_bring_about_is_impossible():
    """Codes once noted cannot be unread."""
    assert SETUP.reach({**DEFAULT, "codes": "noted"}, {"codes": "unread"}) is None


def test_needs_in_a_circle_are_impossible():
    """Two values that need each other first can never be reached."""
    knot = SetUp({
        "a": variable("a", ("0", "1"), (1, 1), needs={"1": {"b": "1"}}),
        "b": variable("b", ("0", "1"), (1, 1), needs={"1": {"a": "1"}}),
    })
    assert knot.reach({"a": "0", "b": "0"}, {"a": "1"}) is None


def test_an_unknown_value_is_set():
    """A variable missing from the state has to be set, and says that it was not known."""
    journey = SETUP.reach({}, {"plug": "off"})
    assert names(journey) == [("key", "off"), ("plug", "off")]
    assert journey.moves[0].before == ""


def cheapest_by_force(setup, state, needs, rate=0.1):
    """Dijkstra's distances over every full state, by relaxation until nothing changes."""
    variables = setup.variables
    states = [dict(zip(variables, values, strict=True))
              for values in itertools.product(*(v.values for v in variables.values()))]
    cost = {tuple(s.values()): (0.0 if s == state else float("inf")) for s in states}
    changed = True
    while changed:
        changed = False
        for here in states:
            at = cost[tuple(here.values())]
            for name, machine in variables.items():
                for value in machine.values:
                    wanted = machine.needs.get(value, {})
                    if not setup.possible(name, value) or any(
                        here[k] != v for k, v in wanted.items()
                    ):
                        continue
                    there = tuple({**here, name: value}.values())
                    price = machine.minutes.get(value, 0) + rate * machine.wait.get(value, 0)
                    if at + price < cost[there] - 1e-12:
                        cost[there] = at + price
                        changed = True
    return min(cost[tuple(s.values())] for s in states
               if all(s[k] == v for k, v in needs.items()))


@pytest.mark.parametrize("needs", [
    {"key": "on", "plug": "off"}, {"computer": "off", "plug": "on", "key": "run"},
    {"engine": "hot", "plug": "off"}, {"engine": "hot", "plug": "off", "key": "off"},
    {"codes": "noted", "computer": "off"},
])
def test_no_journey_is_cheaper(needs):
    """The journey costs what the best way through all full states costs."""
    journey = SETUP.reach(DEFAULT, needs)
    assert journey.minutes + 0.1 * journey.wait == pytest.approx(
        cheapest_by_force(SETUP, DEFAULT, needs)
    )


def test_hot_fades_with_the_key_off_and_stays_with_the_engine_running():
    """Twenty minutes after switching off it is cold; running, it stays hot."""
    hot = {**DEFAULT, "engine": "hot"}
    state, left = SETUP.later(hot, {}, 12.0)
    assert (state["engine"], left) == ("hot", {"engine": 8.0})
    state, left = SETUP.later(hot, left, 9.0)
    assert (state["engine"], left) == ("cold", {})
    running = {**hot, "key": "run"}
    assert SETUP.later(running, {"engine": 1.0}, 500.0)[0] == running
