"""`study truth`: are the odds right? Simulated cars whose truth is known, read by random checks.

What is counted per world: how often an answer surer than BAR is wrong, with the exact upper bound;
whether the true severity falls where its stated law says (simulation-based calibration: its place
in the stated distribution must be even on 0 to 1; Talts and others, 2018, from memory), and how
often the 90 % range covers it; how many gross slips are named; how sure it is on faults nobody
listed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import smirnov

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Sheet
from idlewright.family.load import load_family
from idlewright.family.textfile import content_sha256
from idlewright.job.prepared import prepare
from idlewright.study.rows import Helpers, RowFile, rows_of
from idlewright.study.score import clopper_pearson, sure_answers
from idlewright.study.truth_car import NOTHING_ELSE, Row, World, row_of, short
from idlewright.version import __version__

BAR = 0.99
LEVEL = 0.9
FALSE_ALARM = 0.01
"""Chance that the test of even places cries out although everything is right."""
CHUNK = 4
"""Cars a worker takes at a time: the same whatever the number of workers."""

WORLDS: tuple[World, ...] = (
    World("as believed", "matched"),
    World("as believed, aimed", "matched", aimed=True),
    World("wide"),
    World("wide, aimed", aimed=True),
    World("skewed", "skewed"),
    World("batch", "batch"),
    World("slips 2 %", slip=0.02),
    World("slips 10 %", slip=0.10),
    World("unlisted 10 %", unlisted=0.10),
    World("intermittent 15 %", intermittent=0.15),
    World("worse meter", meter="worse"),
    World("plugs wipe contacts", wipe=0.5),
    World("two faults, aimed", "matched", aimed=True, kind="two-faults"),
    World("no part needed", kind="no-part"),
    World("everything", slip=0.02, unlisted=0.10, intermittent=0.15, wipe=0.5),
)


def truth(
    family: str,
    cases: int,
    seed: int,
    *,
    helpers: Helpers | None = None,
    out: Path | None = None,
    worlds: Sequence[World] = WORLDS,
    sheet: Sheet | None = None,
) -> dict[str, Any]:
    """The study as a JSON-ready dict, format idlewright/truth/1.

    Args:
        family: what load_family takes. cases: cars per world. seed: of the first car; the same in
            every world. helpers: who does the work; the answer is the same for any.
        out: folder for a row a car; rows of the same study that are there are not worked again.
        worlds: which. sheet: the vehicles' values; None = vehicles of which nothing is known.

    Raises:
        BadInput: the family cannot be loaded, cases or workers are less than one, or no farm.
        CannotTell: workers keep dying, or the farm is lost.
    """
    known = load_family(family)
    rows = simulate(family, cases, seed, helpers=helpers, out=out, worlds=worlds, sheet=sheet)
    return {
        "format": "idlewright/truth/1",
        "made_by": {
            "version": __version__,
            "family": known.id,
            "family_sha256": known.sha256,
            "sheet_sha256": sheet.sha256 if sheet is not None else None,
        },
        "family": known.id,
        "seed": seed,
        "cases": cases,
        "bar": BAR,
        "worlds": [summary(world, rows[world.name]) for world in worlds],
    }


def simulate(
    family: str,
    cases: int,
    seed: int,
    *,
    helpers: Helpers | None = None,
    out: Path | None = None,
    worlds: Sequence[World] = WORLDS,
    sheet: Sheet | None = None,
) -> dict[str, list[Row]]:
    """One row a car (see `row_of`), by world; the same whoever does the work."""
    helpers = helpers or Helpers()
    if cases < 1 or helpers.workers < 1:
        raise BadInput(Problem("nothing to simulate", "at least one car and one worker"))
    given = sheet or Sheet("unknown", content_sha256({}), {})
    tasks = [
        (family, given, world, range(start, min(start + CHUNK, seed + cases)))
        for world in worlds
        for start in range(seed, seed + cases, CHUNK)
    ]
    rows: dict[str, list[Row]] = {world.name: [] for world in worlds}
    kept = None if out is None else RowFile(out, "per-car.jsonl", {
        "study": "truth", "family_sha256": load_family(family).sha256, "sheet": given.sha256,
        "seed": seed, "cases": cases, "worlds": [asdict(world) for world in worlds],
    })  # fmt: skip
    sizes = [len(task[3]) for task in tasks]
    for task, found in zip(tasks, rows_of(_chunk, tasks, sizes, helpers, kept), strict=True):
        rows[task[2].name] += found
    return rows


Task = tuple[str, Sheet, World, range]


def _chunk(task: Task) -> list[Row]:
    family, sheet, world, seeds = task
    prepared = prepare(load_family(family), sheet)
    return [row_of(family, prepared, sheet, world, seed) for seed in seeds]


def summary(world: World, rows: Sequence[Row]) -> dict[str, Any]:
    """What the rows of one world add up to."""
    right = np.array([row["right"] for row in rows], dtype=float)
    p_leader = np.array([row["p_leader"] for row in rows])
    cured = np.array([row["repair_right"] for row in rows], dtype=float)
    p_repair = np.array([row["p_repair"] for row in rows])
    p_truth = np.array([row["p_truth"] for row in rows])
    told = [slip for row in rows for slip in row["slips"]]
    odd = [row for row in rows if row["truth"] == [NOTHING_ELSE]]
    named = [row["all_named"] for row in rows if row["all_named"] is not None]
    return {
        "world": {
            "name": world.name, "law": world.law, "slip": world.slip,
            "unlisted": world.unlisted, "intermittent": world.intermittent,
            "wipe": world.wipe, "meter": world.meter, "aimed": world.aimed, "kind": world.kind,
        },
        "cars": len(rows),
        "leader_right": _share(int(right.sum()), len(rows)),
        "all_named": _share(named.count(True), len(named)),
        "sure": _sure(p_leader, right),
        "sure_repair": _sure(p_repair, cured),
        "p_truth": {
            "mean": short(p_truth.mean()),
            "mean_ln": short(np.log(np.maximum(p_truth, 1e-12)).mean()),
        },
        "places": {
            **places_of([row["place"] for row in rows if row["place"] is not None]),
            "beyond": sum(row["beyond"] for row in rows),
        },
        "slips": {
            "gross": len(told),
            "called": _share(sum(s["called"] for s in told), len(told)),
            "named": _share(sum(s["named"] for s in told), len(told)),
            "false_calls": _share(
                sum(row["false_calls"] for row in rows), sum(row["clean"] for row in rows)
            ),
        },
        "unlisted": {
            "cars": len(odd),
            "sure_wrong": _share(
                sum(row["p_leader"] > BAR and not row["right"] for row in odd), len(odd)
            ),
        },
    }  # fmt: skip


def _sure(p: ArrayLike, right: ArrayLike) -> dict[str, Any]:
    found = sure_answers(p, right, BAR)
    return {"n": found.n, "wrong": found.wrong, "upper": short(found.upper)}


def _share(k: int, n: int) -> dict[str, Any]:
    """k of n with its exact 95 % interval; nulls when there is nothing to count."""
    if n == 0:
        return {"k": 0, "n": 0, "low": None, "high": None}
    found = clopper_pearson(int(k), n)
    return {"k": int(k), "n": n, "low": short(found.low), "high": short(found.high)}


def places_of(places: Sequence[float]) -> dict[str, Any]:
    """Are places even on 0 to 1, and how many lie in the central 90 %?

    The test is Kolmogorov and Smirnov's, two one-sided bounds: it alarms by mistake in FALSE_ALARM
    of the studies at most.
    """
    at = np.sort(np.asarray(places, dtype=float))
    n = len(at)
    tail = (1.0 - LEVEL) / 2.0
    inside = int(np.sum((at >= tail) & (at <= 1.0 - tail)))
    if n == 0:
        return {"n": 0, "distance": None, "p": None, "false_alarm": FALSE_ALARM, "alarm": False,
                "tenths": [0] * 10, "cover": {"level": LEVEL, **_share(0, 0)}}  # fmt: skip
    above = float(np.max(np.arange(1, n + 1) / n - at))
    below = float(np.max(at - np.arange(n) / n))
    distance = max(above, below)
    p = min(1.0, 2.0 * float(smirnov(n, distance)))
    tenths = np.histogram(at, bins=10, range=(0.0, 1.0))[0]
    return {
        "n": n,
        "distance": short(distance),
        "p": short(p),
        "false_alarm": FALSE_ALARM,
        "alarm": p < FALSE_ALARM,
        "tenths": [int(count) for count in tenths],
        "cover": {"level": LEVEL, **_share(inside, n)},
    }
