from __future__ import annotations

import numpy as np
import pytest

from idlewright.plan.board import lay_out
from idlewright.plan.exact import ExactPlan
from idlewright.plan.outlook import Limits
from idlewright.plan.policies import (
    bits_per_minute,
    choose,
    clairvoyant_cost,
    fixed_chart,
    offers,
    planner,
    policy_cost,
    random_checks,
    repairs_only,
    rollout_over,
)
from unit.plan.small_outlooks import START, random_outlook

ARMS = {
    "bits": bits_per_minute(), "blind": bits_per_minute(setup=False),
    "chart": fixed_chart(["check0", "check1", "check2", "check3"]), "repairs": repairs_only,
    "myopic": planner("myopic"), "planner": planner(),
}


@pytest.mark.parametrize("seed", range(25))
def test_every_arm_lies_between_the_optimum_and_its_promise(seed):
    """No arm beats the exact plan, and the exact plan does not beat a clairvoyant."""
    plan = random_outlook(seed, faults=(3, 4), checks=(2, 3))
    board = lay_out(plan)
    here = board.start(START)
    exact = ExactPlan(plan)
    best = exact.best(exact.start(START)).cost
    assert clairvoyant_cost(board, here) <= best + 1e-9
    for name, arm in ARMS.items():
        assert policy_cost(board, arm, here) >= best - 1e-9, name


@pytest.mark.parametrize("seed", range(6))
def test_one_step_over_a_policy_is_never_worse(seed):
    """Roll-out over a policy costs at most what the policy costs."""
    board = lay_out(random_outlook(seed, faults=(3, 3), checks=(2, 2)))
    here = board.start(START)
    base = fixed_chart(["check1", "check0"])
    improved = policy_cost(board, rollout_over(base), here)
    assert improved <= policy_cost(board, base, here) + 1e-9


def test_a_chart_keeps_its_order_and_passes_over_what_is_not_offered():
    """First id of the chart that is left; ids nobody offers are skipped."""
    plan = random_outlook(12)
    assert choose(fixed_chart(["nowhere", "check1", "check0"], sure=1.1), plan, START) == (
        "check", "check1",
    )
    assert choose(fixed_chart([], sure=1.1), plan, START) == choose(repairs_only, plan, START)


def test_random_arm_repeats_with_its_seed():
    """Same seed, same cost; it makes checks."""
    board = lay_out(random_outlook(8))
    here = board.start(START)
    costs = [policy_cost(board, random_checks(seed, sure=0.999), here) for seed in (1, 1, 2)]
    assert costs[0] == costs[1]
    assert random_checks(1, sure=1.1)(board, here).kind == "check"


def test_limits_hold_for_every_arm():
    """With no money agreed, every arm stops."""
    plan = random_outlook(8)
    for arm in ARMS.values():
        assert choose(arm, plan, START, Limits(money=0.0)) == ("stop", "stop")


def test_offers_are_what_can_be_done():
    """All checks, repairs and endings at the start; not what was used up."""
    plan = random_outlook(8)
    board = lay_out(plan)
    here = board.start(START)
    assert len(offers(board, here)) == len(plan.checks) + len(plan.repairs) + 1
    used = type(here)(here.mass, here.place, np.zeros_like(here.left), ~here.tried)
    assert [choice.kind for choice in offers(board, used)] == ["stop"]
