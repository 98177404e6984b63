"""The terminal this run writes to: how wide it is, whether it takes colour, and tables for it."""

from __future__ import annotations

import os
import sys
from collections.abc import Collection, Sequence


def width() -> int | None:
    """Columns of the terminal, or None into a pipe or file."""
    if not sys.stdout.isatty():
        return None
    import shutil

    return shutil.get_terminal_size((80, 24)).columns


def style_wanted() -> bool:
    """True if bold and colour may be used."""
    from idlewright.report.columns import wants_style

    return wants_style(is_terminal=sys.stdout.isatty(), environment=os.environ)


def table(
    head: Sequence[str], rows: Sequence[Sequence[str]], *, right: Collection[int] = ()
) -> str:
    """A table as wide as the terminal; the last column wraps.

    Args:
        head: one title a column.
        rows: as many cells each.
        right: indexes of the columns set flush right (numbers).
    """
    from idlewright.report.columns import Column, usable_width
    from idlewright.report.columns import table as laid

    last = len(head) - 1
    columns = [
        Column(least=16 if k == last else 6, right=k in right, gives=k == last)
        for k in range(len(head))
    ]
    return "\n".join(laid([head, *rows], columns, usable_width(width()), indent="")) + "\n"
