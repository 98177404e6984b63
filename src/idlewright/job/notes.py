"""Remarks that go with an answer: what was assumed, what is missing, what to beware of."""

from __future__ import annotations

from typing import Any

from idlewright.diagnosis.belief import Belief
from idlewright.diagnosis.slips import SAYS
from idlewright.job.entries import JobFile

SLIP_NAMED = 0.3


def notes_of(job: JobFile, belief: Belief, assumed: tuple[str, ...]) -> list[dict[str, Any]]:
    """Notes in the order a technician would want them: slips first, then what was assumed."""
    notes = []
    for k, one in enumerate(belief.case.seen):
        if belief.slip[k] > SLIP_NAMED:
            kind = belief.slip_kind[k] or "unknown"
            notes.append(note("slip", f"Reading {one.id}: {SAYS[kind]} Read it again.", one.id))
    if assumed:
        names = ", ".join(job.family.sheet[key].say for key in assumed[:6])
        more = f" and {len(assumed) - 6} more" if len(assumed) > 6 else ""
        says = f"Not on the sheet, usual values taken: {names}{more}."
        notes.append(note("assumed", says, None))
    if len(belief.model.table.variants) > 1:
        keys = sorted({k for words in belief.model.table.variants for k in words})
        open_keys = [k for k in keys if len({w[k] for w in belief.model.table.variants}) > 1]
        names = ", ".join(job.family.sheet[key].say for key in open_keys)
        notes.append(note("unknown", f"Not known, every possibility kept: {names}.", None))
    if any(code.when == "set_by_us" for code in job.codes):
        notes.append(note("codes", "Codes set by our own unplugging do not count.", None))
    if not belief.settled:
        notes.append(
            note("unsettled", "The odds may still move a little: use --accuracy fine.", None)
        )
    return notes


def note(code: str, says: str, where: str | None) -> dict[str, Any]:
    """One note."""
    return {"code": code, "says": says, "where": where}
