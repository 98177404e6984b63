"""What `study truth` found, as terminal text: one row a world, then what should not have been."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from idlewright.report.columns import Column, bold, table, usable_width, wrap

Answer = Mapping[str, Any]

_COLUMNS = (
    Column(least=8, gives=True),
    *(Column(least=5, right=True, gives=True) for _ in range(6)),
)


def truth_text(found: Answer, width: int | None = None, style: bool = False) -> str:
    """A truth answer (`idlewright/truth/1`) as text.

    Args:
        found: the answer. width: the terminal's width; None = 80. style: bold heads.
    """
    room = usable_width(width)
    blocks = [
        wrap(_head(found), room, "", "  "),
        [bold("WORLDS", style), *table([_HEADS, *map(_row, found["worlds"])], _COLUMNS, room)],
        list(_several(found, room)),
        list(_alarms(found, room, style)),
        wrap(_legend(found), room, "", "  "),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


_HEADS = ("", "leader right", "sure", "sure and wrong", "at most", "90 % holds", "slips named")


def _head(found: Answer) -> str:
    return (
        f"{found['family']}: {found['cases']:,} simulated cars in each world, "
        f"first seed {found['seed']}."
    )


def _row(one: Answer) -> tuple[str, ...]:
    sure, cover = one["sure"], one["places"]["cover"]
    return (
        str(one["world"]["name"]),
        _count(one["leader_right"]),
        str(sure["n"]),
        str(sure["wrong"]),
        f"{100 * float(sure['upper']):.1f} %",
        _count(cover),
        _count(one["slips"]["named"]),
    )


def _count(share: Answer) -> str:
    return f"{share['k']}/{share['n']}" if share["n"] else "-"


def _several(found: Answer, width: int) -> Iterator[str]:
    """Cars with several faults: how often all of them were among the first suspects."""
    for one in found["worlds"]:
        if one["all_named"]["n"]:
            says = f"{one['world']['name']}: the first three suspects name every fault on "
            yield from wrap(f"{says}{_count(one['all_named'])} cars.", width, " ", "   ")


def _alarms(found: Answer, width: int, style: bool) -> Iterator[str]:
    """Worlds whose severities do not fall where the answers say, and unlisted faults missed."""
    lines = []
    for one in found["worlds"]:
        name, places = one["world"]["name"], one["places"]
        if places["alarm"]:
            lines.append(f"{name}: severities are not where stated (p = {places['p']:.2g}).")
        missed = one["unlisted"]["sure_wrong"]
        if missed["k"]:
            lines.append(f"{name}: sure of a listed fault on {_count(missed)} cars with another.")
    if lines:
        yield bold("NOT AS STATED", style)
    for line in lines:
        yield from wrap(line, width, " ", "   ")


def _legend(found: Answer) -> str:
    return (
        f"Sure = above {100 * float(found['bar']):g} %. At most: what luck still allows, 95 % "
        "one-sided. 90 % holds: true severities inside the range that was to hold 9 in 10."
    )
