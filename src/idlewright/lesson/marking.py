"""A lesson marked: cost beside the tool's plan and the best possible, waste, order and safety."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from idlewright.job.prospects import TARIFF, price_of_stopping
from idlewright.lesson.decisions import Decision, decisions_of
from idlewright.lesson.lesson import Lesson
from idlewright.lesson.steps import take_apart
from idlewright.plan.proof import proof_tries
from idlewright.study.arms import ARMS, BOUND, OURS, Arm, Charts
from idlewright.study.cases import Row, price_of_work, work
from idlewright.study.desk import Desk, Memo
from idlewright.version import __version__

FORMAT = "idlewright/practice/1"
DIGITS = 2


def marks_of(lesson: Lesson, learner: str = "") -> dict[str, Any]:
    """The marks as a JSON-ready dict, format idlewright/practice/1.

    A lesson that goes on has its steps and its spendings only: nothing hidden is told.
    """
    ended = lesson.ending is not None
    decisions = decisions_of(lesson) if ended else []
    by_step = {decision.step: decision for decision in decisions}
    was = lesson.opening.open()
    vehicle = lesson.opening.vehicle
    return {
        "format": FORMAT,
        "made_by": {
            "version": __version__,
            "family": vehicle.family.id,
            "family_sha256": vehicle.family.sha256,
            "sheet_sha256": vehicle.sheet.sha256,
        },
        "car": {
            "name": lesson.opening.name,
            "family": vehicle.family.id,
            "number": lesson.opening.number,
            "kind": lesson.opening.kind,
            "law": was.law.name,
        },
        "learner": learner,
        "ending": lesson.ending,
        "was": (was.reveal() or ["Nothing was wrong"]) if ended else [],
        "left": lesson.car.reveal() if ended else [],
        "spent": _spent(lesson),
        "plan": _worked(lesson, ARMS[OURS]) if ended else None,
        "best": _worked(lesson, BOUND) if ended else None,
        "steps": [
            {"number": number, **told.as_data(), **_rated(by_step.get(number))}
            for number, told in enumerate(lesson.told, 1)
        ],
        "regret": round(sum(decision.regret for decision in decisions if decision.why), DIGITS),
        "safety": _refused(lesson, "safety"),
        "order": [*_refused(lesson, "order"), *_order(lesson, decisions)] if ended else [],
        "slips": _slips(lesson) if ended else {"made": [], "missed": [], "struck_wrongly": []},
    }


def _spent(lesson: Lesson) -> dict[str, Any]:
    cost, parts = price_of_work(lesson.car)
    faults = lesson.car.faults
    if lesson.ending in ("proven", "handed back") and faults:
        cost += TARIFF.callback
    if lesson.ending in ("sent on", "handed back"):  # unproven, whoever gets it next has to cure it
        cost += price_of_stopping(lesson.car.family, faults)
    spent = lesson.car.spent
    return _money(spent.hands_on, spent.waiting, parts, cost)


def _money(minutes: float, waiting: float, parts: float, total: float) -> dict[str, Any]:
    amounts = {"minutes": minutes, "waiting": waiting, "parts": parts, "total": total}
    return {name: round(float(amount), DIGITS) for name, amount in amounts.items()}


def _worked(lesson: Lesson, arm: Arm) -> dict[str, Any]:
    """The same car from the same start, worked by the tool's plan or by one who knows."""
    desk = Desk(lesson.opening.vehicle, lesson.opening.open(), Memo())
    row: Row = work(desk, arm, Charts(), lesson.opening.number)
    return {
        **_money(row["minutes"], row["waiting"], row["parts"], row["cost"]),
        "ending": row["ending"], "checks": row["checks"], "repairs": row["repairs"],
    }  # fmt: skip


def _rated(decision: Decision | None) -> dict[str, Any]:
    if decision is None:
        return {"regret": None, "why": "", "better": ""}
    regret = round(decision.regret, DIGITS)
    return {"regret": regret, "why": decision.why, "better": decision.better}


def _refused(lesson: Lesson, kind: str) -> list[dict[str, Any]]:
    return [
        {"step": number, "says": " ".join(told.says)}
        for number, told in enumerate(lesson.told, 1)
        if told.refused == kind
    ]


def _order(lesson: Lesson, decisions: list[Decision]) -> Iterator[dict[str, Any]]:
    """What was done out of order, or left out at the end."""
    for decision in decisions:
        if decision.destroys:
            says = f"Too early: it destroys what would show in {decision.destroys}."
            yield {"step": decision.step, "says": says}
    if lesson.ending == "sent on" or not lesson.car.repairs:
        return
    last = len(lesson.told)
    if not lesson.tries:
        yield {"step": last, "says": "Handed back without a proof after the last repair."}
    if bad := len(lesson.tries) - sum(lesson.tries):
        says = f"Handed back, though it showed in {bad} of {len(lesson.tries)} tries."
        yield {"step": last, "says": says}
    yield from _unread(lesson)
    needed = _tries_needed(lesson)
    if lesson.tries and len(lesson.tries) < needed:
        yield {"step": last, "says": f"It comes and goes: {needed} clean tries prove the cure, "
               f"{len(lesson.tries)} were made."}  # fmt: skip


def _unread(lesson: Lesson) -> Iterator[dict[str, Any]]:
    """Settings that a repair moved and nobody read again before the car went."""
    moved: dict[str, int] = {}
    for number, told in enumerate(lesson.told, 1):
        typed = take_apart(told.line)
        if told.refused:
            continue
        if typed.word == "repair":
            moved |= dict.fromkeys(lesson.car.family.repairs[typed.args[0]].voids, number)
        elif typed.word == "read" and len(typed.args) == 1:
            moved.pop(typed.args[0], None)
    for step in sorted(set(moved.values())):
        checks = ", ".join(check for check, at in moved.items() if at == step)
        yield {"step": step, "says": f"Moved by this repair and not read again: {checks}."}


def _tries_needed(lesson: Lesson) -> int:
    """Clean tries that prove the cure of what came and went before the first repair; else 1."""
    before = lesson.tried_before
    bad = len(before) - sum(before)
    return proof_tries(bad / len(before)) if 0 < bad < len(before) else 1


def _between(line: Mapping[str, Any]) -> str:
    """A reading between two places by the name the car knows it by."""
    return f"{line['red']} / {line['black']} / {line['function']} / {sorted(line['state'].items())}"


def _slips(lesson: Lesson) -> dict[str, Any]:
    """Readings that were slips of the hand: those made, those not struck, and struck by mistake."""
    made = {(slip.check, slip.occasion): slip for slip in lesson.car.slips if not slip.harmless}
    seen: dict[str, int] = {}
    slips: dict[str, str] = {}
    for line in lesson.data()["reading"]:
        name = str(line.get("check") or _between(line))
        occasion = seen.get(name, 0)
        seen[name] = occasion + 1
        for (check, at), slip in made.items():
            if at == occasion and check == name:
                slips[str(line["id"])] = slip.says
    return {
        "made": [{"reading": reading, "says": says} for reading, says in slips.items()],
        "missed": [reading for reading in slips if reading not in lesson.struck],
        "struck_wrongly": [reading for reading in lesson.struck if reading not in slips],
    }
