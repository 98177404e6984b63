from __future__ import annotations

import numpy as np
import pytest

from idlewright.plan.board import Choice, lay_out
from idlewright.plan.focus import focus
from idlewright.plan.ladder import STOP, climb
from idlewright.plan.myopic import repair_costs
from idlewright.plan.outlook import Ending, Outlook, RepairOption, Tariff
from idlewright.plan.policies import policy_cost, repairs_only
from idlewright.plan.tree import Node, follow_repair, stand_of
from unit.plan.large_outlook import large_outlook
from unit.plan.small_outlooks import START, random_outlook


def one_climb(board, here):
    """Cost and first rung from one situation."""
    view = focus(board, here.mass[None])
    found = climb(view, view.by_class(here.mass[None]), np.array([here.place]),
                  here.tried[None, view.repairs])
    return float(found.cost[0]), int(found.first[0])


def test_by_hand():
    """Two imperfect repairs, then the ending: every rung counted with its mishaps."""
    plan = Outlook(
        np.array([0.6, 0.4]), (),
        (RepairOption("a", np.array([0.9, 0.0]), 10.0, miss=0.1, parts=(10.0, 30.0)),
         RepairOption("b", np.array([0.0, 0.8]), 20.0, proof_minutes=5.0)),
        (Ending("stop", np.full(2, 200.0)),),
        Tariff(minute=1.0, callback=50.0, wrong_repair=7.0),
    )
    board = lay_out(plan)
    uncured = 0.06 + 0.4
    a = 30.0 + (7.0 + 0.1 * 50.0) * uncured
    rest = 0.9 * uncured
    left = 0.9 * (0.06 + 0.08)
    b = 25.0 * rest + 7.0 * left
    cost, first = one_climb(board, board.start({}))
    assert first == 0
    assert cost == pytest.approx(a + b + 200.0 * left)


def test_stops_at_once_when_repairs_do_not_pay():
    """If stopping costs less than the cheapest repair, no rung is climbed."""
    plan = Outlook(np.array([1.0]), (), (RepairOption("a", np.ones(1), 50.0),),
                   (Ending("stop", np.array([40.0])),), Tariff(1.0))
    board = lay_out(plan)
    assert one_climb(board, board.start({})) == (40.0, STOP)


@pytest.mark.parametrize("seed", range(40))
def test_the_batch_costs_what_the_policy_costs(seed):
    """The vectorised ladder equals following it step by step, pairs and set-up included."""
    board = lay_out(random_outlook(seed))
    here = board.start(START)
    assert one_climb(board, here)[0] == pytest.approx(policy_cost(board, repairs_only, here))


@pytest.mark.parametrize("seed", range(10))
def test_a_repair_and_then_the_ladder(seed):
    """Costs of each repair next equal the repair and the ladder from what it leaves."""
    board = lay_out(random_outlook(seed))
    here = board.start(START)
    costs = repair_costs(board, stand_of([Node(here, 0)]))[0]
    for repair in range(len(board.repairs)):
        own, after = follow_repair(board, here, repair)
        rest = sum(one_climb(board, s)[0] for s in after if s.mass.sum() > 0)
        assert costs[repair] == pytest.approx(own + rest)


def test_lumping_light_classes_changes_little():
    """With 70 classes narrowed, the ladder costs within .5 % of following it step by step."""
    for seed, spread in ((0, 0.03), (1, 0.3), (2, 1.0)):
        plan, state = large_outlook(seed, spread=spread)
        board = lay_out(plan)
        here = board.start(state)
        narrowed = focus(board, here.mass[None])
        assert len(narrowed.floor) < len(board.floor)
        # Each step narrows afresh, so a light class is met again once it has become heavy.
        exact = policy_cost(board, repairs_only, here)
        assert one_climb(board, here)[0] == pytest.approx(exact, rel=5e-3)


def test_costs_scale_with_mass():
    """Half the mass, half the cost, same first rung."""
    board = lay_out(random_outlook(5))
    here = board.start(START)
    half = type(here)(here.mass / 2, here.place, here.left, here.tried)
    assert one_climb(board, half)[0] == pytest.approx(one_climb(board, here)[0] / 2)
    assert repairs_only(board, half) == repairs_only(board, here)
    assert isinstance(repairs_only(board, here), Choice)
