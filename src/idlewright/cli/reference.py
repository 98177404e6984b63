"""The page of all commands, written by the program itself: `python -m idlewright.cli.reference`."""

from __future__ import annotations

import sys

import click

from idlewright.cli.entry import PROGRAM
from idlewright.cli.shell import SHELL, VERBS

COLUMNS = 80

TOP = """\
# Commands

Written by the program itself; `python -m idlewright.cli.reference > docs/commands.md` renews it.

Errors go to standard error, one a line: `FILE:LINE: key: what is wrong; what is expected; what to
do`. With `--json` they are the document `idlewright/error/1` instead. Faults that `vet` finds are
its answer and go to standard output.

| exit code | means |
|---|---|
| 0 | done |
| 1 | done, and the answer is no: `vet` found a fault, `study gaps` one that no check shows |
| 2 | bad input or usage |
| 3 | cannot tell: no evidence, or nothing left to try |
| 4 | the store refused (locked, full, read-only, newer format) |
| 70 | a fault of ours; a report file is named |
| 130 | interrupted |
"""


def reference_text() -> str:
    """The page: exit codes, then the help of the program and of each verb."""
    parts = [TOP]
    top = click.Context(SHELL, info_name=PROGRAM, terminal_width=COLUMNS, **SHELL.context_settings)
    with top:
        parts.append(_section(PROGRAM, SHELL.get_help(top)))
        for verb in VERBS:
            command = SHELL.get_command(top, verb)
            if command is None:
                raise LookupError(verb)
            with click.Context(command, info_name=verb, parent=top) as context:
                parts.append(_section(f"{PROGRAM} {verb}", command.get_help(context)))
    return "\n".join(parts)


def _section(title: str, text: str) -> str:
    lines = "\n".join(line.rstrip() for line in text.splitlines())
    return f"## {title}\n\n```text\n{lines}\n```\n"


if __name__ == "__main__":
    sys.stdout.write(reference_text())
