from __future__ import annotations

import numpy as np
import pytest

from idlewright.plan.board import lay_out
from idlewright.plan.foresight import WASTE
from idlewright.plan.information import bits_told
from idlewright.plan.myopic import tabulate
from idlewright.plan.outlook import CheckOption, Ending, Outlook, RepairOption, Tariff
from idlewright.plan.products import product, weigh
from idlewright.plan.tree import Node, stand_of


def sixteen(weight):
    """Sixteen faults with sure repairs of 30; a check that halves them for 2, a dear one for 9."""
    rows = np.arange(16)
    checks = (CheckOption("half", np.eye(2)[rows % 2], 2.0),
              CheckOption("dear", np.eye(2)[rows // 8], 9.0))
    repairs = tuple(RepairOption(f"r{i}", np.eye(16)[i], 30.0) for i in rows)
    return Outlook(weight, checks, repairs, (Ending("stop", np.full(16, 500.0)),), Tariff(1.0))


def test_many_suspects_cost_their_cure_and_the_missing_bits():
    """Four missing bits at 2 a bit and the waste, and 30 for the known cure; rates in bits."""
    plan = sixteen(np.full(16, 1 / 16))
    board = lay_out(plan)
    table = tabulate(board, stand_of([Node(board.start({}), 0)]))
    assert table.ahead.cost[0] == pytest.approx(30.0 + WASTE * 4 * 2.0)
    expected = [bits_told(plan.weight, c.outcome) / c.minutes for c in plan.checks]
    assert table.ahead.rate[0] == pytest.approx(expected)


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
