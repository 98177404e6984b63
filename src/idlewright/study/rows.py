"""The rows of a study, kept as they come: one that is cut off goes on to the very same answer."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from idlewright.errors import BadInput, CannotTell, Problem
from idlewright.study.farm import Stopped, spread
from idlewright.study.program import program_sha256

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
        """Rows that are there already; a last line that was cut off is left out.

        Raises:
            BadInput: the folder holds another study, or cannot be read or written.
        """
        head = {**self.study, "program": program_sha256()}
        file = self.folder / HEAD
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            if not file.exists() and not self.path.exists():
                # Whole or not at all: rows are only ever added under a head that can be read.
                new = file.with_suffix(".new")
                new.write_text(json.dumps(head, indent=1) + "\n", encoding="utf-8")
                os.replace(new, file)
            known = json.loads(file.read_text(encoding="utf-8")) if file.exists() else None
            data = self.path.read_bytes() if self.path.exists() else b""
        except (OSError, ValueError) as error:
            raise self._unusable(error) from error
        if known != head:
            raise BadInput(
                Problem("this folder holds the rows of another study", "an empty folder, or the "
                        "same study by the same program", "choose another --out",
                        str(self.path), key="out")
            )  # fmt: skip
        whole = data[: data.rfind(b"\n") + 1]
        return [self._row(line, number) for number, line in enumerate(whole.splitlines(), 1)]

    def _row(self, line: bytes, number: int) -> Row:
        try:
            row = json.loads(line)
        except ValueError:
            row = None
        if not isinstance(row, dict):
            raise BadInput(
                Problem("this line is damaged", "one row of the study", "cut the file off before "
                        "it to keep the rows above, or choose another --out",
                        str(self.path), number, "out")
            )  # fmt: skip
        return row

    def keep_only(self, count: int) -> None:
        """Cut the file off after so many rows; they themselves are not written anew."""
        try:
            with self.path.open("a+b") as lines:
                lines.seek(0)
                for _ in range(count):
                    lines.readline()
                lines.truncate(lines.tell())
        except OSError as error:
            raise self._unusable(error) from error

    def add(self, rows: Sequence[Row]) -> None:
        """Append rows, to be seen at once."""
        try:
            with self.path.open("a", encoding="utf-8", newline="\n") as lines:
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
    if kept is not None and first < len(tasks):
        kept.keep_only(at)
    try:
        for found in spread(work, tasks[first:], helpers.workers, helpers.scheduler):
            if kept is not None:
                kept.add(found)
            yield found
    except Stopped as error:
        raise _told(error, sizes, first + error.done, kept) from error


def _told(error: Stopped, sizes: Sequence[int], part: int, kept: RowFile | None) -> CannotTell:
    """At which cars a study stopped, what is kept of it, and what to do."""
    before = sum(sizes[:part])
    says = f"{error.why} at cars {before + 1} to {before + sizes[part]} of {sum(sizes)}"
    if kept is None:
        had, again = "nothing is kept without --out", "run it again with --out DIR"
    else:
        had = f"the {before} cars before them are kept in {kept.path}"
        again = "run the same command again: it goes on from there"
    remedy = f"see that workers stay up and have memory, then {again}"
    return CannotTell(Problem(says, had, remedy, key="workers"))
