"""From belief to plan: what can be looked at and done now, what it costs, what it would show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from idlewright.diagnosis.belief import Belief
from idlewright.family.kinds import Check, Family, Repair
from idlewright.job.entries import JobFile
from idlewright.job.outcomes import MOST_PAIRS, Answers, Ways, pair_code, ways_of
from idlewright.model.forms import Form
from idlewright.plan.outlook import CheckOption, Ending, Limits, Outlook, RepairOption, Tariff

LABOUR_HOUR = 80.0
"""Price of one labour hour, euro (common practice, no source; a shop sets its own)."""
TARIFF = Tariff(
    minute=LABOUR_HOUR / 60.0,
    waiting=0.1,
    callback=150.0,
    wrong_repair=25.0,
    disturbance=3.0,
    currency="euro",
)
SEND_ON = 250.0
"""What stopping and sending the car on costs on top of the cure that somebody must still buy:
the way there, and looking at it all again (common practice, no source)."""
UNKNOWN_CURE = 200.0
"""What curing a fault that nobody listed costs somebody else (common practice, no source)."""
HAND_BACK = 25.0
"""What stopping costs when nothing is wrong now: saying so, and how to provoke it."""
LOAD_TEST_MINUTES = 5.0
MISSED_PROOF = 0.03
UNLIKELY_CURE = 0.003
REREAD_FROM = 0.03


def prospects(
    job: JobFile, belief: Belief, forms: Mapping[str, Form], done_checks: Mapping[str, int]
) -> tuple[Outlook, Ways, Answers]:
    """The planner's outlook for a job.

    Args:
        job: state, tools, what was done. belief: after its readings.
        forms: of the family's checks.
        done_checks: check id -> position of the reading that counts in the present epoch.
    """
    model = belief.model
    numbers = sorted({model.number_of(x) for form in forms.values() for x in form.latents()})
    ways = ways_of(belief, numbers)
    answers = Answers(belief, ways)
    family = model.family
    checks = []
    for check in family.checks.values():
        position = done_checks.get(check.id)
        if position is not None and belief.slip[position] < REREAD_FROM:
            continue
        table = answers.table(check, forms[check.id])
        checks.append(_check_option(check, table, reread=position is not None))
    return _outlook(job, belief, ways, tuple(checks)), ways, answers


def repairs_outlook(job: JobFile, belief: Belief) -> Outlook:
    """The outlook of someone who makes no more checks: repairs and endings only, and cheap."""
    return _outlook(job, belief, ways_of(belief, (0,)), ())


def _outlook(job: JobFile, belief: Belief, ways: Ways, checks: tuple[CheckOption, ...]) -> Outlook:
    family = belief.model.family
    tried = {done.repair for done in job.done}
    repairs = [
        option
        for repair in family.repairs.values()
        if repair.id not in tried
        and (option := _repair_option(family, repair, belief, ways)) is not None
    ]
    sent_on = _sent_on(family, belief, ways)
    return Outlook(
        weight=ways.weight / ways.weight.sum(),
        checks=checks,
        repairs=tuple(repairs),
        endings=(Ending("stop", sent_on),),
        tariff=TARIFF,
        variables=family.states,
        suspect=_suspects(ways),
    )


def limits_of(job: JobFile) -> Limits:
    """What this owner or shop has."""
    tools = None if job.tools is None else frozenset(job.tools)
    return Limits(tools=tools, helper=job.helper)


def cheapest_cures(family: Family) -> dict[str, float]:
    """What the cheapest likely cure of each fault costs; UNKNOWN_CURE where there is none."""
    cheapest = dict.fromkeys(family.faults, UNKNOWN_CURE)
    for repair in family.repairs.values():
        price = repair.minutes * TARIFF.minute + 0.5 * sum(repair.parts)
        for fault, cure in repair.cures.items():
            if cure > 0.5 and fault in cheapest:
                known = cheapest[fault]
                cheapest[fault] = price if known == UNKNOWN_CURE else min(known, price)
    return cheapest


def price_of_stopping(family: Family, faults: Sequence[str]) -> float:
    """What sending the car on costs everybody if these faults are there, listed or not."""
    if not faults:
        return HAND_BACK
    cheapest = cheapest_cures(family)
    return SEND_ON + sum(cheapest.get(fault, UNKNOWN_CURE) for fault in faults)


def _sent_on(family: Family, belief: Belief, ways: Ways) -> np.ndarray:
    """Cost of stopping in each way: nothing for the cure where nothing is wrong, (H,)."""
    ids = [fault.id for fault in belief.model.cells.faults]
    cheapest = cheapest_cures(family)
    single = [SEND_ON + cheapest[fault] for fault in ids]
    double = [
        SEND_ON + cheapest[ids[a]] + cheapest[ids[b]] for (a, b), _ in belief.pairs[:MOST_PAIRS]
    ]
    by_fault = np.array([*single, SEND_ON + UNKNOWN_CURE, *double, HAND_BACK])
    return by_fault[ways.fault]


def _suspects(ways: Ways) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    _, number = np.unique(ways.fault, return_inverse=True)
    return number.astype(np.intp)


def _check_option(check: Check, table: np.ndarray, *, reread: bool) -> CheckOption:
    return CheckOption(
        id=check.id,
        outcome=table,
        minutes=check.minutes,
        wait=check.wait,
        needs=check.state,
        leaves=check.leaves,
        kind="reread" if reread else "check",
        perishable=check.perishable,
        disturbs=bool(check.disturbs),
        tools=check.tools,
        helper=check.helper,
    )


def _repair_option(
    family: Family, repair: Repair, belief: Belief, ways: Ways
) -> RepairOption | None:
    ids = [fault.id for fault in belief.model.cells.faults]
    pairs = [faults for faults, _ in belief.pairs[:MOST_PAIRS]]
    alone = np.array([repair.cures.get(fault, 0.0) for fault in ids])
    both = np.array([alone[a] * alone[b] for a, b in pairs])
    by_fault = np.array([*alone, 0.0, *both, 0.0])
    cure = by_fault[ways.fault]
    share, into = _part_cures(alone, pairs, ways)
    if float((cure + share) @ ways.weight) < UNLIKELY_CURE:
        return None
    proof = sum(family.checks[c].minutes for c in repair.prove if c in family.checks)
    return RepairOption(
        id=repair.id,
        cure=cure,
        minutes=repair.minutes,
        wait=repair.wait,
        proof_minutes=proof + LOAD_TEST_MINUTES,
        parts=repair.parts,
        needs=repair.state,
        leaves=repair.leaves,
        miss=MISSED_PROOF,
        share=share if pairs else None,
        into=into if pairs else None,
        tools=repair.tools,
        helper=repair.helper,
    )


def _part_cures(
    alone: np.ndarray, pairs: list[tuple[int, int]], ways: Ways
) -> tuple[np.ndarray, np.ndarray]:
    """Chance of curing just one of two faults, and the way the car then is, (H,) each."""
    share = np.zeros(len(ways.weight))
    into = np.arange(len(ways.weight))
    for position, (a, b) in enumerate(pairs):
        rows = np.flatnonzero(ways.fault == pair_code(len(alone), position))
        only_a, only_b = alone[a] * (1.0 - alone[b]), alone[b] * (1.0 - alone[a])
        left = b if only_a >= only_b else a
        singles = np.flatnonzero(ways.fault == left)
        if len(rows) and len(singles) and max(only_a, only_b) > 0:
            share[rows] = max(only_a, only_b)
            into[rows] = singles[int(np.argmax(ways.weight[singles]))]
    return share, into
