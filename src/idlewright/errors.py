"""The error family. Every error a user can meet says what is wrong, where, and what to do next.

    IdlewrightError            exit code 70 unless a subclass says otherwise
      BadInput                 2   a file, value or word that cannot be used
      CannotTell               3   no evidence, or nothing left to try
      StoreRefused             4   the store is locked, full, read-only or newer
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, with its place and its remedy.

    Attributes:
        says: what is wrong, in plain words.
        expected: what was expected instead ("" when nothing useful can be said).
        remedy: what to do next.
        file: file name as the user gave it, or "" when there is none.
        line: 1-based line, or None when unknown.
        key: dotted key inside the file, or "".
    """

    says: str
    expected: str = ""
    remedy: str = ""
    file: str = ""
    line: int | None = None
    key: str = ""

    def one_line(self) -> str:
        """`FILE:LINE: key: what is wrong; what is expected; what to do`, as one printable line."""
        place = self.file + (f":{self.line}" if self.line is not None else "")
        head = ": ".join(part for part in (place, self.key) if part)
        body = "; ".join(part for part in (self.says, self.expected, self.remedy) if part)
        text = f"{head}: {body}" if head else body
        return " ".join(text.split())


class IdlewrightError(Exception):
    """Base of every error raised on purpose. Carries one or more problems.

    Args:
        problems: the problems, or one problem, or one sentence.
    """

    exit_code = 70

    def __init__(self, problems: Iterable[Problem] | Problem | str) -> None:
        if isinstance(problems, str):
            problems = (Problem(says=problems),)
        elif isinstance(problems, Problem):
            problems = (problems,)
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(problem.one_line() for problem in self.problems))


class BadInput(IdlewrightError, ValueError):
    """A file, value, word or combination that cannot be used."""

    exit_code = 2


class CannotTell(IdlewrightError):
    """There is no evidence to answer from, or nothing is left to try."""

    exit_code = 3


class StoreRefused(IdlewrightError):
    """The store would not take or give the data: locked, full, read-only or of a newer format."""

    exit_code = 4
