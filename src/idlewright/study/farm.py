"""Work spread over processes, or over machines; results come in the order of the tasks.

Only a few tasks a worker are under way at a time, so that a long study takes no more memory than a
short one. A worker that dies is replaced and its task done again; a task at which workers keep
dying, or a farm that is lost or left without workers, ends the study with one sentence.
"""

from __future__ import annotations

import logging
import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from typing import Any, TypeVar

from idlewright.errors import BadInput, CannotTell, Problem
from idlewright.study.program import program_sha256

Task = TypeVar("Task")
Found = TypeVar("Found")

AHEAD = 3
"""Tasks under way or waiting for each worker."""
DEATHS = 3
"""Workers that may die at one task."""
PATIENCE = 10.0
"""Seconds a scheduler may take to answer, and a farm may be without any worker."""


class Stopped(CannotTell):
    """A study that could not be finished.

    Args:
        why: what happened. done: tasks whose results were given. count: of all tasks.
    """

    def __init__(self, why: str, done: int, count: int) -> None:
        self.why, self.done = why, done
        remedy = "see that workers stay up and have memory, then run it again"
        super().__init__(Problem(f"{why} at part {done + 1} of {count}", "", remedy, key="workers"))


class _Broke(Exception):
    """Workers are gone: why, as words."""


def spread(
    work: Callable[[Task], Found], tasks: Sequence[Task], workers: int, scheduler: str | None
) -> Iterator[Found]:
    """Results of `work` on every task, in order.

    Args:
        work: a function at the top of a module. tasks: what can be pickled.
        workers: processes on this machine. scheduler: address of a farm instead, or None.

    Raises:
        BadInput: a farm is asked for that is not installed, does not answer, has no worker or
            runs another program.
        Stopped: workers keep dying at a task, or the farm is lost.
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
        pool = ProcessPoolExecutor(workers, mp_context=spawn)
        try:
            for found in _in_order(_submit(pool, work), Future.result, tasks[done:], workers):
                yield found
                done, deaths = done + 1, 0
        except BrokenProcessPool:
            deaths += 1
            if deaths >= DEATHS:
                why = f"{DEATHS} workers died one after another"
                raise Stopped(why, done, len(tasks)) from None
        finally:
            # Someone who interrupts does not wait for parts that nobody has begun.
            pool.shutdown(cancel_futures=True)


def _submit(
    pool: ProcessPoolExecutor, work: Callable[[Task], Found]
) -> Callable[[Task], Future[Found]]:
    return lambda task: pool.submit(work, task)


def _in_order(
    submit: Callable[[Task], Any],
    take: Callable[[Any], Found],
    tasks: Sequence[Task],
    workers: int,
) -> Iterator[Found]:
    """Results in order; never more than AHEAD tasks a worker are given out and not yet taken."""
    waiting: deque[Any] = deque()
    for task in tasks:
        waiting.append(submit(task))
        if len(waiting) >= AHEAD * workers:
            yield take(waiting.popleft())
    while waiting:
        yield take(waiting.popleft())


def _farmed(
    work: Callable[[Task], Found], tasks: Sequence[Task], scheduler: str
) -> Iterator[Found]:
    distributed = _library()
    client = _client(distributed, scheduler)
    farm = _Farm(distributed, client, scheduler)
    done = 0
    try:
        workers = _workers(distributed, client, scheduler)
        for found in _in_order(partial(farm.submit, work), farm.take, tasks, workers):
            yield found
            done += 1
    except _Broke as error:
        raise Stopped(str(error), done, len(tasks)) from error.__cause__
    finally:
        client.close(timeout=1)


@dataclass(frozen=True, slots=True)
class _Farm:
    """Gives out work and takes results; tells a farm that breaks from work that fails."""

    library: Any
    client: Any
    address: str

    def submit(self, work: Callable[[Task], Found], task: Task) -> Any:
        """A task on its way."""
        try:
            return self.client.submit(work, task, pure=False)
        except (OSError, RuntimeError) as error:
            raise self._lost() from error

    def take(self, future: Any) -> Any:
        """Its result, or what the work itself raised."""
        while True:
            try:
                return future.result(timeout=PATIENCE)
            except self.library.KilledWorker as error:
                raise _Broke("workers died one after another") from error
            except (OSError, self.library.client.FutureCancelledError) as error:
                if future.status == "error":
                    raise  # the work's own
                if not isinstance(error, TimeoutError):
                    raise self._lost() from error
            self._has_workers()

    def _has_workers(self) -> None:
        try:
            left = self.client.nthreads()
        except (OSError, RuntimeError) as error:
            raise self._lost() from error
        if not left:
            raise _Broke(f"no worker is left on the farm at {self.address}")

    def _lost(self) -> _Broke:
        return _Broke(f"the farm at {self.address} was lost")


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
    for name in [*logging.root.manager.loggerDict]:
        if name.partition(".")[0] == "distributed":  # some have a level of their own
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
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


def _workers(distributed: Any, client: Any, scheduler: str) -> int:
    """How many tasks the farm works at a time.

    Raises:
        BadInput: none, or a worker whose answers need not be this program's.
    """
    try:
        client.wait_for_workers(1, timeout=PATIENCE)
        theirs = set(client.run(program_sha256).values())
    except TimeoutError as error:
        raise _unfit(f"the farm at {scheduler} has no worker", "start one there") from error
    except (ImportError, AttributeError) as error:
        says = f"a worker of the farm at {scheduler} does not have this program"
        raise _unfit(says, "install the same Idlewright there") from error
    except (OSError, distributed.client.FutureCancelledError) as error:
        raise _Broke(f"the farm at {scheduler} was lost") from error
    if theirs - {program_sha256()}:
        says = f"a worker of the farm at {scheduler} has another version of this program"
        raise _unfit(says, "install the same Idlewright there")
    threads: dict[str, int] = client.nthreads()
    return max(1, sum(threads.values()))


def _unfit(says: str, remedy: str) -> BadInput:
    expected = "workers with the same program"
    return BadInput(Problem(says, expected, f"{remedy}, or use --workers", key="scheduler"))
