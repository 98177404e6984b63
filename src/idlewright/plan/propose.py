"""The next step: every action ranked by the expected cost to a proven cure, with its reasons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from idlewright.plan.board import Barred, Board, Choice, Situation, lay_out
from idlewright.plan.information import bits_of_all, suspect_masses
from idlewright.plan.outlook import ActionKind, Floats, Ints, Limits, Outlook
from idlewright.plan.rollout import Ranking, myopic_ranking, rollout_ranking
from idlewright.plan.setup import Journey
from idlewright.plan.spread import Cost, cost_of

Depth = Literal["myopic", "rollout"]
Reason = Literal["separates", "perishable", "pays with another", "read again", "cures", "ends it"]

ALIKE = 1e-6
"""Costs that differ by less than this share of the least one are a tie."""

TELLS_NOTHING = 1e-3
"""Bits below which a check is worth doing only for what another one then tells."""


@dataclass(frozen=True, slots=True)
class Minutes:
    """Hands-on minutes of set-up and of the action (a repair's proof included), and waiting."""

    setup: float
    do: float
    wait: float


@dataclass(frozen=True, slots=True)
class Why:
    """What speaks for an action, as numbers for a sentence.

    Attributes:
        reason: the kind of sentence.
        price: money for the action itself, set-up included.
        saves: how much less than repairing without any more checks the job is expected to cost.
        charge: priced loss of perishable evidence it destroys (counted at myopic depth only).
        chances: a check's outcomes, or a repair's chance of a cure.
        leaders: after each outcome of a check, the leading suspect's number and its probability.
    """

    reason: Reason
    price: float
    saves: float
    charge: float
    chances: tuple[float, ...]
    leaders: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do next.

    Attributes:
        kind, id: what it is.
        setup: the moves that get the car ready.
        minutes: set-up, doing, waiting.
        bits: expected information about the suspect.
        cost_to_go: expected cost to a proven cure if this is done next, charges included.
        p_cure: a repair's chance of curing the car, else 0. parts: its lowest and highest price.
        why: reasons. refined: its cost was followed through the look-ahead.
    """

    kind: ActionKind
    id: str
    setup: Journey
    minutes: Minutes
    bits: float
    cost_to_go: float
    p_cure: float
    parts: tuple[float, float]
    why: Why
    refined: bool


@dataclass(frozen=True, slots=True)
class Proposal:
    """All actions, best first, and what the job is expected to cost.

    Attributes:
        actions: best first; never empty.
        barred: what is not offered, with the reason.
        cost: of the first action and the plan after it.
        without_checks: expected cost of repairing without any more checks.
        depth: how far was looked. nodes: situations assessed.
    """

    actions: tuple[Action, ...]
    barred: tuple[Barred, ...]
    cost: Cost
    without_checks: float
    depth: Depth
    nodes: int

    @property
    def next(self) -> Action:
        """The proposed next step."""
        return self.actions[0]


def propose(
    outlook: Outlook,
    state: Mapping[str, str],
    limits: Limits | None = None,
    depth: Depth = "rollout",
    left: Mapping[str, float] | None = None,
) -> Proposal:
    """Rank everything that can be done next.

    Args:
        outlook: beliefs, options and prices.
        state: the car's state variables as far as they are known.
        limits: tools, people and money; None = no limits.
        depth: "myopic" (one check, then repairs) or "rollout".
        left: minutes left of fading state values; missing ones have just been reached.
    """
    board = lay_out(outlook, limits)
    return propose_at(board, board.start(state, left), depth)


def propose_at(board: Board, here: Situation, depth: Depth = "rollout") -> Proposal:
    """The same from a situation on a board."""
    ranking = rank(board, here, depth)
    offered = ordered(board, ranking)
    told = _Told.of(board, here)
    actions = [_action(board, here, ranking, told, choice) for choice in offered]
    return Proposal(
        actions=tuple(actions), barred=board.barred + _out_of_reach(board, here),
        cost=cost_of(board, ranking.root, offered[0], actions[0].cost_to_go),
        without_checks=ranking.ladder, depth=depth, nodes=ranking.nodes,
    )


def rank(board: Board, here: Situation, depth: Depth) -> Ranking:
    """Costs to go of all actions at the depth asked for."""
    return rollout_ranking(board, here) if depth == "rollout" else myopic_ranking(board, here)


def ordered(board: Board, ranking: Ranking) -> list[Choice]:
    """Choices that are offered, cheapest first; ties go to what is lost first, gentle and quick."""
    costs = {
        **{Choice("check", i): c for i, c in enumerate(ranking.check + ranking.check_charge)},
        **{Choice("repair", i): c for i, c in enumerate(ranking.repair + ranking.repair_charge)},
        **{Choice("stop", i): c for i, c in enumerate(ranking.ending)},
    }
    offered = [choice for choice in costs if np.isfinite(costs[choice])]
    grain = ALIKE * max(ALIKE, *sorted(costs[choice] for choice in offered)[:1])
    return sorted(offered, key=lambda one: (round(costs[one] / grain), *_manner(board, one)))


def _manner(board: Board, choice: Choice) -> tuple[int, bool, bool, float, str]:
    rank_of = ("check", "repair", "stop").index(choice.kind)
    if choice.kind == "check":
        check = board.checks[choice.index]
        return rank_of, not check.perishable, check.disturbs, check.minutes, check.id
    minutes = board.repairs[choice.index].minutes if choice.kind == "repair" else 0.0
    return rank_of, False, False, minutes, board.id(choice)


def _out_of_reach(board: Board, here: Situation) -> tuple[Barred, ...]:
    columns = np.append(board.check_columns, board.repair_columns)
    board.places.fill(np.array([here.place]), columns)
    reason = "the car cannot be got ready for it from here"
    options = [
        *(Barred(check.kind, check.id, reason) for check in board.checks),
        *(Barred("repair", repair.id, reason) for repair in board.repairs),
    ]
    return tuple(options[i] for i in columns[~np.isfinite(board.places.price[here.place])])


@dataclass(frozen=True, slots=True)
class _Told:
    """What checks would show: bits (C,), and of each outcome (Q,) its chance, leader and share."""

    bits: Floats
    chance: Floats
    leader: Ints
    share: Floats

    @classmethod
    def of(cls, board: Board, here: Situation) -> _Told:
        joint = suspect_masses(here.mass[:, None] * board.outcome, board.suspect)
        chance = joint.sum(axis=0)
        share = joint.max(axis=0, initial=0.0) / np.where(chance > 0.0, chance, 1.0)
        bits = bits_of_all(here.mass, board.outcome, board.first, board.suspect)
        return cls(bits, chance / here.mass.sum(), joint.argmax(axis=0), share)


def _action(
    board: Board, here: Situation, ranking: Ranking, told: _Told, choice: Choice
) -> Action:
    whole = float(here.mass.sum())
    refined = choice in ranking.refined
    if choice.kind == "stop":
        cost = float(ranking.ending[choice.index]) / whole
        why = Why("ends it", cost, ranking.ladder / whole - cost, 0.0, (), ())
        stay = Journey((), 0.0, 0.0, board.places.state(here.place))
        return Action("stop", board.id(choice), stay, Minutes(0.0, 0.0, 0.0), 0.0, cost, 0.0,
                      (0.0, 0.0), why, refined)
    if choice.kind == "repair":
        return _repair_action(board, here, ranking, choice.index, refined)
    return _check_action(board, here, ranking, told, choice.index)


def _journey(board: Board, here: Situation, needs: Mapping[str, str]) -> Journey:
    journey = board.places.journey(here.place, needs)
    assert journey is not None, "an offered action can be got ready for"
    return journey


def _check_action(
    board: Board, here: Situation, ranking: Ranking, told: _Told, index: int
) -> Action:
    check = board.checks[index]
    journey = _journey(board, here, check.needs)
    whole = float(here.mass.sum())
    charge = float(ranking.check_charge[index]) / whole
    cost = float(ranking.check[index]) / whole + charge
    bits = float(told.bits[index])
    begin = int(board.first[index])
    shown = slice(begin, begin + check.outcome.shape[1])
    reason: Reason = "separates"
    if check.kind == "reread":
        reason = "read again"
    elif check.perishable:
        reason = "perishable"
    elif bits < TELLS_NOTHING:
        reason = "pays with another"
    why = Why(
        reason, float(board.places.price[here.place, index] + board.look_cost[index]),
        ranking.ladder / whole - cost, charge, tuple(told.chance[shown].tolist()),
        tuple(zip(board.suspect_names[told.leader[shown]].tolist(), told.share[shown].tolist(),
                  strict=True)),
    )
    minutes = Minutes(journey.minutes, check.minutes, journey.wait + check.wait)
    refined = Choice("check", index) in ranking.refined
    return Action(check.kind, check.id, journey, minutes, bits, cost, 0.0, (0.0, 0.0), why, refined)


def _repair_action(
    board: Board, here: Situation, ranking: Ranking, index: int, refined: bool
) -> Action:
    repair = board.repairs[index]
    journey = _journey(board, here, repair.needs)
    whole = float(here.mass.sum())
    charge = float(ranking.repair_charge[index]) / whole
    cost = float(ranking.repair[index]) / whole + charge
    p_cure = float(here.mass @ board.cure[index]) / whole
    column = len(board.checks) + index
    price = float(board.places.price[here.place, column] + board.repair_cost[index])
    why = Why("cures", price, ranking.ladder / whole - cost, charge, (p_cure,), ())
    minutes = Minutes(
        journey.minutes, repair.minutes + repair.proof_minutes,
        journey.wait + repair.wait + repair.proof_wait,
    )
    return Action("repair", repair.id, journey, minutes, 0.0, cost, p_cure, repair.parts, why,
                  refined)
