"""Work for workers, in a module of its own: they load it without the tests and what those need."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any


def double(task: int) -> int:
    """Work that goes well."""
    return 2 * task


def dies_at_three(task: int) -> int:
    """Work at which the worker dies."""
    if task == 3:
        os._exit(1)
    return task


def dies_once(task: tuple[int, str]) -> int:
    """Work at which a worker dies the first time only."""
    number, folder = task
    mark = Path(folder) / "died"
    if number == 3 and not mark.exists():
        mark.touch()
        os._exit(1)
    return number


def is_slow(task: int) -> int:
    """Work that takes a while."""
    time.sleep(0.2)
    return task


def finds_no_file(task: int) -> int:
    """Work that fails by itself, as a lost connection fails."""
    raise FileNotFoundError(2, f"no file for task {task}")


def two_rows_or_death(task: int) -> list[dict[str, Any]]:
    """Work that gives rows, and dies at one task."""
    return [{"task": dies_at_three(task)}] * 2


def differs_by_process() -> str:
    """Never the same in a worker as here."""
    return str(os.getpid())


def is_refused(task: int) -> int:
    """Work that says what is wrong."""
    from idlewright.errors import BadInput

    raise BadInput(f"task {task} is wrong")
