"""Random small outlooks with set-up, slips and rows of two faults. Figures: common practice."""

from __future__ import annotations

import numpy as np

from idlewright.family.kinds import StateVariable
from idlewright.plan.outlook import CheckOption, Ending, Outlook, RepairOption, Tariff

HOUR = 60.0
START = {"key": "off", "plug": "on", "cover": "on"}


def variable(name, values, minutes, needs=None, wait=None, fades=None, cautions=()):
    """A state variable whose every value can be reached."""
    return StateVariable(
        name=name, values=values, minutes=dict(zip(values, minutes, strict=True)),
        wait=wait or {}, needs=needs or {}, says={}, cautions=cautions, fades=fades or {},
    )


def car_states(rng, slow=1.0):
    """Key, plug (key off first) and cover, with random minutes."""
    plug = slow * rng.uniform(0.5, 4.0)
    cover = slow * rng.uniform(2.0, 12.0)
    return {
        "key": variable("key", ("off", "on"), (0.2, 0.2)),
        "plug": variable("plug", ("on", "off"), (plug, plug),
                         needs={"on": {"key": "off"}, "off": {"key": "off"}}),
        "cover": variable("cover", ("on", "off"), (cover, cover)),
    }


def slipping_table(rng, rows, outcomes, slip):
    """Each row has one usual outcome (some rows blur over all); a slip shows any outcome."""
    usual = np.eye(outcomes)[rng.integers(outcomes, size=rows)]
    blurred = rng.random(rows) < 0.2
    usual[blurred] = rng.dirichlet(np.ones(outcomes), size=int(blurred.sum()))
    return (1.0 - slip) * usual + slip / outcomes


def needs_of(rng):
    """One of the set-ups a check is done in."""
    return [
        {"key": "on", "plug": "on"}, {"key": "off", "plug": "off"}, {"key": "on", "plug": "off"},
        {"cover": "off", "key": "off"}, {"cover": "off", "key": "on", "plug": "on"}, {},
    ][rng.integers(6)]


def random_outlook(seed, faults=(3, 5), checks=(2, 4), pair=0.5, perishable=0.1,
                   slow=1.0, even=0.7):
    """A random outlook: least and most faults and checks, chance of a row of two faults."""
    rng = np.random.default_rng(seed)
    singles = int(rng.integers(faults[0], faults[1] + 1))
    paired = bool(rng.random() < pair)
    rows = singles + paired
    weight = rng.dirichlet(np.full(rows, even))
    if paired:
        weight[-1] *= 0.4
        weight /= weight.sum()
    slip = float(rng.choice([0.0, 0.03, 0.1]))
    looks = []
    for index in range(int(rng.integers(checks[0], checks[1] + 1))):
        outcomes = int(rng.choice([2, 2, 3]))
        disturbs = bool(rng.random() < 0.2)
        looks.append(CheckOption(
            f"check{index}", slipping_table(rng, rows, outcomes, slip),
            minutes=float(rng.uniform(1.0, 8.0)), wait=float(rng.choice([0.0, 0.0, 10.0])),
            needs=needs_of(rng), disturbs=disturbs, perishable=bool(rng.random() < perishable),
        ))
    tariff = Tariff(minute=1.0, waiting=0.1, callback=120.0,
                    wrong_repair=float(rng.choice([0.0, 15.0])), disturbance=1.0)
    ending = Ending("stop", np.full(rows, float(rng.uniform(120.0, 400.0))))
    return Outlook(weight, tuple(looks), _repairs(rng, singles, rows), (ending,), tariff,
                   variables=car_states(rng, slow))


def _repairs(rng, singles, rows):
    """One repair per fault; now and then one of them cures a second fault too."""
    repairs = []
    for index in range(singles):
        cure, share, into = np.zeros(rows), np.zeros(rows), np.arange(rows)
        cure[index] = rng.uniform(0.7, 0.98)
        if rng.random() < 0.25:
            cure[int(rng.integers(singles))] = rng.uniform(0.5, 0.95)
        if rows > singles and index < 2:
            share[-1], into[-1] = cure[index], 1 - index
        part = float(rng.choice([0.0, 5.0, 60.0, 150.0]))
        repairs.append(RepairOption(
            f"repair{index}", cure, minutes=float(rng.uniform(10.0, 75.0)),
            proof_minutes=float(rng.uniform(2.0, 10.0)),
            parts=(part, part * 1.5),
            needs={"key": "off"} if rng.random() < 0.5 else {"key": "off", "cover": "off"},
            miss=float(rng.choice([0.0, 0.05])), share=share, into=into,
        ))
    return tuple(repairs)
