"""Readings as the answer shows them: verdict, surprise, slip and what each one moved."""

from __future__ import annotations

from typing import Any

import numpy as np

from idlewright.diagnosis.belief import Belief
from idlewright.job.entries import JobFile, ReadingEntry
from idlewright.job.groups import Group
from idlewright.job.history import Moves, decibans
from idlewright.job.verdicts import judge_entry
from idlewright.physics.conformity import Limits

WORTH_SAYING = 0.05
"""Decibans below which a move is left out."""


def readings_answer(
    job: JobFile, belief: Belief, past: Moves, groups: tuple[Group, ...]
) -> list[dict[str, Any]]:
    """Every reading of the job in file order, struck ones too."""
    counted = {one.id: k for k, one in enumerate(belief.case.seen)}
    names = _names(belief, groups)
    return [_entry(job, one, counted.get(one.id), belief, past, names) for one in job.readings]


def _names(belief: Belief, groups: tuple[Group, ...]) -> list[list[str]]:
    ids = [fault.id for fault in belief.model.cells.faults]
    return [*([ids[group.faults[0]]] for group in groups), [], ["something-else"]]


def _entry(
    job: JobFile,
    entry: ReadingEntry,
    position: int | None,
    belief: Belief,
    past: Moves,
    names: list[list[str]],
) -> dict[str, Any]:
    judged = judge_entry(job, entry)
    check = job.family.checks.get(entry.check or "")
    slip = float(belief.slip[position]) if position is not None else 0.0
    return {
        "id": entry.id,
        "check": entry.check,
        "say": check.say if check is not None else _between(job, entry),
        "red": entry.red,
        "black": entry.black,
        "typed": entry.typed,
        "value": entry.number,
        "unit": entry.unit,
        "word": entry.word,
        "overload": entry.overload,
        "meter": entry.meter,
        "epoch": entry.epoch,
        "episode": belief.case.times[position] if position is not None else 0,
        "counts": entry.counts,
        "struck_because": entry.struck,
        "verdict": judged.word,
        "limit": _limit(judged.limits, judged.page, judged.words),
        "corrected_limit": _ends(judged.corrected),
        "u": judged.u,
        "p_inside": judged.p_inside,
        "rule": judged.rule,
        "reason": judged.says,
        "surprise_p": float(past.surprise[position]) if position is not None else 1.0,
        "slip": slip,
        "slip_kind": belief.slip_kind[position] if position is not None and slip > 0.01 else None,
        "moved": _moved(past.odds[position], past.odds[position + 1], names)
        if position is not None
        else [],
    }


def _between(job: JobFile, entry: ReadingEntry) -> str:
    """Name of a reading between two places."""
    says = job.family.point_says
    red, black = str(entry.red), str(entry.black)
    return f"{says.get(red, red)} to {says.get(black, black)}"


def _limit(
    limits: Limits | None, page: str | None, words: tuple[str, ...]
) -> dict[str, Any] | None:
    if limits is None and not words:
        return None
    ends = _ends(limits) or {"low": None, "high": None}
    return {**ends, "page": page, "words": list(words)}


def _ends(limits: Limits | None) -> dict[str, Any] | None:
    return None if limits is None else {"low": limits.low, "high": limits.high}


def _moved(before: np.ndarray, after: np.ndarray, names: list[list[str]]) -> list[dict[str, Any]]:
    moved = [
        {"faults": name, "decibans": decibans(float(b), float(a))}
        for name, b, a in zip(names, before, after, strict=True)
    ]
    moved = [m for m in moved if abs(float(str(m["decibans"]))) >= WORTH_SAYING]
    moved.sort(key=lambda m: -abs(float(str(m["decibans"]))))
    return moved
