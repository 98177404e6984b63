"""Other ways to choose the next step, for comparison: the arms of a study, on the same board.

A policy is a function of board and situation. All of them end the same way: when a suspect stands
out or nothing is left to look at, they follow the repair ladder.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from idlewright.plan.board import Board, Choice, Situation, lay_out
from idlewright.plan.clairvoyant import Clairvoyant
from idlewright.plan.focus import focus
from idlewright.plan.information import bits_of_all
from idlewright.plan.ladder import climb
from idlewright.plan.outlook import ActionKind, Floats, Ints, Limits, Outlook
from idlewright.plan.propose import Depth, ordered, rank
from idlewright.plan.rollout import rollout_ranking
from idlewright.plan.tree import Node, follow_check, follow_repair, ladder_choice

Policy = Callable[[Board, Situation], Choice]

GONE = 1e-12
"""Chance below which a way the job may go is not followed."""

NO_BITS = 1e-9


def choose(
    policy: Policy, outlook: Outlook, state: Mapping[str, str], limits: Limits | None = None
) -> tuple[ActionKind, str]:
    """What a policy does next: kind and id."""
    board = lay_out(outlook, limits)
    choice = policy(board, board.start(state))
    return board.kind(choice), board.id(choice)


def policy_cost(board: Board, policy: Policy, here: Situation) -> float:
    """Exact expected cost of a policy from a situation, scaled by its mass."""
    if here.mass.sum() <= GONE:
        return 0.0
    choice = policy(board, here)
    cost, after = follow(board, here, choice)
    return cost + sum(policy_cost(board, policy, situation) for situation in after)


def follow(board: Board, here: Situation, choice: Choice) -> tuple[float, list[Situation]]:
    """Cost of an action, scaled by mass, and the situations it may lead to."""
    if choice.kind == "stop":
        return float(here.mass @ board.row_ending[:, choice.index]), []
    step = follow_check if choice.kind == "check" else follow_repair
    return step(board, here, choice.index)


def planner(depth: Depth = "rollout", exact_end: bool = True) -> Policy:
    """This planner at a depth; `exact_end` = False leaves out the exact search of small boards."""
    def policy(board: Board, here: Situation) -> Choice:
        if depth == "rollout" and not exact_end:
            return ordered(board, rollout_ranking(board, here, exact_end=False))[0]
        return ordered(board, rank(board, here, depth))[0]
    return policy


def repairs_only(board: Board, here: Situation) -> Choice:
    """The ladder: likeliest repair per money, never a check."""
    view = focus(board, here.mass[None])
    found = climb(view, view.by_class(here.mass[None]), np.array([here.place]),
                  here.tried[None, view.repairs])
    rung = int(found.first[0])
    return ladder_choice(board, Node(here, 0), int(view.repairs[rung]) if rung >= 0 else rung)


def bits_per_minute(setup: bool = True, sure: float = 0.9) -> Policy:
    """Most bits per priced minute, until one suspect is `sure` or no check tells anything.

    Args:
        setup: count the set-up when choosing (it is always paid).
        sure: probability of the leading suspect at which repairs begin.
    """
    def policy(board: Board, here: Situation) -> Choice:
        bits, price = _bits_and_prices(board, here)
        if stands_out(board, here, sure) or bits.max(initial=0.0) <= NO_BITS:
            return repairs_only(board, here)
        worth = bits / np.maximum(price if setup else board.look_cost, GONE)
        return Choice("check", int(worth.argmax()))
    return policy


def two_step_bits(sure: float = 0.9) -> Policy:
    """Most bits per priced minute over a check and one more check after each of its outcomes."""
    def policy(board: Board, here: Situation) -> Choice:
        _, price = _bits_and_prices(board, here)
        offered = np.flatnonzero(np.isfinite(price))
        if stands_out(board, here, sure) or not len(offered):
            return repairs_only(board, here)
        worth = [_two_step_worth(board, here, int(check), sure) for check in offered]
        if max(worth) <= NO_BITS:
            return repairs_only(board, here)
        return Choice("check", int(offered[int(np.argmax(worth))]))
    return policy


def fixed_chart(order: Sequence[str], sure: float = 0.6) -> Policy:
    """Checks in a given order, whatever they show; repairs once one group of suspects stands out.

    Args:
        order: check ids; those that are not offered are passed over.
        sure: probability of the rows that one repair serves at which repairs begin.
    """
    def policy(board: Board, here: Situation) -> Choice:
        _, price = _bits_and_prices(board, here)
        group = board.by_class(here.mass)
        open_ids = [check.id for i, check in enumerate(board.checks) if np.isfinite(price[i])]
        rest = [name for name in order if name in open_ids]
        if group.max() >= sure * group.sum() or not rest:
            return repairs_only(board, here)
        return Choice("check", [check.id for check in board.checks].index(rest[0]))
    return policy


def random_checks(seed: int, sure: float = 0.9) -> Policy:
    """Any check that is left, until a suspect is `sure`; the seed makes a run repeatable."""
    generator = np.random.default_rng(seed)

    def policy(board: Board, here: Situation) -> Choice:
        _, price = _bits_and_prices(board, here)
        offered = np.flatnonzero(np.isfinite(price))
        if stands_out(board, here, sure) or not len(offered):
            return repairs_only(board, here)
        return Choice("check", int(generator.choice(offered)))
    return policy


def rollout_over(base: Policy) -> Policy:
    """Least exact cost of one action followed by the base policy to the end (small boards only)."""
    def policy(board: Board, here: Situation) -> Choice:
        costs = {choice: cost_then(board, base, here, choice) for choice in offers(board, here)}
        return min(costs, key=lambda choice: costs[choice])
    return policy


def cost_then(board: Board, base: Policy, here: Situation, choice: Choice) -> float:
    """Exact cost of an action and the base policy after it, scaled by mass."""
    cost, after = follow(board, here, choice)
    return cost + sum(policy_cost(board, base, situation) for situation in after)


def offers(board: Board, here: Situation) -> list[Choice]:
    """Everything that can be done in a situation."""
    board.places.fill(np.array([here.place]), np.append(board.check_columns, board.repair_columns))
    price = board.places.price[here.place]
    checks = (here.left > 0) & np.isfinite(price[: len(board.checks)])
    repairs = ~here.tried & np.isfinite(price[len(board.checks):])
    return [
        *(Choice("check", int(index)) for index in np.flatnonzero(checks)),
        *(Choice("repair", int(index)) for index in np.flatnonzero(repairs)),
        *(Choice("stop", index) for index in range(len(board.endings))),
    ]


def clairvoyant_cost(board: Board, here: Situation) -> float:
    """A bound no policy beats: each row's best repairs if it were known, scaled by mass."""
    return Clairvoyant(board).bound(here)


def stands_out(board: Board, here: Situation, sure: float) -> bool:
    """True if one suspect's probability is at least `sure`."""
    masses = np.bincount(board.suspect, weights=here.mass)
    return bool(masses.max() >= sure * masses.sum())


def _bits_and_prices(board: Board, here: Situation) -> tuple[Floats, Floats]:
    """(C,) bits, and price with set-up: inf where a check is not offered, and no bits there."""
    board.places.fill(np.array([here.place]), board.check_columns)
    price = board.places.price[here.place, : len(board.checks)] + board.look_cost
    price = np.where(here.left > 0, price, np.inf)
    bits = bits_of_all(here.mass, board.outcome, board.first, board.suspect)
    return np.where(np.isfinite(price), bits, 0.0), price


def _two_step_worth(board: Board, here: Situation, check: int, sure: float) -> float:
    """The greatest ratio of bits to price over the second checks, by Dinkelbach's iteration."""
    bits, price = _bits_and_prices(board, here)
    whole = here.mass.sum()
    _, after = follow_check(board, here, check)
    branches = [
        (situation.mass.sum() / whole, *_bits_and_prices(board, situation))
        for situation in after
        if situation.mass.sum() > GONE * whole and not stands_out(board, situation, sure)
    ]
    branches = [branch for branch in branches if np.isfinite(branch[2]).any()]
    ratio = -1.0
    gained, paid = float(bits[check]), float(price[check])
    while gained / paid > ratio + NO_BITS:
        ratio = gained / paid
        gained, paid = float(bits[check]), float(price[check])
        for chance, more_bits, more_price in branches:
            pick = _best_second(more_bits, more_price, ratio)
            gained += float(chance * more_bits[pick])
            paid += float(chance * more_price[pick])
    return ratio


def _best_second(bits: Floats, price: Floats, ratio: float) -> int:
    values = np.where(np.isfinite(price), bits - ratio * np.where(np.isfinite(price), price, 0.0),
                      -np.inf)
    order: Ints = np.argsort(-values, kind="stable")
    return int(order[0])
