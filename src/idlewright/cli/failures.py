"""How a run ends when it does not end well: one line an error, and the exit code.

Exit codes: 0 done, 1 done and the answer is no, 2 bad input or usage, 3 cannot tell, 4 store
refused, 70 a fault of the program itself (a report of it is kept), 130 interrupted.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

import click

from idlewright.cli.session import Session
from idlewright.errors import Problem
from idlewright.version import __version__

ERROR_FORMAT = "idlewright/error/1"
DONE, ANSWER_IS_NO, BAD_INPUT, CANNOT_TELL = 0, 1, 2, 3
OUR_FAULT, INTERRUPTED = 70, 130


def error_document(problems: Iterable[Problem]) -> dict[str, object]:
    """The problems as the JSON document `idlewright/error/1`."""
    errors = [
        {
            "file": problem.file,
            "line": problem.line,
            "key": problem.key,
            "says": problem.says,
            "expected": problem.expected,
            "remedy": problem.remedy,
        }
        for problem in problems
    ]
    return {"format": ERROR_FORMAT, "errors": errors}


def printable(text: str) -> str:
    """`text` on one line, with control characters shown as their code instead of obeyed."""
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in " ".join(text.split()))


def tell(problems: Iterable[Problem], session: Session) -> None:
    """Write the problems to standard error, one a line, or as JSON when the run asked for JSON."""
    if session.wants_json:
        import json

        print(json.dumps(error_document(problems), indent=1), file=sys.stderr)
        return
    for problem in problems:
        print(printable(problem.one_line()), file=sys.stderr)


def usage_problem(error: click.ClickException) -> Problem:
    """A mistake in the words of the command as a problem: what, what was expected, what to do."""
    context = error.ctx if isinstance(error, click.UsageError) else None
    path = context.command_path if context is not None else "idlewright"
    see = f"see '{path} --help'"
    if isinstance(error, click.NoSuchOption):
        return Problem(
            says=f"no option '{error.option_name}'",
            expected=_did_you_mean(error.possibilities),
            remedy=see,
            key=path,
        )
    if isinstance(error, click.exceptions.NoSuchCommand):
        return Problem(
            says=f"no command '{error.command_name}'",
            expected=_did_you_mean(error.possibilities),
            remedy=see,
            key=path,
        )
    says = error.format_message().strip().rstrip(".")
    return Problem(says=says[:1].lower() + says[1:], remedy=see, key=path)


def _did_you_mean(names: Sequence[str] | None) -> str:
    return f"did you mean {' or '.join(repr(name) for name in names)}?" if names else ""


def write_report(words: Sequence[str], session: Session) -> Path | None:
    """Keep what is needed to mend a fault of ours; where it is, or None if no place would take it.

    Call it while the exception is being handled. Nothing is sent anywhere.
    """
    import os
    import platform
    import tempfile
    import traceback
    from datetime import UTC, datetime

    now = datetime.now(UTC)
    text = "\n".join(
        [
            f"Idlewright {__version__}, {now.isoformat(timespec='seconds')}",
            f"Python {platform.python_version()} on {platform.platform()}",
            f"words: {list(words)!r}",
            "",
            traceback.format_exc(),
        ]
    )
    name = f"fault-{now:%Y%m%dT%H%M%S}-{os.getpid()}.txt"
    for folder in (session.data_folder() / "reports", Path(tempfile.gettempdir())):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text, encoding="utf-8")
        except OSError:
            continue
        return folder / name
    return None


def our_fault(error: Exception, words: Sequence[str], session: Session) -> Problem:
    """The problem to show for a fault of the program itself; the traceback goes to the report."""
    report = write_report(words, session)
    remedy = f"send {report} to the project" if report else "no place would take a report of it"
    return Problem(
        says=f"this is a fault in Idlewright, not in your files ({type(error).__name__}: {error})",
        expected="no answer was given",
        remedy=remedy,
    )
