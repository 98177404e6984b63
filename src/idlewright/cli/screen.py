"""The terminal this run writes to: how wide it is, and whether it takes colour."""

from __future__ import annotations

import os
import sys


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
