from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from idlewright.plan.board import lay_out
from idlewright.plan.foresight import WASTE
from idlewright.plan.information import bits_told
from idlewright.plan.myopic import tabulate
from idlewright.plan.outlook import CheckOption, Ending, Outlook, RepairOption, Tariff
from idlewright.plan.products import product, weigh
from idlewright.plan.propose import propose
from idlewright.plan.tree import Node, stand_of


def sixteen(weight):
    """Sixteen faults with sure repairs of 30; a check that halves them for 2, a dear one for 9."""
    rows = np.arange(16)
    checks = (CheckOption("half", np.eye(2)[rows % 2], 2.0),
              CheckOption("dear", np.eye(2)[rows // 8], 9.0))
    repairs = tuple(RepairOption(f"r{i}", np.eye(16)[i], 30.0) for i in rows)
    return Outlook(weight, checks, repairs, (Ending("stop", np.full(16, 500.0)),), Tariff(1.0))


def test_many_suspects_cost_their_cure_and_the_bits_that_pay():
    """Not knowing costs 225 more than knowing; each check settles its share of it for its price.

    Four bits are missing. Each check tells one, so it settles 1 / (4 WASTE) of the 225, for 2 or 9.
    """
    plan = sixteen(np.full(16, 1 / 16))
    board = lay_out(plan)
    table = tabulate(board, stand_of([Node(board.start({}), 0)]))
    ladder, known = 30.0 * 17 / 2, 30.0
    share = (ladder - known) / (4 * WASTE)
    assert table.ladder[0] == pytest.approx(ladder)
    assert table.ahead.cost[0] == pytest.approx(ladder - (share - 2.0) - (share - 9.0))
    expected = [bits_told(plan.weight, c.outcome) / c.minutes for c in plan.checks]
    assert table.ahead.rate[0] == pytest.approx(expected)


def test_a_check_that_is_not_worth_its_price_is_not_bought():
    """The dear check at 90 instead of 9 settles 225 / (4 WASTE) of the cost: less than it takes."""
    plan = sixteen(np.full(16, 1 / 16))
    checks = (plan.checks[0], replace(plan.checks[1], minutes=90.0))
    board = lay_out(replace(plan, checks=checks))
    table = tabulate(board, stand_of([Node(board.start({}), 0)]))
    assert table.ahead.cost[0] == pytest.approx(255.0 - (225.0 / (4 * WASTE) - 2.0))


def test_the_best_check_is_not_saved_up():
    """Of five checks that tell the same, four at 16 and one at 4, the cheap one is not the last.

    When every missing bit was priced like the best check's, it was: using it up made the others
    look dear.
    """
    rows = np.arange(32)
    checks = tuple(
        CheckOption(f"bit {k}", np.array([[0.98, 0.02], [0.02, 0.98]])[rows >> k & 1], price)
        for k, price in enumerate([4.0, 16.0, 16.0, 16.0, 16.0])
    )
    repairs = tuple(RepairOption(f"r{i}", np.eye(32)[i], 30.0) for i in rows)
    stop = (Ending("stop", np.full(32, 300.0)),)
    outlook = Outlook(np.full(32, 1 / 32), checks, repairs, stop, Tariff(1.0))
    costs = {action.id: action.cost_to_go for action in propose(outlook, {}).actions}
    assert costs["bit 0"] < sorted(costs[f"bit {k}"] for k in range(1, 5))[-1]


def test_few_suspects_are_left_to_the_look_ahead():
    """With two heavy suspects no estimate is made."""
    weight = np.full(16, 1e-5)
    weight[:2] = 0.5 - 7e-5
    board = lay_out(sixteen(weight))
    table = tabulate(board, stand_of([Node(board.start({}), 0)]))
    assert np.isinf(table.ahead.cost[0])
    assert not table.ahead.rate.any()


@pytest.mark.parametrize("shape", [(1, 3, 2), (5000, 70, 50), (9001, 40, 1), (0, 4, 4)])
def test_products_in_pieces_are_products(shape):
    """Cutting rows into pieces changes nothing beyond rounding."""
    rows, inner, columns = shape
    generator = np.random.default_rng(1)
    left, right = generator.random((rows, inner)), generator.random((inner, columns))
    assert product(left, right) == pytest.approx(np.einsum("ij,jk->ik", left, right), rel=1e-12)
    assert weigh(left, right[:, 0]) == pytest.approx(left @ right[:, 0], rel=1e-12)
