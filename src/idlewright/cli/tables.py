"""Plain tables for a terminal: columns as wide as their words, the last one wrapped."""

from __future__ import annotations

import sys
from collections.abc import Sequence

WIDEST = 100
NARROWEST = 40


def width() -> int:
    """Columns to write for: the terminal's, never more than 100; 80 into a pipe."""
    import shutil

    columns = shutil.get_terminal_size((80, 24)).columns if sys.stdout.isatty() else 80
    return max(NARROWEST, min(WIDEST, columns))


def colour_wanted(environment: dict[str, str]) -> bool:
    """True on a terminal that has not asked for none (`NO_COLOR`, `TERM=dumb`)."""
    refused = bool(environment.get("NO_COLOR")) or environment.get("TERM") == "dumb"
    return sys.stdout.isatty() and not refused


def table(
    head: Sequence[str], rows: Sequence[Sequence[str]], *, columns: int, right: Sequence[int] = ()
) -> str:
    """A table of text; the last column takes what room is left and wraps.

    Args:
        head: one title a column.
        rows: rows of as many cells.
        columns: width to keep to. Cells that cannot be wrapped (ids) may still go beyond it.
        right: indexes of the columns set flush right (numbers).
    """
    cells = [list(head), *[list(row) for row in rows]]
    wide = [max(len(row[k]) for row in cells) for k in range(len(head))]
    before = sum(wide[:-1]) + 2 * (len(head) - 1)
    stacked = columns - before < 16
    room = columns - 4 if stacked else columns - before
    lines = []
    for row in cells:
        fixed = [
            cell.rjust(w) if k in right else cell.ljust(w)
            for k, (cell, w) in enumerate(zip(row[:-1], wide, strict=False))
        ]
        lines += _join(fixed, row[-1], room, stacked=stacked)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _join(fixed: list[str], last: str, room: int, *, stacked: bool) -> list[str]:
    """One row: the last cell beside the others, or under them where there is no room beside."""
    start = "".join(cell + "  " for cell in fixed)
    import textwrap

    wrapped = textwrap.wrap(last, max(room, 12), break_on_hyphens=False) or [""]
    if stacked and fixed:
        return [start, *("    " + line for line in wrapped)]
    return [start + wrapped[0], *(" " * len(start) + line for line in wrapped[1:])]
