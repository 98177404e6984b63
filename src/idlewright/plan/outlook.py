"""What the planner is told: who may be guilty, what can be looked at and done, at what price.

The planner is discrete. It knows nothing of how beliefs or outcome chances were computed: a *row*
is one way the car may be (a fault, or a severity cell of one), and everything it needs about a
check or a repair is a chance per row. Money is in the tariff's currency, times are in minutes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import StateVariable

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

CheckKind = Literal["check", "reread"]
ActionKind = Literal["check", "reread", "repair", "stop"]

SUM_TOLERANCE = 1e-6
"""How far chances may be from summing to one before they are refused."""


@dataclass(frozen=True, slots=True)
class CheckOption:
    """One thing to look at, or to read again.

    Attributes:
        id: the check's id.
        outcome: (H, O) chance of each outcome in a car of each row; every row sums to 1.
        minutes, wait: hands-on and waiting minutes, without getting the car ready for it.
        money: what it uses up.
        needs: the car state it is done in; variables not named may stand as they are.
        leaves: what it leaves changed.
        kind: "check", or "reread" when it repeats a reading already taken.
        perishable: its evidence is lost once something spoils it.
        disturbs: it wipes, wakes or resets something; priced by the tariff.
        spoils: ids of perishable checks it destroys; None = all of them if it disturbs.
        repeats: how often it may be done; outcomes are independent given the row.
        tools, helper: what it takes. allowed, barred_because: False keeps it out, with the reason.
    """

    id: str
    outcome: Floats
    minutes: float
    wait: float = 0.0
    money: float = 0.0
    needs: Mapping[str, str] = field(default_factory=dict)
    leaves: Mapping[str, str] = field(default_factory=dict)
    kind: CheckKind = "check"
    perishable: bool = False
    disturbs: bool = False
    spoils: tuple[str, ...] | None = None
    repeats: int = 1
    tools: tuple[str, ...] = ()
    helper: bool = False
    allowed: bool = True
    barred_because: str = ""


@dataclass(frozen=True, slots=True)
class RepairOption:
    """One repair or setting with its proof. It is tried at most once.

    Attributes:
        id: the repair's id.
        cure: (H,) chance that it cures a car of this row.
        minutes, wait: hands-on and waiting minutes of the repair itself.
        proof_minutes, proof_wait: the same for showing that the fault is gone.
        parts: lowest and highest price of what is bought; the middle is the mean.
        needs, leaves: car state before and after.
        miss: chance that the proof passes although the car is not cured (a call-back).
        share: (H,) chance that it cures only its part of a row of several faults; the car then is
            one of row `into` (H,). None: no such rows.
        spoils: ids of perishable checks it destroys; None = all.
        tools, helper, allowed, barred_because: as for a check.
    """

    id: str
    cure: Floats
    minutes: float
    wait: float = 0.0
    proof_minutes: float = 0.0
    proof_wait: float = 0.0
    parts: tuple[float, float] = (0.0, 0.0)
    needs: Mapping[str, str] = field(default_factory=dict)
    leaves: Mapping[str, str] = field(default_factory=dict)
    miss: float = 0.0
    share: Floats | None = None
    into: Ints | None = None
    spoils: tuple[str, ...] | None = None
    tools: tuple[str, ...] = ()
    helper: bool = False
    allowed: bool = True
    barred_because: str = ""


@dataclass(frozen=True, slots=True)
class Ending:
    """One way to end the job without a proven cure, e.g. stop and send it on.

    Attributes:
        id: "stop" or another id.
        cost: (H,) what ending this way costs in a car of each row.
    """

    id: str
    cost: Floats


@dataclass(frozen=True, slots=True)
class Tariff:
    """What time and mishaps cost.

    Attributes:
        minute: money per hands-on minute.
        waiting: money per waiting minute (small: waits run beside other work).
        callback: an unresolved fault after its proof passed.
        wrong_repair: a repair that did nothing for the car, beyond its own minutes and parts.
        disturbance: each check that disturbs (gentle first).
        currency: for people.
    """

    minute: float
    waiting: float = 0.0
    callback: float = 0.0
    wrong_repair: float = 0.0
    disturbance: float = 0.0
    currency: str = ""


@dataclass(frozen=True, slots=True)
class Limits:
    """What this owner or shop can do and may spend.

    Attributes:
        tools: tool ids at hand; None = everything.
        helper: a second person is there.
        money: most that one action may cost (time, and parts at their highest price); None = any.
    """

    tools: frozenset[str] | None = None
    helper: bool = True
    money: float | None = None


@dataclass(frozen=True, slots=True)
class Outlook:
    """Everything the planner is told at one moment of a job.

    Attributes:
        weight: (H,) belief in each row, sums to 1.
        checks, repairs, endings: what can be done. At least one ending.
        tariff: prices.
        variables: the car's state variables, for getting it ready.
        suspect: (H,) number of the suspect each row belongs to, for bits; None = each its own.
    """

    weight: Floats
    checks: tuple[CheckOption, ...]
    repairs: tuple[RepairOption, ...]
    endings: tuple[Ending, ...]
    tariff: Tariff
    variables: Mapping[str, StateVariable] = field(default_factory=dict)
    suspect: Ints | None = None

    def __post_init__(self) -> None:
        problems = list(_faults(self))
        if problems:
            raise BadInput(problems)


def _faults(outlook: Outlook) -> Iterator[Problem]:
    rows = len(outlook.weight)
    if rows == 0 or not _is_chance(outlook.weight) or not _is_one(outlook.weight.sum()):
        yield Problem("the weights of the rows are not a belief", "chances that sum to 1")
    if not outlook.endings:
        yield Problem("the plan has no way to end", "at least one ending, such as 'stop'")
    for ending in outlook.endings:
        if ending.cost.shape != (rows,) or not _is_price(ending.cost):
            yield Problem(f"the cost of ending '{ending.id}' is wrong", f"{rows} prices >= 0")
    if outlook.suspect is not None and outlook.suspect.shape != (rows,):
        yield Problem("the rows' suspects are wrong", f"{rows} numbers")
    prices = outlook.tariff
    if not _is_price([prices.minute, prices.waiting, prices.callback, prices.wrong_repair,
                      prices.disturbance]):
        yield Problem("the tariff has a price below zero or not a number", "prices >= 0")
    for check in outlook.checks:
        yield from _check_faults(check, rows)
        yield from _state_faults(check, outlook.variables)
    for repair in outlook.repairs:
        yield from _repair_faults(repair, rows)
        yield from _state_faults(repair, outlook.variables)
    yield from _name_faults(outlook)


def _check_faults(check: CheckOption, rows: int) -> Iterator[Problem]:
    table = check.outcome
    if table.ndim != 2 or table.shape[0] != rows or table.shape[1] == 0:
        yield Problem(f"the outcome table of check '{check.id}' has the wrong shape",
                      f"{rows} rows and at least one outcome")
    elif not _is_chance(table) or not _is_one(table.sum(axis=1)):
        yield Problem(f"the outcome chances of check '{check.id}' are wrong",
                      "each row sums to 1")
    if not _is_price([check.minutes, check.wait, check.money]) or check.repeats < 0:
        yield Problem(f"check '{check.id}' has a negative time, price or count", "numbers >= 0")


def _repair_faults(repair: RepairOption, rows: int) -> Iterator[Problem]:
    share = np.zeros(rows) if repair.share is None else repair.share
    if (repair.share is None) != (repair.into is None):
        yield Problem(f"repair '{repair.id}' has only one of share and into", "both or neither")
    elif repair.cure.shape != (rows,) or share.shape != (rows,):
        yield Problem(f"repair '{repair.id}' has the wrong number of rows", f"{rows} chances")
    elif not all(map(_is_chance, (repair.cure, share, repair.cure + share))):
        yield Problem(f"the chances of repair '{repair.id}' are wrong", "numbers from 0 to 1")
    if repair.into is not None and (
        repair.into.shape != (rows,) or repair.into.min() < 0 or repair.into.max() >= rows
    ):
        yield Problem(f"repair '{repair.id}' leads to rows that do not exist", f"0 to {rows - 1}")
    low, high = repair.parts
    times = [repair.minutes, repair.wait, repair.proof_minutes, repair.proof_wait]
    if not _is_price([*times, low, high]) or low > high or not _is_chance(repair.miss):
        yield Problem(f"repair '{repair.id}' has an impossible time, price or chance",
                      "times >= 0, lowest price <= highest, 0 <= miss <= 1")


def _state_faults(
    action: CheckOption | RepairOption, variables: Mapping[str, StateVariable]
) -> Iterator[Problem]:
    for name, value in (*action.needs.items(), *action.leaves.items()):
        if name not in variables:
            yield Problem(f"'{action.id}' names the state '{name}', which the car does not have")
        elif value not in variables[name].values:
            yield Problem(f"'{action.id}' names '{name}' = '{value}'",
                          "one of " + ", ".join(variables[name].values))


def _name_faults(outlook: Outlook) -> Iterator[Problem]:
    for say, ids in (
        ("check", [check.id for check in outlook.checks]),
        ("repair", [repair.id for repair in outlook.repairs]),
        ("ending", [ending.id for ending in outlook.endings]),
    ):
        if len(set(ids)) < len(ids):
            yield Problem(f"two {say}s have the same id", "different ids")


def _is_chance(value: float | Floats) -> bool:
    array = np.asarray(value, dtype=float)
    return bool(np.all((array >= 0.0) & (array <= 1.0 + SUM_TOLERANCE)))


def _is_one(value: float | Floats) -> bool:
    return bool(np.all(np.abs(np.asarray(value) - 1.0) <= SUM_TOLERANCE))


def _is_price(value: list[float] | Floats) -> bool:
    array = np.asarray(value, dtype=float)
    return bool(np.all(np.isfinite(array) & (array >= 0.0)))
