"""The rows of a study, kept as they come: one that is cut off goes on to the very same answer."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from idlewright.errors import BadInput, Problem
from idlewright.study.farm import spread

Task = TypeVar("Task")
Row = dict[str, Any]
HEAD = "study.json"


@dataclass(frozen=True, slots=True)
class Helpers:
    """Who does the work: processes of this machine, or a farm by its scheduler's address."""

    workers: int = 1
    scheduler: str | None = None


@dataclass(frozen=True, slots=True)
class RowFile:
    """A folder with one line a row, and what study they belong to.

    Attributes:
        folder: of the study. name: of the file of rows. study: what the rows depend on.
    """

    folder: Path
    name: str
    study: Mapping[str, Any]

    @property
    def path(self) -> Path:
        """The file of rows."""
        return self.folder / self.name

    def begin(self) -> list[Row]:
        """Rows that are there already; a last line that was cut off is dropped.

        Raises:
            BadInput: the folder holds another study, or cannot be read or written.
        """
        head = {**self.study, "program": program_sha256()}
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            file = self.folder / HEAD
            if not self.path.exists():
                file.write_text(json.dumps(head, indent=1) + "\n", encoding="utf-8")
                self.path.write_bytes(b"")
                return []
            known = json.loads(file.read_text(encoding="utf-8")) if file.exists() else None
            data = self.path.read_bytes()
        except (OSError, ValueError) as error:
            raise self._unusable(error) from error
        if known != head:
            raise BadInput(
                Problem("this folder holds the rows of another study", "an empty folder, or the "
                        "same study by the same program", "choose another --out",
                        str(self.path), key="out")
            )  # fmt: skip
        whole = data[: data.rfind(b"\n") + 1]
        return [json.loads(line) for line in whole.splitlines()]

    def keep_only(self, rows: Sequence[Row]) -> None:
        """Write the file anew with these rows."""
        self._write(rows, "w")

    def add(self, rows: Sequence[Row]) -> None:
        """Append rows, to be seen at once."""
        self._write(rows, "a")

    def _write(self, rows: Sequence[Row], mode: str) -> None:
        try:
            with self.path.open(mode, encoding="utf-8", newline="\n") as lines:
                lines.writelines(json.dumps(row, allow_nan=False) + "\n" for row in rows)
        except OSError as error:
            raise self._unusable(error) from error

    def _unusable(self, error: Exception) -> BadInput:
        why = getattr(error, "strerror", None) or error
        return BadInput(
            Problem(f"cannot be used ({why})", "a folder that can be written",
                    "choose another with --out", str(self.folder), key="out")
        )  # fmt: skip


def rows_of(
    work: Callable[[Task], list[Row]],
    tasks: Sequence[Task],
    sizes: Sequence[int],
    helpers: Helpers,
    kept: RowFile | None,
) -> Iterator[list[Row]]:
    """The rows of every task, in order; those that are kept already are not worked again.

    Args:
        work: a function at the top of a module. tasks: what it works on. sizes: rows of each.
        helpers: who works. kept: where rows are kept, or None.

    Raises:
        BadInput, CannotTell: see RowFile.begin and `spread`.
    """
    there = kept.begin() if kept is not None else []
    first, at = 0, 0
    while first < len(tasks) and at + sizes[first] <= len(there):
        yield there[at : at + sizes[first]]
        at += sizes[first]
        first += 1
    if kept is not None:
        kept.keep_only(there[:at])
    for found in spread(work, tasks[first:], helpers.workers, helpers.scheduler):
        if kept is not None:
            kept.add(found)
        yield found


@lru_cache(maxsize=1)
def program_sha256() -> str:
    """Of every file of the program: rows of another one are not its own."""
    found = hashlib.sha256()
    package = Path(__file__).parents[1]
    for path in sorted(package.rglob("*.py")):
        found.update(str(path.relative_to(package)).encode())
        found.update(hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()
