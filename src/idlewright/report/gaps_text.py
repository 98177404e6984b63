"""What `study gaps` found, as terminal text: silent faults, pairs not told apart, the weak ones."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from idlewright.report.columns import Column, bold, table, usable_width, wrap

Answer = Mapping[str, Any]

_COLUMNS = (Column(least=12, gives=True), Column(least=4, right=True), Column(least=12, gives=True))


def gaps_text(found: Answer, width: int | None = None, style: bool = False) -> str:
    """A gaps answer (`idlewright/gaps/1`) as text: what is missing first, then every fault.

    Args:
        found: the answer. width: the terminal's width; None = 80. style: bold heads.
    """
    room = usable_width(width)
    faults, pairs = found["faults"], found["pairs"]
    silent = [fault for fault in faults if fault["silent"]]
    alike = [pair for pair in pairs if not pair["told_apart"]]
    blocks = [
        wrap(_head(found, silent, alike), room, "", "  "),
        list(_silent(silent, room, style)),
        list(_alike([p for p in alike if not p["same_repair"]], "NOT TOLD APART", room, style)),
        list(_alike([p for p in alike if p["same_repair"]], "EQUAL, SAME REPAIR", room, style)),
        list(_shown(faults, room, style)),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _head(found: Answer, silent: Sequence[Answer], alike: Sequence[Answer]) -> str:
    count, pairs = len(found["faults"]), len(found["pairs"])
    gaps = sum(not pair["same_repair"] for pair in alike)
    return (
        f"{found['family']}: {count - len(silent)} of {count} faults are seen by a check, "
        f"{pairs - len(alike):,} of {pairs:,} pairs are told apart by one; of the rest {gaps} need "
        f"different repairs. Counted from {found['seen']:g} sd of tolerances and meter together."
    )


def _silent(silent: Sequence[Answer], width: int, style: bool) -> Iterator[str]:
    if not silent:
        return
    yield bold("SEEN BY NO CHECK", style)
    for fault in silent:
        why = f"declared: {fault['declared']}" if fault["declared"] else "not declared"
        yield from wrap(f"{fault['fault']}: {fault['say']} ({why})", width, " ", "   ")


def _alike(pairs: Sequence[Answer], head: str, width: int, style: bool) -> Iterator[str]:
    if not pairs:
        return
    yield bold(head, style)
    for pair in pairs:
        best = f"best {pair['check']}, {pair['sigma']:.1f} sd" if pair["check"] else "no check"
        yield from wrap(f"{pair['a']} and {pair['b']}: {best}", width, " ", "   ")


def _shown(faults: Sequence[Answer], width: int, style: bool) -> Iterator[str]:
    """Every fault that is seen, the hardest to see first."""
    yield bold("BEST CHECK OF EACH FAULT, HARDEST FIRST", style)
    seen = sorted((f for f in faults if not f["silent"]), key=lambda f: (f["sigma"], f["fault"]))
    rows = [("", "sd", "check")]
    rows += [(str(f["fault"]), f"{f['sigma']:.1f}", str(f["check"])) for f in seen]
    yield from table(rows, _COLUMNS, width)
