"""A study on one worker and on two: how much of the second one arrives.

Each run does the same cars of `study truth`, with processes of this machine and with a local farm.
The rival is one worker of the same kind, in the same run; both have compiled the model before.
"""

from __future__ import annotations

import contextlib
import time
import warnings
from collections.abc import Iterator
from typing import Any

from idlewright.family.kinds import Sheet
from idlewright.family.load import load_family
from idlewright.family.textfile import content_sha256
from idlewright.job.prepared import prepare
from idlewright.study.farm import spread
from idlewright.study.truth import Task, _chunk
from idlewright.study.truth_car import World

FAMILY = "plunger-carburettor"
CARS, CHUNK = 96, 4


def tasks() -> list[Task]:
    """Chunks of cars, as the study makes them."""
    sheet = Sheet("unknown", content_sha256({}), {})
    prepare(load_family(FAMILY), sheet)  # on the disk, for every worker
    world = World("wide")
    return [(FAMILY, sheet, world, range(at, at + CHUNK)) for at in range(1, 1 + CARS, CHUNK)]


@contextlib.contextmanager
def cluster(workers: int) -> Iterator[str]:
    """The address of a local scheduler with so many worker processes."""
    import distributed

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        cluster_of: Any = distributed.LocalCluster  # it ships no types
        with cluster_of(
            n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=50
        ) as found:
            yield str(found.scheduler_address)


def seconds(workers: int, scheduler: str | None) -> float:
    """Wall seconds for all cars after one chunk a worker to warm up."""
    work = tasks()
    rows = spread(_chunk, [*work[:workers], *work], workers, scheduler)
    for _ in range(workers):
        next(rows)
    start = time.perf_counter()
    for _ in rows:
        pass
    return time.perf_counter() - start


def run() -> dict[str, dict[str, float]]:
    """Seconds on one and two workers, and how many times as fast two are."""
    found = {}
    for workers in (1, 2):
        # One worker process too: a study in this process has no start and no traffic to pay.
        found[f"processes, {workers} s"] = seconds(workers, None)
        with cluster(workers) as address:
            found[f"farm, {workers} s"] = seconds(workers, address)
    ratios = {
        f"two workers over one, {kind}": found[f"{kind}, 1 s"] / found[f"{kind}, 2 s"]
        for kind in ("processes", "farm")
    }
    return {"seconds": found, "ratios": ratios, "bars": dict.fromkeys(ratios, 1.6)}
