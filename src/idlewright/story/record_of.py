"""The record of a worked job, as the record page wants it."""

from __future__ import annotations

from typing import Any

from idlewright.family.kinds import Family
from idlewright.job.entries import JobFile, ReadingEntry
from idlewright.job.prospects import TARIFF
from idlewright.job.suspects_answer import capital
from idlewright.job.verdicts import Judged, judge_entry
from idlewright.quantities import UNIT_OF_READ, format_range
from idlewright.story.worker import BEFORE_TRIES, Worker
from idlewright.words import odds_words

CURRENCY = "EUR"


def record_of(worker: Worker, began: str, ended: str) -> dict[str, Any]:
    """Record of a finished story (see `report.record.Record` for the keys)."""
    job = worker.job()
    proven = worker.ending == "proven"
    return {
        "practice": True,
        "vehicle": worker.vehicle,
        "job": worker.job_id,
        "complaint": _complaint(worker),
        "outcome": _outcome(worker),
        "proof": _proof(worker) if proven else None,
        "not_tried": ["a cold start", "a restart after a hot soak"],
        "wrong": _wrong(worker),
        "did": _did(worker),
        "before_after": _before_after(job),
        "said": _said(worker),
        "actual": _actual(worker),
        "codes": _codes(worker),
        "other_readings": _others(job),
        "struck": [_line(job, entry) for entry in job.readings if not entry.counts],
        "slips": [
            {
                "name": _say(job.family, slip.check),
                "first": slip.first,
                "kind": slip.kind,
                "again": slip.again,
            }
            for slip in worker.slips
        ],
        "wrong_repairs": [
            {"did": capital(did), "showed": showed.rstrip(".")} for did, showed in worker.wrong
        ],
        "comes_back": _comes_back(worker),
        "story": [
            {"at": "", "says": capital(step.says), "minutes": round(step.minutes, 1)}
            for step in worker.steps
        ],
        "who": "Worked by the program itself on a practice car",
        "began": began,
        "ended": ended,
        "meters": "an ordinary multimeter, ±(0.5 % + 3 counts) on volts",
        "entries": len(worker.steps),
        "last_hash": "",
    }


def _complaint(worker: Worker) -> str:
    words = worker.car.complaint.words
    family = worker.car.family
    if not words:
        return "It idles wrong"
    return family.words[words[0]].say


def _outcome(worker: Worker) -> str:
    if worker.ending == "proven":
        return "It does not any more"
    if worker.ending == "nothing wrong":
        return "Nothing was wrong while we had it"
    return "We could not tell, and stopped before parts were bought on a guess"


def _proof(worker: Worker) -> dict[str, Any]:
    return {
        "clean_tries": worker.clean,
        "condition": "hot, under the loads of the complaint",
        "failed_before": worker.failed_before,
        "tried_before": BEFORE_TRIES,
    }


def _wrong(worker: Worker) -> str:
    leader, p = worker.leaders[0] if worker.leaders else ("nothing looked at", 0.0)
    truth = _cured(worker)
    if worker.ending == "proven":
        before = f"Before it was touched this was {odds_words(p)}."
        return f"{capital(truth or leader)}. {_what_it_read(worker.job())}{before}"
    return f"Not proven. What led at the end: {leader}, {odds_words(p)}."


def _what_it_read(job: JobFile) -> str:
    """The reading farthest outside its limits before the first repair, as a sentence or ""."""
    for entry in job.readings:
        judged = judge_entry(job, entry)
        if entry.counts and entry.epoch == 0 and judged.word == "outside" and entry.check:
            say = lower(_say(job.family, entry.check))
            if judged.limits is not None:
                unit = entry.unit or UNIT_OF_READ[entry.function]  # "OL" has no unit of its own
                asked = format_range(judged.limits.low, judged.limits.high, unit)
                return f"{capital(say)} read {entry.typed} where {asked} is asked. "
            return f"{capital(say)}: {entry.typed}. "
    return ""


def _cured(worker: Worker) -> str:
    """What the car's own notes say the repairs cured."""
    family = worker.car.family
    said = [
        family.faults[fault].say
        for made in worker.car.repairs
        for fault in made.cured
        if fault in family.faults
    ]
    return "; ".join(dict.fromkeys(said))


def _did(worker: Worker) -> str:
    family = worker.car.family
    done = [capital(family.repairs[made.id].say) for made in worker.car.repairs]
    if not done:
        return "Looked and measured; nothing was changed."
    return ". ".join(done) + ". Everything that came off is back."


def _before_after(job: JobFile) -> list[dict[str, Any]]:
    rows = []
    by_check: dict[str, list[ReadingEntry]] = {}
    for entry in job.readings:
        if entry.check is not None and entry.counts and entry.number is not None:
            by_check.setdefault(entry.check, []).append(entry)
    for check_id, entries in by_check.items():
        first, last = entries[0], entries[-1]
        if last.epoch == first.epoch:
            continue
        judged = judge_entry(job, last)
        rows.append(
            {
                "name": capital(_say(job.family, check_id)),
                "unit": last.unit or "",
                "limits": _limits(judged),
                "before": _spot(job, first),
                "after": _spot(job, last),
            }
        )
    return rows[:5]


def _limits(judged: Judged) -> dict[str, Any] | None:
    if judged.limits is None:
        return None
    page = judged.page or ""
    return {"low": judged.limits.low, "high": judged.limits.high, "page": page}


def _spot(job: JobFile, entry: ReadingEntry) -> dict[str, Any]:
    judged = judge_entry(job, entry)
    return {"value": entry.number, "text": entry.typed, "verdict": judged.word, "u": judged.u}


def _said(worker: Worker) -> dict[str, Any] | None:
    cost = worker.said
    if cost is None:
        return None
    return {
        "currency": CURRENCY,
        "mean": cost.mean,
        "likely": None,
        "low": cost.low,
        "high": cost.high,
        "level": cost.level,
        "agreed": "",
    }


def _actual(worker: Worker) -> dict[str, Any]:
    spent = worker.car.spent
    return {
        "minutes": spent.hands_on,
        "money": spent.hands_on * TARIFF.minute + spent.parts,
        "currency": CURRENCY,
        "parts": {"low": spent.parts, "high": spent.parts} if spent.parts > 0 else None,
    }


def _codes(worker: Worker) -> list[str]:
    family = worker.car.family
    codes = [family.codes[code].say for code in worker.car.complaint.codes]
    return [f"Noted before any work: {lower(say)}" for say in codes] or ["None stored"]


def lower(text: str) -> str:
    """The text with a small first letter."""
    return text[:1].lower() + text[1:]


def _others(job: JobFile) -> list[dict[str, Any]]:
    return [_line(job, entry) for entry in job.readings if entry.counts and entry.epoch == 0]


def _line(job: JobFile, entry: ReadingEntry) -> dict[str, Any]:
    return {
        "name": capital(_say(job.family, entry.check or "")),
        "text": entry.typed,
        "verdict": judge_entry(job, entry).word,
        "limits": "",
        "because": entry.struck or "",
    }


def _say(family: Family, check_id: str) -> str:
    check = family.checks.get(check_id)
    return check.say if check is not None else check_id


def _comes_back(worker: Worker) -> str:
    if len(worker.leaders) < 2:
        return "Bring this page."
    says, p = worker.leaders[1]
    return f"Bring this page. First we would look at: {lower(says)}, {odds_words(p)}."
