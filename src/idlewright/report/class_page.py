"""The results of a class as one page a teacher can read on a phone or print."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from idlewright.report.html import environment, page_style
from idlewright.report.svg import patterns
from idlewright.words import counted, listed, minutes_words, sentence, upper_first

Answer = Mapping[str, Any]


def class_page(report: Answer) -> str:
    """A class report (`idlewright/class/1`) as an HTML document that needs nothing but itself."""
    rows = report["sessions"]
    ended = sum(row["ended"] for row in rows)
    often = (f"{one['line']}, in {counted(one['sessions'], 'lesson')}." for one in report["often"])
    template = environment().get_template("class.html")
    return template.render(
        style=page_style(),
        patterns=patterns(),
        head=f"{counted(len(rows), 'lesson')}, {ended} ended",
        often=list(often),
        rows=[_section(row) for row in rows],
        unreadable=[f"{one['file']}: {one['says']}." for one in report["unreadable"]],
    )


def _section(row: Answer) -> dict[str, Any]:
    steps = counted(row["steps"], "step")
    result = f"Goes on after {steps}."
    cost = f"{minutes_words(row['minutes'])} so far."
    if row["ended"]:
        left = "" if row["cured"] else ", the fault still there"
        result = f"{upper_first(row['ending'])}{left}, in {steps}."
        cost = (
            f"{minutes_words(row['minutes'])}, {row['total']:.0f} euro in all; the plan needs "
            f"{row['plan_total']:.0f}, who knows the fault {row['best_total']:.0f}."
        )
    title = f"{row['learner']}: {row['car']}"
    return {
        "title": title, "result": result, "cost": cost, "says": list(_says(row)),
        "file": row["file"],
    }  # fmt: skip


def _says(row: Answer) -> Iterator[str]:
    """What there is to talk about with this learner."""
    if row["wasted"]:
        yield f"Wasted {row['regret']:.0f} euro: {listed(row['wasted'])}."
    if row["safety"]:
        yield f"Tried what could hurt or damage: {counted(row['safety'], 'time')}."
    for says in row["order"]:
        yield sentence(says)
    if row["slips_missed"]:
        yield f"Slips of the hand not noticed: {row['slips_missed']}."
