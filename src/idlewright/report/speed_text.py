"""What `study speed` measured, as terminal text: one row a kind of answer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from idlewright.report.columns import Column, bold, table, usable_width, wrap

Answer = Mapping[str, Any]

_COLUMNS = (
    Column(least=12, gives=True),
    Column(least=5, right=True),
    Column(least=9, right=True, gives=True),
    Column(least=9, right=True, gives=True),
)


def speed_text(found: Answer, width: int | None = None, style: bool = False) -> str:
    """A speed answer (`idlewright/speed/1`) as text.

    Args:
        found: the answer. width: the terminal's width; None = 80. style: bold heads.
    """
    room = usable_width(width)
    rows = [("", "times", "wall clock", "processor"), *map(_row, found["rows"])]
    blocks = [
        wrap(_head(found), room, "", "  "),
        [bold("SECONDS, MEDIAN", style), *table(rows, _COLUMNS, room)],
        wrap("In brackets: 8 in 10 lie between. Other work on the machine lengthens both.", room),
    ]
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _head(found: Answer) -> str:
    machine = found["machine"]
    return (
        f"{found['family']}: {found['cases']:,} practice cars, first seed {found['seed']}; "
        f"{machine['system']}, {machine['processors']} processors, Python {machine['python']}, "
        f"NumPy {machine['numpy']}."
    )


def _row(row: Answer) -> tuple[str, ...]:
    return (str(row["says"]), str(row["n"]), _spread(row["wall"]), _spread(row["processor"]))


def _spread(seconds: Answer) -> str:
    low, high = float(seconds["low"]), float(seconds["high"])
    return f"{float(seconds['median']):.3g} ({low:.2g}-{high:.2g})"
