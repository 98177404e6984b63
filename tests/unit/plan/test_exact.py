from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from idlewright.plan.board import lay_out
from idlewright.plan.exact import ExactPlan
from idlewright.plan.outlook import Ending, Outlook, RepairOption, Tariff
from idlewright.plan.search import exact_branch
from idlewright.plan.spread import atoms_of
from idlewright.plan.tree import Node
from unit.plan.small_outlooks import START, random_outlook


@pytest.mark.parametrize("seed", range(60))
def test_two_programs_find_the_same_optimum(seed):
    """The search at the end of a job and the plain recursion agree, in cost and first action."""
    plan = random_outlook(seed, faults=(2, 4), checks=(1, 3))
    exact = ExactPlan(plan)
    best = exact.best(exact.start(START))
    board = lay_out(plan)
    branch = exact_branch(board, board.start(START), budget=100_000)
    assert branch.value == pytest.approx(best.cost, rel=1e-9)
    assert best.act == (branch.choice.kind, board.id(branch.choice))


def test_the_spread_follows_the_exact_plan():
    """All ways of the exact plan add up to its cost."""
    plan = random_outlook(21, faults=(3, 3), checks=(2, 2))
    board = lay_out(plan)
    root = Node(board.start(START), 0)
    root.branches = [exact_branch(board, root.situation, budget=100_000)]
    atoms = atoms_of(board, root, root.branches[0].choice)
    assert atoms.mean == pytest.approx(root.branches[0].value, rel=1e-6)


def test_a_row_of_two_faults_takes_both_repairs():
    """Two sure repairs, each curing its share: both are paid, whatever comes first."""
    share = np.array([1.0])
    rows = Outlook(
        np.array([0.0, 0.0, 1.0]), (),
        (RepairOption("a", np.array([1.0, 0.0, 0.0]), 10.0, share=np.array([0, 0, 1.0]),
                      into=np.array([0, 1, 1])),
         RepairOption("b", np.array([0.0, 1.0, 0.0]), 20.0, share=np.array([0, 0, 1.0]),
                      into=np.array([0, 1, 0]))),
        (Ending("stop", np.full(3, 500.0)),), Tariff(1.0),
    )
    exact = ExactPlan(rows)
    assert exact.best(exact.start({})).cost == pytest.approx(30.0)
    board = lay_out(rows)
    assert exact_branch(board, board.start({})).value == pytest.approx(30.0)
    assert share.sum() == 1.0


def test_too_large_a_board_is_left_to_the_look_ahead():
    """The search gives up at its budget instead of taking for ever."""
    board = lay_out(random_outlook(40, faults=(5, 5), checks=(4, 4)))
    assert exact_branch(board, board.start(START), budget=5) is None


def test_more_looks_never_cost_more():
    """An extra repeat of a check, or a check at all, cannot raise the optimum."""
    for seed in range(10):
        plan = random_outlook(seed, faults=(3, 3), checks=(2, 2), perishable=0.0)
        costs = []
        for repeats in (0, 1, 2):
            looks = tuple(replace(c, repeats=repeats if i == 0 else 1)
                          for i, c in enumerate(plan.checks))
            exact = ExactPlan(replace(plan, checks=looks))
            costs.append(exact.best(exact.start(START)).cost)
        assert costs[0] >= costs[1] - 1e-9 >= costs[2] - 2e-9
