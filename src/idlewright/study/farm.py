"""Work spread over processes, or over machines; results come in the order of the tasks.

Only a few tasks a worker are under way at a time, so that a long study takes no more memory than a
short one. A worker that dies is replaced and its task done again; a task at which workers keep
dying ends the study with one sentence.
"""

from __future__ import annotations

import logging
import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from importlib import import_module
from typing import Any, TypeVar

from idlewright.errors import BadInput, CannotTell, Problem

Task = TypeVar("Task")
Found = TypeVar("Found")

AHEAD = 3
"""Tasks under way or waiting for each worker."""
DEATHS = 3
"""Workers that may die at one task."""
PATIENCE = "10s"
"""How long a scheduler may take to answer."""


def spread(
    work: Callable[[Task], Found], tasks: Sequence[Task], workers: int, scheduler: str | None
) -> Iterator[Found]:
    """Results of `work` on every task, in order.

    Args:
        work: a function at the top of a module. tasks: what can be pickled.
        workers: processes on this machine. scheduler: address of a farm instead, or None.

    Raises:
        BadInput: a farm is asked for that is not installed or does not answer.
        CannotTell: workers keep dying at a task, or the farm is lost.
    """
    if scheduler is not None:
        yield from _farmed(work, tasks, scheduler)
    elif workers == 1:
        yield from map(work, tasks)
    else:
        yield from _pooled(work, tasks, workers)


def _pooled(
    work: Callable[[Task], Found], tasks: Sequence[Task], workers: int
) -> Iterator[Found]:
    spawn = multiprocessing.get_context("spawn")
    done, deaths = 0, 0
    while done < len(tasks):
        with ProcessPoolExecutor(workers, mp_context=spawn) as pool:
            try:
                for found in _in_order(lambda task: pool.submit(work, task), tasks[done:], workers):
                    yield found
                    done, deaths = done + 1, 0
            except BrokenProcessPool:
                deaths += 1
                if deaths >= DEATHS:
                    raise _died(done, len(tasks)) from None


def _in_order(
    submit: Callable[[Task], Any], tasks: Sequence[Task], workers: int
) -> Iterator[Any]:
    """Results in order; never more than AHEAD tasks a worker are given out and not yet taken."""
    waiting: deque[Future[Any]] = deque()
    left = iter(tasks)
    for task in left:
        waiting.append(submit(task))
        if len(waiting) >= AHEAD * workers:
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()


def _farmed(
    work: Callable[[Task], Found], tasks: Sequence[Task], scheduler: str
) -> Iterator[Found]:
    distributed = _library()
    lost = (distributed.comm.CommClosedError, distributed.client.FutureCancelledError, OSError)
    client = _client(distributed, scheduler)
    done = 0
    try:
        workers = max(1, len(client.scheduler_info()["workers"]))
        for found in _in_order(lambda task: client.submit(work, task, pure=False), tasks, workers):
            yield found
            done += 1
    except distributed.KilledWorker:
        raise _died(done, len(tasks)) from None
    except lost as error:
        says = f"the farm at {scheduler} was lost after {done} of {len(tasks)} parts of the study"
        raise CannotTell(_unfinished(says)) from error
    finally:
        client.close(timeout=1)


def _library() -> Any:
    try:
        found = import_module("distributed")
    except ImportError as error:
        raise BadInput(
            Problem(
                "the farm is not installed",
                "the package distributed, for --scheduler",
                'install it with pip install "idlewright[farm]", or use --workers',
                key="scheduler",
            )
        ) from error
    # What it has to say about a farm that breaks is said here, in one sentence.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    return found


def _client(distributed: Any, scheduler: str) -> Any:
    try:
        return distributed.Client(scheduler, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError) as error:
        raise BadInput(
            Problem(
                f"no scheduler answers at {scheduler}",
                "the address of a running scheduler, such as tcp://host:8786",
                "start it, or use --workers",
                key="scheduler",
            )
        ) from error


def _died(done: int, count: int) -> CannotTell:
    says = f"{DEATHS} workers died one after another at part {done + 1} of {count} of the study"
    return CannotTell(_unfinished(says))


def _unfinished(says: str) -> Problem:
    remedy = "see that workers have memory and stay up, then run it again with --out: it goes on"
    return Problem(says, "workers that live through a part", remedy, key="workers")
