"""One roll-out step over the myopic policy, within a fixed amount of work.

The candidates (best checks, repairs, stopping, and checks that only pay together) are each followed
by the myopic policy, planned afresh at every node of its tree. The tree is unfolded where unfolding
can lower the cost most. The budget is counted in work, not in time: same answer on every machine.
When few suspects and checks are left, the plan is searched to the end and is exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from idlewright.plan.board import Board, Choice, Situation
from idlewright.plan.myopic import Table, repair_costs, rung_charges, tabulate
from idlewright.plan.outlook import Floats
from idlewright.plan.pairs import first_of_pairs
from idlewright.plan.search import exact_branch
from idlewright.plan.tree import Node, assess, branch_out, ladder_choice, least, stand_of

CANDIDATES = 8
REPAIRS = 2
TELLING = 3
"""Candidates besides stopping; how many of them are repairs, and checks for their bits, at most."""

KEEP = 10
"""Checks worked out at each node below the root."""

BATCH = 8
"""Nodes assessed together."""

WORK = 3_000_000
"""Budget of a roll-out: nodes times outcomes times classes."""

CROWD = 8
"""Nodes that unfolding one node adds, about."""

MOST_NODES = 1000
LEAST_NODES = 128

WIDTH = (CANDIDATES, 2, 2, 1)
"""Choices unfolded at each depth; the last number holds further down."""

CLOSE = 0.1
"""Candidates within this share of the best one are unfolded further."""


@dataclass(frozen=True, slots=True)
class Ranking:
    """All actions at the root with their costs to go, and the tree behind them.

    Attributes:
        check: (C,), repair: (R,), ending: (E,) cost to go, inf where not offered.
        check_charge: (C,), repair_charge: (R,) charged for perishable evidence lost (myopic only).
        ladder: cost of repairing without checks.
        root: the tree's root. nodes: how many nodes were assessed.
        refined: choices whose cost was followed through the tree.
        telling: checks that tell most for their price while many suspects are left.
    """

    check: Floats
    repair: Floats
    ending: Floats
    check_charge: Floats
    repair_charge: Floats
    ladder: float
    root: Node
    nodes: int
    refined: frozenset[Choice]
    telling: tuple[int, ...] = ()


def myopic_ranking(board: Board, here: Situation) -> Ranking:
    """Costs to go if after each action only the ladder follows."""
    root = Node(here, 0)
    stand = stand_of([root])
    table = tabulate(board, stand)
    repairs = repair_costs(board, stand)[0]
    checks = table.check[0]
    root.estimate, root.first = least(board, root, table, 0)
    root.value = root.estimate
    root.floor = float(board.by_class(here.mass) @ board.floor)
    root.options = _root_options(board, root, table, repairs)
    rate = table.ahead.rate[0]
    telling = np.argsort(-rate, kind="stable")
    return Ranking(
        check=checks, repair=repairs, ending=here.mass @ board.row_ending,
        check_charge=table.charge[0], repair_charge=rung_charges(board, table)[0],
        ladder=float(table.ladder[0]), root=root, nodes=1, refined=frozenset(),
        telling=tuple(i for i in telling[:TELLING].tolist() if rate[i] > 0.0),
    )


def rollout_ranking(
    board: Board, here: Situation, work: int = WORK, exact_end: bool = True
) -> Ranking:
    """Costs to go with the candidates followed by the myopic policy.

    Args:
        board: the outlook as arrays.
        here: where the job stands.
        work: budget, in nodes times outcomes times classes.
        exact_end: search small boards to the end besides.
    """
    start = myopic_ranking(board, here)
    root = start.root
    size = max(1, board.outcome.shape[1] * (len(board.edges) - 1))
    budget = int(np.clip(work // size, LEAST_NODES, MOST_NODES))
    root.branches = [branch_out(board, root, choice) for choice in _candidates(board, start)]
    fresh = [child for branch in root.branches for child in branch.children]
    nodes = [root, *fresh]
    assess_in_batches(board, fresh)
    while len(nodes) < budget:
        back_up(nodes)
        chosen = _worth_unfolding(root)[: max(1, (budget - len(nodes)) // CROWD)]
        if not chosen:
            break
        fresh = []
        for node in chosen:
            width = WIDTH[min(node.depth, len(WIDTH) - 1)]
            node.branches = [
                branch_out(board, node, choice) for _, choice in node.options[:width]
            ]
            fresh += [child for branch in node.branches for child in branch.children]
        assess_in_batches(board, fresh)
        nodes += fresh
    back_up(nodes)
    best = exact_branch(board, here) if exact_end else None
    if best is not None:
        others = [branch for branch in root.branches if branch.choice != best.choice]
        root.branches = [best, *others]
        root.back_up()
    return _refined(start, root, len(nodes))


def assess_in_batches(board: Board, nodes: list[Node]) -> None:
    """Assess nodes a batch at a time, which bounds the memory."""
    for begin in range(0, len(nodes), BATCH):
        assess(board, nodes[begin : begin + BATCH], KEEP)


def back_up(nodes: list[Node]) -> None:
    """Carry values from the leaves to the root; parents stand before their children."""
    for node in reversed(nodes):
        node.back_up()


def _worth_unfolding(root: Node) -> list[Node]:
    """The leaves under close candidates whose unfolding could lower the cost most."""
    limit = root.value + CLOSE * (root.value - root.floor)
    best = min(root.branches, key=lambda branch: branch.value)
    leaves: list[Node] = []
    pending = [
        child for branch in root.branches if branch.value <= limit or branch is best
        for child in branch.children
    ]
    while pending:
        node = pending.pop()
        if node.branches:
            pending += [child for branch in node.branches for child in branch.children]
        elif node.gap > 1e-3 * (root.value - root.floor):
            leaves.append(node)
    leaves.sort(key=lambda node: -node.gap)
    return leaves[:BATCH]


def _candidates(board: Board, start: Ranking) -> list[Choice]:
    """Best checks, repairs and stopping by myopic cost, and checks that pay only together."""
    named = [choice for _, choice in start.root.options]
    repairs = [choice for choice in named if choice.kind == "repair"][:REPAIRS]
    stop = [choice for choice in named if choice.kind == "stop"]
    checks = [choice for choice in named if choice.kind == "check"][: CANDIDATES - len(repairs)]
    telling = [Choice("check", check) for check in start.telling]
    checks = list(dict.fromkeys([*telling, *checks]))
    together = [
        choice
        for check in first_of_pairs(board, start.root.situation, start.check)
        if (choice := Choice("check", check)) not in checks
    ]
    room = max(1, CANDIDATES - len(repairs) - len(together))
    return [*checks[:room], *together, *repairs, *stop]


def _root_options(
    board: Board, root: Node, table: Table, repairs: Floats
) -> list[tuple[float, Choice]]:
    checks = table.check[0] + table.charge[0]
    charged = repairs + rung_charges(board, table)[0]
    endings = root.situation.mass @ board.row_ending
    options = [(float(c), Choice("check", i)) for i, c in enumerate(checks)]
    options += [(float(c), Choice("repair", i)) for i, c in enumerate(charged)]
    options.append((float(endings.min()), Choice("stop", int(endings.argmin()))))
    first = ladder_choice(board, root, int(table.rung[0]))
    found = [option for option in options if np.isfinite(option[0])]
    return sorted(found, key=lambda option: (option[0], option[1] != first))


def _refined(start: Ranking, root: Node, nodes: int) -> Ranking:
    check, repair, ending = start.check.copy(), start.repair.copy(), start.ending.copy()
    costs = {"check": check, "repair": repair, "stop": ending}
    for branch in root.branches:
        costs[branch.choice.kind][branch.choice.index] = branch.value
    return Ranking(
        check=check, repair=repair, ending=ending,
        check_charge=np.zeros_like(check), repair_charge=np.zeros_like(repair),
        ladder=start.ladder, root=root, nodes=nodes,
        refined=frozenset(branch.choice for branch in root.branches),
    )
