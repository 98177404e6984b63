"""How soon a new reading is answered, and the same sums against a general Bayesian-network library.

A loaded process, one core, processor time. Two practice cars of the shipped family get the checks
the tool puts first; after every reading each stage is timed once. The median over all readings is
what is asked for; the slowest (late, with slips or two faults in question) is shown too. Ratios to
the value solve (`_values`) and to pyAgrum on the discrete twin (`_twin`) are taken in the same run;
the milliseconds asked for hold for the machine they were asked on.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeVar

from bench._twin import Twin, by_evidence, by_joint, by_ours, farthest, network, twin_of
from bench._values import value_solve
from idlewright.diagnosis.belief import Belief
from idlewright.errors import CannotTell
from idlewright.job.entries import JobFile
from idlewright.job.file import load_job
from idlewright.job.judge import plan_of, think
from idlewright.job.prepared import Prepared
from idlewright.practice import PracticeCar, open_car
from idlewright.study.book import Vehicle
from idlewright.study.speed import plain_suspects, suspects, verdict

FAMILY = "plunger-carburettor"
READINGS, CARS, FIRST_SEED = 12, 2, 11
REPEATS, QUICK_REPEATS = 5, 50
AGREE = 1e-9
CHECKS = ("check", "reread")
ASKED_MS = {
    "verdict": 10.0,
    "suspects, no slips": 100.0,
    "suspects": 350.0,
    "next step, myopic": 50.0,
    "next step, roll-out": 700.0,
}
"""Longest median asked for; the next step counts from when the suspects are known."""
LIBRARY_BAR = 200.0
T = TypeVar("T")


def run() -> dict[str, object]:
    """Milliseconds of each stage and of the value solve; ratios to it, to the library, to bars."""
    vehicle = Vehicle.of(FAMILY)
    prepared = vehicle.prepared
    solve = 1e3 * _median(value_solve(prepared), REPEATS)
    every = stage_ms(vehicle)
    took = {name: statistics.median(ms) for name, ms in every.items()}
    library = against_library(twin_of(prepared))
    ratios = {f"{name}, ms asked over it": ASKED_MS[name] / ms for name, ms in took.items()}
    bars = dict.fromkeys(ratios, 1.0)
    bars["pyAgrum, each outcome as evidence, over ours"] = LIBRARY_BAR
    ratios |= {f"value solve over {name}": solve / ms for name, ms in took.items()}
    ratios["pyAgrum, each outcome as evidence, over ours"] = library["evidence"] / library["ours"]
    ratios["pyAgrum, joint targets, over ours"] = library["joint"] / library["ours"]
    return {
        "ms": {"value solve of the whole table": solve, **took},
        "ms_slowest": {name: max(ms) for name, ms in every.items()},
        "twin_ms": {name: ms for name, ms in library.items() if name != "farthest"},
        "twin_farthest_apart": library["farthest"],
        "ratios": ratios,
        "bars": bars,
    }


def stage_ms(vehicle: Vehicle) -> dict[str, list[float]]:
    """Milliseconds of each stage after every reading of every car."""
    for _ in _stages(_growing(vehicle, FIRST_SEED - 1)[-1], vehicle.prepared):
        pass  # another car first: what is worked out once for a vehicle is not counted
    found: dict[str, list[float]] = {}
    for car in range(CARS):
        for job in _growing(vehicle, FIRST_SEED + car):
            for name, seconds in _stages(job, vehicle.prepared):
                found.setdefault(name, []).append(1e3 * seconds)
    return found


def _growing(vehicle: Vehicle, seed: int) -> list[JobFile]:
    """A practice car's job after each new reading: always the check the tool puts first."""
    car = open_car(vehicle.family, seed, sheet=vehicle.sheet, model=vehicle.prepared.model)
    jobs = [_as_it_stands(car, vehicle)]
    unreadable: set[str] = set()
    while len(jobs) <= READINGS:
        actions = think(jobs[-1]).proposal.actions
        able = [one.id for one in actions if one.kind in CHECKS and one.id not in unreadable]
        if not able:
            break
        try:
            car.read(able[0])
        except CannotTell:
            unreadable.add(able[0])
            continue
        jobs.append(_as_it_stands(car, vehicle))
    return jobs[1:]


def _as_it_stands(car: PracticeCar, vehicle: Vehicle) -> JobFile:
    return replace(load_job(car.as_job("bench", "practice car")), sheet=vehicle.sheet)


def _stages(job: JobFile, prepared: Prepared) -> Iterator[tuple[str, float]]:
    """Each stage and its seconds of processor time."""
    yield "verdict", _clock(partial(verdict, job, prepared))[1]
    yield "suspects, no slips", _clock(partial(plain_suspects, job, prepared))[1]
    belief, seconds = _clock(partial(suspects, job, prepared))
    yield "suspects", seconds
    assert isinstance(belief, Belief)
    yield "next step, myopic", _clock(partial(plan_of, job, prepared, belief, "myopic"))[1]
    yield "next step, roll-out", _clock(partial(plan_of, job, prepared, belief, "rollout"))[1]


def against_library(twin: Twin) -> dict[str, float]:
    """Milliseconds of the twin's update and bits by each way, and how far apart they come out.

    Raises:
        AssertionError: the answers differ, so that the times mean nothing.
    """
    seen = twin.drawn(FIRST_SEED, READINGS)
    net = network(twin)
    mine = by_ours(twin, seen)
    apart = []
    took = {"ours": _median(partial(by_ours, twin, seen), QUICK_REPEATS)}
    for name, way in (("evidence", by_evidence), ("joint", by_joint)):
        theirs, seconds = _clock(partial(way, twin, net, seen))
        apart.append(farthest(mine, theirs))
        took[name] = seconds
    if max(apart) > AGREE:
        raise AssertionError(f"the library's answers differ from ours by {max(apart):.2g}")
    return {name: 1e3 * seconds for name, seconds in took.items()} | {"farthest": max(apart)}


def _clock(work: Callable[[], T]) -> tuple[T, float]:
    """What some work gives, and its seconds of processor time."""
    start = time.process_time()
    found = work()
    return found, time.process_time() - start


def _median(work: Callable[[], object], repeats: int) -> float:
    """Median seconds of processor time, after one run that is not counted."""
    work()
    seconds: Sequence[float] = [_clock(work)[1] for _ in range(repeats)]
    return statistics.median(seconds)
