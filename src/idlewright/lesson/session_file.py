"""A lesson's file: which car, then one line a step, safe on the disk before it is told.

A lesson is gone on with by doing its steps again: the same car answers the same. A last line that
was cut off in the middle of being written was never told, and is dropped.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from idlewright.errors import BadInput, Problem
from idlewright.lesson.lesson import Lesson, Told
from idlewright.lesson.opening import Opening
from idlewright.version import __version__

FORMAT = "idlewright/practice-session/1"


@dataclass(slots=True)
class SessionFile:
    """A lesson and its file.

    Attributes:
        path: of the file. lesson: as far as it has come. learner: who learns, "" unsaid.
        marks: what it was marked with, None until then.
    """

    path: Path
    lesson: Lesson
    learner: str
    marks: Mapping[str, Any] | None
    _size: int

    @classmethod
    def begin(cls, path: Path, opening: Opening, learner: str) -> SessionFile:
        """A new lesson in a new file.

        Raises:
            BadInput: the file is there already or cannot be written, or the car cannot be opened.
        """
        lesson = Lesson.begin(opening)
        head = {
            "format": FORMAT, "version": __version__, "learner": learner,
            "family_sha256": opening.vehicle.family.sha256, "car": opening.as_data(),
        }  # fmt: skip
        if is_begun(path):
            raise BadInput(_problem(path, "is there already", "a new file", "choose another"))
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(b"")
        except OSError as error:
            raise _unwritten(path, error) from error
        found = cls(path, lesson, learner, None, 0)
        found._append(head)
        return found

    @classmethod
    def open(cls, path: Path) -> SessionFile:
        """A lesson gone on with: its steps are done again.

        Raises:
            BadInput: the file cannot be read, is no session, or was begun with another program or
                family, so that the car answers otherwise.
        """
        lines, size = _whole_lines(path)
        head = _head(path, lines)
        car = head["car"]
        lesson = Lesson.begin(Opening(car["family"], car["number"], car["kind"], car["car"]))
        marks = None
        for number, line in enumerate(lines[1:], 2):
            if "marks" in line:
                marks = line["marks"]
            elif _again(lesson, line["line"]) != line:
                raise BadInput(_problem(
                    path, "the car answers otherwise than it did",
                    f"version {head.get('version')} and the family it was begun with",
                    "use these, or begin again with a new file", number))  # fmt: skip
        found = cls(path, lesson, str(head.get("learner", "")), marks, size)
        found._cut(size)
        return found

    def do(self, line: str) -> Told:
        """Do a step and keep it; it is on the disk when this returns.

        Raises:
            BadInput: the line is no step (nothing happened), or the file cannot be written.
        """
        told = self.lesson.do(line)
        self._append(told.as_data())
        return told

    def keep_marks(self, marks: Mapping[str, Any]) -> None:
        """Keep the marks of a lesson that has ended."""
        self.marks = marks
        self._append({"marks": marks})

    def _append(self, line: Mapping[str, Any]) -> None:
        data = (json.dumps(line, allow_nan=False) + "\n").encode()
        try:
            with self.path.open("ab") as file:
                if os.fstat(file.fileno()).st_size != self._size:
                    says, expected = "somebody else writes to this session", "one program at a time"
                    raise BadInput(_problem(self.path, says, expected, "close the other one"))
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise _unwritten(self.path, error) from error
        self._size += len(data)

    def _cut(self, size: int) -> None:
        """Drop a last line that was never whole."""
        try:
            if self.path.stat().st_size > size:
                os.truncate(self.path, size)
        except OSError as error:
            raise _unwritten(self.path, error) from error


def _again(lesson: Lesson, line: str) -> Mapping[str, Any] | None:
    """What a kept step tells now; None if it is no step any more."""
    try:
        return lesson.do(line).as_data()
    except BadInput:
        return None


def is_begun(path: Path) -> bool:
    """True if something whole is in the file; one cut off in its first line is as good as none."""
    try:
        return b"\n" in path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError:
        return True  # there is something, and opening it will say what is wrong with it


def read_session(path: Path) -> tuple[Mapping[str, Any], list[dict[str, Any]]]:
    """Head and lines of a session's file, nothing done again.

    Raises:
        BadInput: it cannot be read or is no session.
    """
    lines, _ = _whole_lines(path)
    return _head(path, lines), lines[1:]


_HEAD: Final = {"family": str, "number": int, "kind": str, "car": dict | None}
_STEP: Final = {
    "line": str, "says": list, "refused": str, "minutes": float | int, "waiting": float | int,
    "parts": float | int,
}  # fmt: skip
_MARKS: Final = {
    "format": str, "car": dict, "ending": str, "spent": dict, "plan": dict, "best": dict,
    "steps": list, "left": list, "was": list, "order": list, "safety": list, "slips": dict,
    "regret": float | int,
}  # fmt: skip


def _has(line: object, kinds: Mapping[str, Any]) -> bool:
    """True if everything is in it that must be, and is of its kind."""
    return isinstance(line, dict) and all(
        name in line and isinstance(line[name], kind) for name, kind in kinds.items()
    )


def _is_whole(line: object) -> bool:
    """True for a step or for marks as they are written."""
    if isinstance(line, dict) and "marks" in line:
        return _has(line["marks"], _MARKS)
    return _has(line, _STEP)


def _whole_lines(path: Path) -> tuple[list[dict[str, Any]], int]:
    """Head and every whole line, and the bytes they take."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadInput(_problem(path, f"cannot be read ({error.strerror or error})",
                                "a session of practice", "check its name")) from error  # fmt: skip
    whole = data[: data.rfind(b"\n") + 1]
    found = []
    for number, raw in enumerate(whole.splitlines(), 1):
        try:
            line = json.loads(raw)
        except (ValueError, RecursionError):
            line = None
        if line is None or (number > 1 and not _is_whole(line)):
            raise BadInput(_problem(path, "this line is damaged", "a line as it was written",
                                    "put a copy of the file back", number))  # fmt: skip
        found.append(line if isinstance(line, dict) else {})
        if number == 1:
            _head(path, found)
    return found, len(whole)


def _head(path: Path, lines: list[dict[str, Any]]) -> Mapping[str, Any]:
    head = lines[0] if lines else {}
    if head.get("format") == FORMAT and _has(head.get("car"), _HEAD):
        return head
    found = str(head.get("format", ""))
    newer = found != FORMAT and found.startswith(FORMAT.rpartition("/")[0])
    remedy = "use a newer version of this program" if newer else "begin one with another name"
    raise BadInput(_problem(path, "this is no session of practice", FORMAT, remedy, 1))


def _problem(
    path: Path, says: str, expected: str, remedy: str, line: int | None = None
) -> Problem:
    return Problem(says, expected, remedy, str(path), line)


def _unwritten(path: Path, error: OSError) -> BadInput:
    says = f"cannot be written ({error.strerror or error}); the last step was not kept"
    return BadInput(_problem(path, says, "a place you may write to", "choose another --session"))
