from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from idlewright.plan.board import lay_out
from idlewright.plan.outlook import CheckOption, Ending, Limits, Outlook, RepairOption, Tariff
from idlewright.plan.propose import ordered, propose, rank
from idlewright.plan.rollout import LEAST_NODES, MOST_NODES
from idlewright.plan.spread import atoms_of
from unit.plan.large_outlook import large_outlook
from unit.plan.small_outlooks import START, random_outlook, variable

TWO = np.eye(2)


def two_suspects(checks, **tariff):
    """Two faults with dear repairs; telling them apart is worth a look."""
    return Outlook(
        np.array([0.5, 0.5]), tuple(checks),
        (RepairOption("a", np.array([1.0, 0.0]), 60.0, parts=(50.0, 150.0), needs={"key": "off"}),
         RepairOption("b", np.array([0.0, 1.0]), 60.0, proof_minutes=5.0)),
        (Ending("stop", np.full(2, 900.0)),), Tariff(1.0, 0.1, **tariff),
        {"key": variable("key", ("off", "on"), (0.2, 0.2))},
    )


def test_an_action_says_what_it_takes():
    """Set-up moves, minutes apart, bits, outcomes with their leaders, and what is saved."""
    check = CheckOption("look", TWO, minutes=3.0, wait=10.0, needs={"key": "on"})
    found = propose(two_suspects([check]), {"key": "off"})
    step = found.next
    assert (step.kind, step.id, step.why.reason) == ("check", "look", "separates")
    assert [(move.name, move.after) for move in step.setup.moves] == [("key", "on")]
    assert (step.minutes.setup, step.minutes.do, step.minutes.wait) == (0.2, 3.0, 10.0)
    assert step.bits == pytest.approx(1.0)
    assert step.why.chances == pytest.approx((0.5, 0.5))
    assert step.why.leaders == ((0, pytest.approx(1.0)), (1, pytest.approx(1.0)))
    # Look 3 + 1 + .2, then a with key off again (160.2) or b (65).
    assert step.cost_to_go == pytest.approx(4.2 + 0.5 * 160.2 + 0.5 * 65.0)
    assert step.why.saves == pytest.approx(found.without_checks - step.cost_to_go)
    # b first, since it costs less: 65, and a in half of the cases.
    assert found.without_checks == pytest.approx(65.0 + 0.5 * 160.0)


def test_a_repair_says_its_chance_and_parts():
    """Repairs carry their chance of a cure and the range of prices; the proof is in the minutes."""
    found = propose(two_suspects([]), {"key": "off"})
    repairs = {action.id: action for action in found.actions if action.kind == "repair"}
    assert (repairs["a"].p_cure, repairs["a"].parts) == (pytest.approx(0.5), (50.0, 150.0))
    assert repairs["b"].minutes.do == 65.0
    assert found.next.id == "b"


def test_the_spread_of_the_cost():
    """b first: 65 in half of the cases; else 65 + 60 + a price uniform from 50 to 150."""
    cost = propose(two_suspects([]), {"key": "off"}).cost
    assert cost.mean == pytest.approx(65.0 + 0.5 * 160.0)
    assert cost.level == 0.9
    assert cost.low == pytest.approx(65.0)
    # The 95 % point lies at the 90 % point of the price: 60 + 65 + 140.
    assert cost.high == pytest.approx(265.0)


@pytest.mark.parametrize("depth", ["myopic", "rollout"])
@pytest.mark.parametrize("seed", range(30))
def test_the_spread_has_the_cost_to_go_as_its_mean(seed, depth):
    """Enumerating the ways the plan can go gives the expected cost, and chances that sum to 1."""
    board = lay_out(random_outlook(seed, perishable=0.0))
    ranking = rank(board, board.start(START), depth)
    best = ordered(board, ranking)[0]
    atoms = atoms_of(board, ranking.root, best)
    costs = {"check": ranking.check, "repair": ranking.repair, "stop": ranking.ending}
    assert atoms.chance.sum() == pytest.approx(1.0, abs=1e-3)
    assert atoms.mean == pytest.approx(costs[best.kind][best.index], rel=2e-3)
    low, high = atoms.quantile(np.array([0.05, 0.95]))
    assert low <= atoms.mean * (1 + 1e-9) and high >= low


def test_perishable_evidence_comes_first():
    """Two looks of which the better one spoils the other: the perishable one goes first.

    Without the flag the better look goes first.
    """
    four = np.full(4, 0.25)
    good = CheckOption("unplug", np.eye(3)[[0, 1, 2, 2]], minutes=2.0, disturbs=True)
    weak = CheckOption("codes", np.eye(2)[[0, 0, 0, 1]], minutes=4.0)
    repairs = tuple(RepairOption(f"r{i}", np.eye(4)[i], 60.0) for i in range(4))
    plan = Outlook(four, (good, weak), repairs, (Ending("stop", np.full(4, 900.0)),), Tariff(1.0))
    lost = replace(plan, checks=(good, replace(weak, perishable=True)))
    for depth in ("myopic", "rollout"):
        assert propose(plan, {}, depth=depth).next.id == "unplug"
        found = propose(lost, {}, depth=depth)
        assert (found.next.id, found.next.why.reason) == ("codes", "perishable")
    charged = next(a for a in propose(lost, {}, depth="myopic").actions if a.id == "unplug")
    assert charged.why.charge > 0.0


def test_gentle_comes_first():
    """Of two looks alike, the one that disturbs nothing; also without a price on disturbing."""
    rough = CheckOption("a rough one", TWO, minutes=2.0, disturbs=True)
    gentle = CheckOption("gentle", TWO, minutes=2.0)
    for price in (0.0, 1.0):
        plan = two_suspects([rough, gentle], disturbance=price)
        assert propose(plan, {"key": "off"}).next.id == "gentle"


def test_limits_and_reach_are_reported():
    """What lacks a tool or cannot be got ready for is not offered and says why."""
    scope = CheckOption("scope", TWO, minutes=1.0, tools=("scope",))
    stuck = CheckOption("stuck", TWO, minutes=1.0, needs={"lid": "shut"})
    lid = variable("lid", ("open", "shut"), (1.0, 1.0), needs={"shut": {"key": "gone"}})
    key = variable("key", ("off", "on", "gone"), (0.2, 0.2, 0.0))
    key = replace(key, minutes={"off": 0.2, "on": 0.2})
    plan = replace(
        two_suspects([]), checks=(scope, stuck), variables={"key": key, "lid": lid}
    )
    found = propose(plan, {"key": "off", "lid": "open"}, Limits(tools=frozenset({"meter"})))
    assert {barred.id: barred.reason for barred in found.barred} == {
        "scope": "needs scope", "stuck": "the car cannot be got ready for it from here",
    }
    assert {action.id for action in found.actions} == {"a", "b", "stop"}


def test_nothing_to_do_but_stop():
    """With no checks and no repairs the proposal is to stop, at the cost of the cheapest ending."""
    plan = Outlook(np.array([0.3, 0.7]), (), (),
                   (Ending("send on", np.array([90.0, 50.0])), Ending("stop", np.full(2, 70.0))),
                   Tariff(1.0))
    found = propose(plan, {})
    assert (found.next.kind, found.next.id) == ("stop", "send on")
    assert found.cost.mean == pytest.approx(62.0)
    assert (found.cost.low, found.cost.high) == pytest.approx((50.0, 90.0))


def test_reading_again_is_an_action():
    """A reread is offered like a check and named as one."""
    again = CheckOption("r1", np.array([[0.9, 0.1], [0.1, 0.9]]), minutes=0.5, kind="reread")
    found = propose(two_suspects([again]), {"key": "off"})
    assert (found.next.kind, found.next.why.reason) == ("reread", "read again")


@pytest.mark.parametrize("spread", [0.03, 0.3, 1.0])
def test_a_whole_family_stays_within_its_work(spread):
    """200 rows, 60 checks, 8 outcomes: bounded nodes, same answer twice, never dearer than myopic.

    Measured on one core of a busy two-core machine: myopic 15-50 ms, roll-out 200-650 ms.
    """
    plan, state = large_outlook(4, spread=spread)
    near, far = propose(plan, state, depth="myopic"), propose(plan, state)
    assert 8 < far.nodes <= LEAST_NODES + 64 < MOST_NODES
    assert far.next.cost_to_go <= near.next.cost_to_go + 1e-9
    assert near.next.cost_to_go <= near.without_checks + 1e-9
    again = propose(plan, state)
    assert [(a.kind, a.id, a.cost_to_go) for a in far.actions] == [
        (a.kind, a.id, a.cost_to_go) for a in again.actions
    ]
    assert far.cost == again.cost
    assert far.cost.low < far.cost.mean < far.cost.high
    assert sum(action.refined for action in far.actions) >= 8


def test_order_of_options_does_not_matter():
    """Shuffling rows, checks and repairs leaves costs and the proposal as they are."""
    plan = random_outlook(17)
    order = np.random.default_rng(1).permutation(len(plan.weight))
    back = np.argsort(order)
    shuffled = replace(
        plan, weight=plan.weight[order],
        checks=tuple(replace(c, outcome=c.outcome[order]) for c in reversed(plan.checks)),
        repairs=tuple(
            replace(r, cure=r.cure[order], share=r.share[order], into=back[r.into[order]])
            for r in reversed(plan.repairs)
        ),
        endings=tuple(replace(e, cost=e.cost[order]) for e in plan.endings),
    )
    one, two = propose(plan, START), propose(shuffled, START)
    assert one.next.id == two.next.id
    assert {a.id: pytest.approx(a.cost_to_go, rel=1e-6) for a in one.actions[:3]} == {
        a.id: a.cost_to_go for a in two.actions[:3]
    }
