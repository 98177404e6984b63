"""`study speed`: how long a person waits for each kind of answer, on this machine.

Each thing is done once per car and timed by the wall clock and by the processor; on a machine that
does other work too, the processor's time is the one to compare. What a program start costs is not
in: it is paid once.
"""

from __future__ import annotations

import os
import platform
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from idlewright.diagnosis.belief import Belief
from idlewright.errors import BadInput, CannotTell, Problem
from idlewright.family.kinds import Family, Sheet
from idlewright.family.load import family_from, load_family
from idlewright.family.shipped import known_files
from idlewright.family.textfile import read_document
from idlewright.job.entries import JobFile
from idlewright.job.file import load_job
from idlewright.job.groups import all_forms
from idlewright.job.judge import belief_of, judge, propose
from idlewright.job.prepared import Prepared
from idlewright.job.verdicts import judge_entry
from idlewright.model.compiled import compile_model
from idlewright.model.predict import predict
from idlewright.practice import open_car
from idlewright.practice.chance import Chance
from idlewright.study.book import Vehicle
from idlewright.version import __version__

READINGS = 8
ONCE = 3
"""Things that do not depend on the car are done so often, or once a car if there are fewer."""
Timed = tuple[str, str, list[tuple[float, float]]]


def speed(family: str, cases: int, seed: int) -> dict[str, Any]:
    """The study as a JSON-ready dict, format idlewright/speed/1.

    Args:
        family: what load_family takes. cases: cars. seed: of their faults and readings.

    Returns:
        Per thing done: how often, and seconds (median and tenths at both ends) by the wall clock
        and by the processor.

    Raises:
        BadInput: the family cannot be loaded, or there is nothing to do.
    """
    if cases < 1:
        raise BadInput(Problem("nothing to time", "at least one car"))
    known = load_family(family)
    vehicle = Vehicle.of(family)
    return {
        "format": "idlewright/speed/1",
        "made_by": {
            "version": __version__,
            "family": known.id,
            "family_sha256": known.sha256,
            "sheet_sha256": vehicle.sheet.sha256,
        },
        "family": known.id,
        "seed": seed,
        "cases": cases,
        "machine": {
            "system": platform.system(),
            "processors": os.cpu_count() or 1,
            "python": platform.python_version(),
            "numpy": np.__version__,
        },
        "rows": [_row(*timed) for timed in _timed(family, known, vehicle, cases, seed)],
    }


def _timed(
    source: str, family: Family, vehicle: Vehicle, cases: int, seed: int
) -> Iterator[Timed]:
    """What is timed: its name, what it is, and (wall, processor) seconds of each time."""
    few = range(min(cases, ONCE))
    model, sheet = vehicle.prepared.model, vehicle.sheet
    file = known_files("families").get(source, source)
    yield "family", "read and check a family with its parts", [
        _clock(lambda: family_from(read_document(file))) for _ in few
    ]
    yield "model", "make the model of a vehicle and all its checks", [
        _clock(lambda: _whole_model(family, sheet)) for _ in few
    ]
    yield "predict", "what every check would read under every fault", [
        _clock(lambda: predict(model)) for _ in few
    ]
    ends = [practice_job(source, vehicle, seed + k, READINGS) for k in range(cases)]
    starts = [replace(job, readings=()) for job in ends]
    judge(starts[0])  # what is worked out once for a vehicle is not counted
    yield "first", "judge a job without a reading", [_clock(partial(judge, job)) for job in starts]
    yield "judge", f"judge a job with {READINGS} readings", [
        _clock(partial(judge, job)) for job in ends
    ]
    for name, says, work in STAGES:
        yield name, f"of it, {says}", [_clock(partial(work, job, vehicle.prepared)) for job in ends]
    yield "next", f"the next step alone, at once, after {READINGS} readings", [
        _clock(partial(propose, job, depth="myopic")) for job in ends
    ]


def verdict(job: JobFile, _: Prepared) -> None:
    """Judge the newest reading against its limits."""
    judge_entry(job, job.readings[-1])


def plain_suspects(job: JobFile, prepared: Prepared) -> Belief:
    """Odds of every fault, every reading taken as it is."""
    return belief_of(job, prepared, slips=False)[1]


def suspects(job: JobFile, prepared: Prepared) -> Belief:
    """Odds of every fault, with slips and pairs of faults."""
    return belief_of(job, prepared)[1]


STAGES: tuple[tuple[str, str, Callable[[JobFile, Prepared], object]], ...] = (
    ("verdict", "the verdict on the newest reading", verdict),
    ("plain", "the suspects if no reading is a slip", plain_suspects),
    ("suspects", "the suspects, with slips and pairs", suspects),
)
"""Stages of a judgement that can be asked for alone: id, in words, the work."""


def _whole_model(family: Family, sheet: Sheet) -> None:
    model = compile_model(family, sheet)
    forms = all_forms(model).values()
    model.bank(sorted({model.number_of(latent) for form in forms for latent in form.latents()}))


def practice_job(source: str, vehicle: Vehicle, seed: int, readings: int) -> JobFile:
    """A practice car's job after some random checks."""
    car = open_car(vehicle.family, seed, sheet=vehicle.sheet, model=vehicle.prepared.model)
    ids = list(vehicle.family.checks)
    read = 0
    for number in Chance(seed).of("which checks").permutation(len(ids)):
        if read == readings:
            break
        try:
            car.read(ids[number])
            read += 1
        except (BadInput, CannotTell):
            continue  # a state that cannot be reached has no check
    job = load_job({**car.as_job(f"speed-{seed}"), "family": source})
    return replace(job, family=vehicle.family, sheet=vehicle.sheet)


def _clock(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds that some work takes: wall clock, processor."""
    wall, processor = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - processor


def _row(name: str, says: str, took: list[tuple[float, float]]) -> dict[str, Any]:
    wall, processor = np.array(took).T
    return {"id": name, "says": says, "n": len(took), "wall": _spread(wall),
            "processor": _spread(processor)}  # fmt: skip


def _spread(seconds: np.ndarray[Any, np.dtype[np.float64]]) -> dict[str, float]:
    low, median, high = np.quantile(seconds, [0.1, 0.5, 0.9])
    return {"low": float(low), "median": float(median), "high": float(high)}
