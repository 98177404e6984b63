"""A random outlook as large as a whole family's: 200 rows, 60 checks of 8 outcomes, 50 repairs."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from idlewright.plan.outlook import CheckOption, Ending, Outlook, RepairOption, Tariff
from unit.plan.small_outlooks import variable


def large_outlook(seed, faults=50, pairs=20, rows=200, checks=60, outcomes=8, spread=0.3):
    """The outlook and the car's state. `spread`: the smaller, the fewer suspects are heavy."""
    rng = np.random.default_rng(seed)
    extra = rng.integers(faults, size=rows - faults - pairs)
    fault = np.sort(np.concatenate([np.arange(faults + pairs), extra]))
    weight = rng.dirichlet(np.full(faults + pairs, spread))[fault] * rng.dirichlet(np.ones(rows))
    chain = [
        variable(f"s{i}", ("a", "b"), (float(rng.uniform(0.2, 10)),) * 2,
                 needs={"b": {f"s{i - 1}": "a"}} if i else {},
                 wait={"b": 12.0} if i == 3 else {}, fades={"b": (20.0, "a")} if i == 3 else {})
        for i in range(10)
    ]
    needs = [{v.name: str(rng.choice(["a", "b"], p=[0.8, 0.2])) for v in chain} for _ in range(20)]
    looks = [
        CheckOption(f"c{index}", _readings(rng, fault, faults + pairs, outcomes),
                    minutes=float(rng.uniform(1, 8)), needs=needs[int(rng.integers(20))],
                    disturbs=bool(rng.random() < 0.2), perishable=index < 3)
        for index in range(checks)
    ]
    repairs = [_repair(rng, index, fault, faults, pairs, needs) for index in range(faults)]
    stop = Ending("stop", np.full(rows, 500.0))
    outlook = Outlook(
        weight / weight.sum(), tuple(looks), tuple(repairs), (stop,),
        Tariff(1.0, 0.05, 200.0, 10.0, 1.0), {v.name: v for v in chain}, fault,
    )
    return outlook, {v.name: "a" for v in chain}


def _readings(rng, fault, kinds, outcomes):
    """Chances that a number lies between cuts: three in ten faults move it."""
    moved = rng.random(kinds) < 0.3
    middle = (rng.normal(size=kinds) * 2 * moved)[fault] + rng.normal(size=len(fault)) * 0.3
    below = ndtr((np.linspace(-2, 2, outcomes - 1) - middle[:, None]) / 0.4)
    ends = np.zeros((len(fault), 1))
    return np.diff(np.concatenate([ends, below, ends + 1.0], axis=1), axis=1)


def _repair(rng, index, fault, faults, pairs, needs):
    share, into = np.zeros(len(fault)), np.arange(len(fault))
    for pair in range(pairs):
        two = (pair % faults, (pair * 7 + 3) % faults)
        if index in two and two[0] != two[1]:
            other = two[1] if index == two[0] else two[0]
            share[fault == faults + pair] = 0.9
            into[fault == faults + pair] = np.flatnonzero(fault == other)[0]
    return RepairOption(
        f"r{index}", np.where(fault == index, 0.9, 0.0), minutes=float(rng.uniform(10, 75)),
        proof_minutes=5.0, parts=(20.0, 60.0), needs=needs[int(rng.integers(4))], miss=0.05,
        share=share if share.any() else None, into=into if share.any() else None,
    )
