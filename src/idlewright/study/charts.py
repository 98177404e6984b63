"""Fixed orders of checks: as a manual would have it, and as an optimiser puts it on other cars."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files

import numpy as np

from idlewright.diagnosis.belief import believe
from idlewright.diagnosis.prior import prior_of
from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family
from idlewright.job.case import case_of
from idlewright.job.file import load_job
from idlewright.job.prospects import limits_of, prospects
from idlewright.plan.board import Board, lay_out
from idlewright.plan.focus import focus
from idlewright.plan.ladder import climb
from idlewright.plan.outlook import Floats, Ints
from idlewright.practice.chance import Chance
from idlewright.study.book import Vehicle

STANDS_OUT = 0.6
"""Share of the belief that one repair serves, at which a chart is left for repairs."""
WORLDS = 48
MOVES = 150


def manual_order(family: Family) -> tuple[str, ...]:
    """The order of a manual for this family.

    Raises:
        BadInput: none is written down, or it names a check that the family does not have.
    """
    file = files(__package__) / "data" / f"{family.id}.toml"
    if not file.is_file():
        raise BadInput(
            Problem(
                f"there is no manual's order of checks for {family.id}",
                f"a file data/{family.id}.toml beside this module",
                "leave the charts out with --arms, or write one",
                key="arms",
            )
        )
    order = tuple(tomllib.loads(file.read_text(encoding="utf-8"))["order"])
    unknown = [check for check in order if check not in family.checks]
    if unknown:
        raise BadInput([
            Problem(f'the chart names the check "{check}"', f"a check of {family.id}",
                    "correct the chart", file=file.name, key="order")
            for check in unknown
        ])  # fmt: skip
    return order


def trained_order(
    vehicle: Vehicle, order: Sequence[str], seed: int, moves: int = MOVES
) -> tuple[str, ...]:
    """The same checks in a cheaper order, by local search on cars drawn from the belief.

    A check at a time is put in another place; what makes the same simulated jobs cheaper is kept.

    Args:
        vehicle: of the training cars. order: to begin with. seed: of the training cars and moves.
        moves: tried.
    """
    chance = Chance(seed)
    trial = _Trial.of(vehicle, chance.of("training cars"))
    rng = chance.of("moves")
    best = [check for check in order if check in trial.number]
    rest = [check for check in order if check not in trial.number]
    cost = trial.cost(best)
    for _ in range(moves):
        at, to = (int(k) for k in rng.integers(len(best), size=2))
        other = best.copy()
        other.insert(to, other.pop(at))
        found = trial.cost(other)
        if found < cost:
            best, cost = other, found
    return (*best, *rest)


@dataclass(frozen=True, slots=True)
class _Trial:
    """W simulated jobs before any reading.

    Attributes:
        board: of the first moment. number: column of each check. row: true row of each job, (W,).
        luck: an even number for each job and check, (W, C). start: place at the beginning.
    """

    board: Board
    number: dict[str, int]
    row: Ints
    luck: Floats
    start: int

    @classmethod
    def of(cls, vehicle: Vehicle, rng: np.random.Generator) -> _Trial:
        family, prepared = vehicle.family, vehicle.prepared
        job = load_job({"format": 1, "id": "training", "family": vehicle.source})
        belief = believe(
            prepared.model, case_of(job, prepared.model), prior_of(family),
            unlisted=prepared.unlisted,
        )  # fmt: skip
        outlook, _, _ = prospects(job, belief, prepared.forms, {})
        board = lay_out(outlook, limits_of(job))
        row = rng.choice(len(board.weight), size=WORLDS, p=board.weight / board.weight.sum())
        luck = rng.random((WORLDS, len(board.checks)))
        place = board.places.place(family.full_state({}))
        number = {check.id: k for k, check in enumerate(board.checks)}
        return cls(board, number, row, luck, place)

    def cost(self, order: Sequence[str]) -> float:
        """Mean cost of the jobs if checks are made in this order."""
        board = self.board
        mass = np.tile(board.weight, (len(self.row), 1))
        place = np.full(len(self.row), self.start, dtype=np.intp)
        spent = np.zeros(len(self.row))
        for check in (self.number[name] for name in order):
            group = board.by_class(mass)
            open_jobs = np.flatnonzero(group.max(axis=1) < STANDS_OUT * group.sum(axis=1))
            if not len(open_jobs):
                break
            board.places.fill(place[open_jobs], np.array([check]))
            price = board.places.price[place[open_jobs], check] + board.look_cost[check]
            here = open_jobs[np.isfinite(price)]
            spent[here] += price[np.isfinite(price)]
            mass[here] *= board.outcome[:, self._shown(check)[here]].T
            mass[here] /= mass[here].sum(axis=1, keepdims=True)
            place[here] = board.places.next[place[here], check]
        view = focus(board, mass)
        tried = np.zeros((len(mass), len(view.repairs)), dtype=bool)
        return float((spent + climb(view, view.by_class(mass), place, tried).cost).mean())

    def _shown(self, check: int) -> Ints:
        """Column of the outcome that each job's check shows, (W,)."""
        first = int(self.board.first[check])
        width = int((self.board.check_of == check).sum())
        chance = self.board.outcome[self.row, first : first + width].cumsum(axis=1)
        passed = (chance < self.luck[:, check : check + 1]).sum(axis=1)
        return np.asarray(first + np.minimum(passed, width - 1), dtype=np.intp)
