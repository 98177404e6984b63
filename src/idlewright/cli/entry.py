"""Where the program starts, and the only place where it ends."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import click

from idlewright.cli import failures
from idlewright.cli.session import Session
from idlewright.cli.shell import SHELL
from idlewright.errors import IdlewrightError

PROGRAM = "idlewright"
COMPLETION = "_IDLEWRIGHT_COMPLETE"


def main(words: Sequence[str] | None = None) -> int:
    """Run the program on `words` (default: the command line's); the exit code. Never raises."""
    # pydantic would look through every installed package for plugins of its own.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "true")
    words = list(sys.argv[1:] if words is None else words)
    session = Session.from_words(words)
    _never_fail_on_letters()
    try:
        return _run(words, session)
    except click.exceptions.NoArgsIsHelpError as error:
        print(error.format_message(), file=sys.stderr)
        return failures.BAD_INPUT
    except click.ClickException as error:
        failures.tell([failures.usage_problem(error)], session)
        return failures.BAD_INPUT
    except (KeyboardInterrupt, click.Abort):
        return failures.INTERRUPTED
    except BrokenPipeError:
        # The reader of a pipe has seen enough. Python must not complain again when it flushes.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return failures.DONE
    except IdlewrightError as error:
        failures.tell(error.problems, session)
        return error.exit_code
    except Exception as error:  # noqa: BLE001 - the last line of defence: a report, no traceback
        failures.tell([failures.our_fault(error, words, session)], session)
        return failures.OUR_FAULT


def _run(words: list[str], session: Session) -> int:
    instruction = os.environ.get(COMPLETION)
    if instruction:
        from click.shell_completion import shell_complete

        return shell_complete(SHELL, {}, PROGRAM, COMPLETION, instruction)
    try:
        with SHELL.make_context(PROGRAM, words, obj=session) as context:
            code = SHELL.invoke(context)
    except click.exceptions.Exit as end:
        code = end.exit_code
    sys.stdout.flush()
    return code if isinstance(code, int) else failures.DONE


def _never_fail_on_letters() -> None:
    """A terminal that lacks a letter shows `?` instead of ending the program."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
