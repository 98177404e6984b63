"""The outlook laid out as arrays: rows sorted into classes that no repair can tell apart.

Two rows that every repair and ending treats alike (the severity cells of one fault, say) form a
class. What repairs cost depends on the classes' masses only; what checks show depends on rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from idlewright.plan.errands import Errands, Visit, errands_for
from idlewright.plan.outlook import (
    ActionKind,
    Bools,
    CheckOption,
    Ending,
    Floats,
    Ints,
    Limits,
    Outlook,
    RepairOption,
    Tariff,
)
from idlewright.plan.places import Places
from idlewright.plan.setup import SetUp

CLASS_DIGITS = 9
"""Rows whose chances and costs agree to so many digits belong to one class."""


@dataclass(frozen=True, slots=True)
class Barred:
    """An action that is not offered, and why."""

    kind: Literal["check", "reread", "repair"]
    id: str
    reason: str


@dataclass(frozen=True, slots=True)
class Situation:
    """Where a job stands inside the planner.

    Attributes:
        mass: (H,) unnormalised belief, rows in the board's order.
        place: number of the car state.
        left: (C,) how often each check may still be done.
        tried: (R,) repairs already made.
    """

    mass: Floats
    place: int
    left: Ints
    tried: Bools


@dataclass(frozen=True, slots=True)
class Choice:
    """An action by its column: a check, a repair, or an ending ("stop")."""

    kind: Literal["check", "repair", "stop"]
    index: int


@dataclass(frozen=True, slots=True)
class Board:
    """An outlook as arrays. H rows, K classes, C checks, Q outcomes of all checks, R repairs.

    Attributes:
        order: (H,) row numbers of the outlook in the board's order.
        weight: (H,) belief. suspect: (H,) suspects counted from 0; suspect_names: (S,) the
            outlook's numbers for them.
        class_of: (H,) class of each row, ascending; edges: (K + 1,) where each class begins.
        outcome: (H, Q) chances. first: (C,) first column of each check. check_of: (Q,).
        look_cost: (C,) money for the check itself, its disturbance included.
        lost_to_check: (C, C) and lost_to_repair: (R, C): perishable checks that an action destroys.
        cure, share: (R, H) chances. into: (R, H) rows; shares: any share above zero.
        class_cure, class_share: (K, R); class_into: (K, R).
        repair_cost: (R,) money for repair, mean parts and proof. miss: (R,).
        ending: (K, E) and row_ending: (H, E) costs.
        floor: (K,) least cost for a class if it were known and the car stood ready.
    """

    checks: tuple[CheckOption, ...]
    repairs: tuple[RepairOption, ...]
    endings: tuple[Ending, ...]
    barred: tuple[Barred, ...]
    tariff: Tariff
    places: Places
    order: Ints
    weight: Floats
    suspect: Ints
    suspect_names: Ints
    class_of: Ints
    edges: Ints
    outcome: Floats
    first: Ints
    check_of: Ints
    look_cost: Floats
    lost_to_check: Bools
    lost_to_repair: Bools
    cure: Floats
    share: Floats
    into: Ints
    shares: bool
    class_cure: Floats
    class_share: Floats
    class_into: Ints
    repair_cost: Floats
    miss: Floats
    ending: Floats
    row_ending: Floats
    floor: Floats

    @property
    def check_columns(self) -> Ints:
        """Columns of the checks in `places`."""
        return np.arange(len(self.checks))

    @property
    def repair_columns(self) -> Ints:
        """Columns of the repairs in `places`."""
        return np.arange(len(self.checks), len(self.checks) + len(self.repairs))

    def start(
        self, state: Mapping[str, str], left: Mapping[str, float] | None = None
    ) -> Situation:
        """The situation at the outlook's own moment, with the car in `state`.

        Args:
            state: state variables that are known.
            left: minutes left of fading values; missing ones have just been reached.
        """
        return Situation(
            mass=self.weight, place=self.places.place(state, left),
            left=np.array([check.repeats for check in self.checks], dtype=np.intp),
            tried=np.zeros(len(self.repairs), dtype=bool),
        )

    def kind(self, choice: Choice) -> ActionKind:
        """The action's kind as people see it: a check may be a re-reading."""
        return self.checks[choice.index].kind if choice.kind == "check" else choice.kind

    def id(self, choice: Choice) -> str:
        """The id of the action."""
        if choice.kind == "check":
            return self.checks[choice.index].id
        options = self.repairs if choice.kind == "repair" else self.endings
        return options[choice.index].id

    def by_class(self, mass: Floats) -> Floats:
        """(…, K) class masses of row masses (…, H)."""
        return np.add.reduceat(mass, self.edges[:-1], axis=-1)


def lay_out(
    outlook: Outlook, limits: Limits | None = None, setup: SetUp | None = None
) -> Board:
    """Lay an outlook out as arrays, leaving out what the limits do not allow.

    Args:
        outlook: what is known and offered.
        limits: tools, people and money; None = no limits.
        setup: another way to get the car ready than by its state variables.
    """
    checks, repairs, barred = _filter(outlook, limits or Limits())
    rows = len(outlook.weight)
    row_cure = _stack([repair.cure for repair in repairs], rows)
    row_share = _stack(
        [np.zeros(rows) if r.share is None else r.share for r in repairs], rows
    )
    row_into = _rows_into(repairs, rows)
    row_ending = np.stack([ending.cost for ending in outlook.endings], axis=1)
    labels = _classes(row_cure, row_share, row_into, row_ending)
    order = np.argsort(labels, kind="stable")
    place_of_row = np.empty(rows, dtype=np.intp)
    place_of_row[order] = np.arange(rows)
    class_of = labels[order]
    edges = np.append(np.flatnonzero(np.diff(class_of, prepend=-1)), rows)
    heads = edges[:-1]
    cure, share = row_cure[:, order], row_share[:, order]
    into = place_of_row[row_into[:, order]]
    miss = np.array([repair.miss for repair in repairs])
    widths = [check.outcome.shape[1] for check in checks]
    repair_cost = _repair_costs(repairs, outlook.tariff)
    ending = row_ending[order]
    names, suspect = np.unique(
        np.arange(rows) if outlook.suspect is None else outlook.suspect, return_inverse=True
    )
    return Board(
        checks=checks, repairs=repairs, endings=outlook.endings, barred=barred,
        tariff=outlook.tariff, places=_places(outlook, checks, repairs, setup),
        order=order, weight=np.asarray(outlook.weight, dtype=float)[order],
        suspect=suspect.reshape(-1)[order], suspect_names=names,
        class_of=class_of, edges=edges,
        outcome=np.concatenate([np.zeros((rows, 0)), *(c.outcome for c in checks)], axis=1)[order],
        first=np.cumsum([0, *widths[:-1]], dtype=np.intp)[: len(checks)],
        check_of=np.repeat(np.arange(len(checks)), widths).astype(np.intp),
        look_cost=_look_costs(checks, outlook.tariff),
        lost_to_check=_spoiled(
            checks, [c.spoils if c.disturbs or c.spoils else () for c in checks]
        ),
        lost_to_repair=_spoiled(checks, [repair.spoils for repair in repairs]),
        cure=cure, share=share, into=into, shares=bool(share.any()),
        class_cure=np.ascontiguousarray(cure[:, heads].T),
        class_share=np.ascontiguousarray(share[:, heads].T),
        class_into=np.ascontiguousarray(class_of[into[:, heads]].T),
        repair_cost=repair_cost, miss=miss, ending=ending[heads], row_ending=ending,
        floor=_floor(cure[:, heads], share[:, heads], repair_cost, miss, ending[heads],
                     outlook.tariff.callback),
    )


def _rows_into(repairs: Sequence[RepairOption], rows: int) -> Ints:
    """Row that each repair turns each row into, (R, rows); itself unless the repair says else."""
    into = [np.arange(rows) if repair.into is None else repair.into for repair in repairs]
    return np.array(into, dtype=np.intp).reshape(len(repairs), rows)


def _filter(
    outlook: Outlook, limits: Limits
) -> tuple[tuple[CheckOption, ...], tuple[RepairOption, ...], tuple[Barred, ...]]:
    barred: list[Barred] = []
    checks: list[CheckOption] = []
    repairs: list[RepairOption] = []
    tariff = outlook.tariff
    for check in outlook.checks:
        money = check.money + tariff.minute * check.minutes
        reason = _why_not(check, money, limits)
        if reason:
            barred.append(Barred(check.kind, check.id, reason))
        elif check.repeats > 0:
            checks.append(check)
    for repair in outlook.repairs:
        money = repair.parts[1] + tariff.minute * (repair.minutes + repair.proof_minutes)
        reason = _why_not(repair, money, limits)
        if reason:
            barred.append(Barred("repair", repair.id, reason))
        else:
            repairs.append(repair)
    return tuple(checks), tuple(repairs), tuple(barred)


def _why_not(action: CheckOption | RepairOption, money: float, limits: Limits) -> str:
    if not action.allowed:
        return action.barred_because or "not allowed"
    missing = [] if limits.tools is None else sorted(set(action.tools) - limits.tools)
    if missing:
        return "needs " + ", ".join(missing)
    if action.helper and not limits.helper:
        return "needs a second person"
    if limits.money is not None and money > limits.money:
        return f"may cost {money:.0f}, more than the {limits.money:.0f} that is agreed"
    return ""


def _stack(arrays: list[Floats], rows: int) -> Floats:
    return np.array(arrays, dtype=float).reshape(len(arrays), rows)


def _classes(cure: Floats, share: Floats, into: Ints, ending: Floats) -> Ints:
    """Number the rows so that rows with one number cannot be told apart by any repair or ending."""
    features = np.round(np.concatenate([cure, share, ending.T]), CLASS_DIGITS).T
    labels = np.unique(features, axis=0, return_inverse=True)[1].reshape(-1)
    while share.any():
        leads = np.where(share > 0.0, labels[into], -1).T
        finer = np.unique(
            np.column_stack([labels, leads]), axis=0, return_inverse=True
        )[1].reshape(-1)
        if finer.max() == labels.max():
            break
        labels = finer
    return labels.astype(np.intp)


def _places(
    outlook: Outlook, checks: tuple[CheckOption, ...], repairs: tuple[RepairOption, ...],
    setup: SetUp | None,
) -> Places:
    tariff = outlook.tariff
    visits = [Visit(c.needs, c.leaves, c.minutes + c.wait) for c in checks]
    visits += [
        Visit(r.needs, r.leaves, r.minutes + r.wait + r.proof_minutes + r.proof_wait)
        for r in repairs
    ]
    errands = Errands(setup, tariff) if setup else errands_for(outlook.variables, tariff)
    return Places(errands, visits)


def _look_costs(checks: tuple[CheckOption, ...], tariff: Tariff) -> Floats:
    return np.array([
        c.money + tariff.minute * c.minutes + tariff.waiting * c.wait
        + (tariff.disturbance if c.disturbs else 0.0)
        for c in checks
    ])


def _repair_costs(repairs: tuple[RepairOption, ...], tariff: Tariff) -> Floats:
    return np.array([
        sum(r.parts) / 2.0 + tariff.minute * (r.minutes + r.proof_minutes)
        + tariff.waiting * (r.wait + r.proof_wait)
        for r in repairs
    ])


def _spoiled(
    checks: tuple[CheckOption, ...], spoils: list[tuple[str, ...] | None]
) -> Bools:
    perishable = np.array([check.perishable for check in checks], dtype=bool)
    lost = np.zeros((len(spoils), len(checks)), dtype=bool)
    for index, ids in enumerate(spoils):
        named = [ids is None or check.id in ids for check in checks]
        lost[index] = perishable & np.array(named, dtype=bool)
    return lost


def _floor(
    cure: Floats, share: Floats, price: Floats, miss: Floats, ending: Floats, callback: float
) -> Floats:
    """(K,) what no plan can beat for a class: one useful repair on a ready car, or an ending."""
    least: Floats = ending.min(axis=1)
    if not len(price):
        return least
    useful = np.where(cure + share > 0.0, price[:, None], np.inf)
    let_go = np.where(miss > 0.0, price + callback, np.inf).min()
    return np.asarray(np.minimum(np.minimum(least, useful.min(axis=0)), let_go))
