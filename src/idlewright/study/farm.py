"""Work spread over processes, or over machines; results come in the order of the tasks."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from importlib import import_module
from typing import Any, TypeVar

from idlewright.errors import BadInput, Problem

Task = TypeVar("Task")
Found = TypeVar("Found")


def spread(
    work: Callable[[Task], Found], tasks: Sequence[Task], workers: int, scheduler: str | None
) -> Iterator[Found]:
    """Results of `work` on every task, in order.

    Args:
        work: a function at the top of a module. tasks: what can be pickled.
        workers: processes on this machine. scheduler: address of a farm instead, or None.

    Raises:
        BadInput: a farm is asked for that is not installed or does not answer.
    """
    if scheduler is not None:
        yield from _farmed(work, tasks, scheduler)
    elif workers == 1:
        yield from map(work, tasks)
    else:
        spawn = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(workers, mp_context=spawn) as pool:
            yield from pool.map(work, tasks)


def _farmed(
    work: Callable[[Task], Found], tasks: Sequence[Task], scheduler: str
) -> Iterator[Found]:
    try:
        distributed: Any = import_module("distributed")
    except ImportError as error:
        raise BadInput(
            Problem(
                "the farm is not installed",
                "the package distributed, for --scheduler",
                'install it with pip install "idlewright[farm]", or use --workers',
                key="scheduler",
            )
        ) from error
    try:
        client = distributed.Client(scheduler, timeout="10s")
    except (OSError, ValueError) as error:
        raise BadInput(
            Problem(
                f"no scheduler answers at {scheduler}",
                "the address of a running scheduler, such as tcp://host:8786",
                "start it, or use --workers",
                key="scheduler",
            )
        ) from error
    with client:
        futures = client.map(work, list(tasks), pure=False)
        yield from client.gather(futures)
