"""The record of a finished job: one page the customer believes, and the story behind it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, NotRequired, TypedDict

from markupsafe import Markup

from idlewright.report.html import environment, page_style
from idlewright.report.limits_figure import Block, limits_figure
from idlewright.report.quantity_words import span_text
from idlewright.report.svg import patterns
from idlewright.words import (
    currency_word,
    listed,
    lower_first,
    minutes_words,
    money_sentence,
    parts_words,
    sentence,
    upper_first,
)

_LIMIT_DIGITS = 6
_LUCK_STEPS = (2, 3, 5, 10, 20, 50, 100)


class Limits(TypedDict):
    """Limits in the row's unit; a missing side is None. `page` says where they come from."""

    low: float | None
    high: float | None
    page: str


class Spot(TypedDict):
    """One reading of a before-and-after row.

    `value` is in the row's unit, None for a word; `text` is as typed ("0 rpm, it died"); `u` is
    the standard uncertainty, same unit.
    """

    value: float | None
    text: str
    verdict: str
    u: NotRequired[float | None]


class BeforeAfter(TypedDict):
    """One thing read before the repair and after it."""

    name: str
    unit: str
    limits: Limits | None
    before: Spot | None
    after: Spot | None


class Proof(TypedDict):
    """The clean tries that show the cure.

    `failed_before` of `tried_before` tries failed before the repair; None where it was not counted.
    """

    clean_tries: int
    condition: str
    failed_before: int | None
    tried_before: int | None


class Said(TypedDict):
    """The price slip as it was said before the work. `agreed` is a sentence, or ""."""

    currency: str
    mean: float
    likely: NotRequired[float | None]
    low: float
    high: float
    level: float
    agreed: str


class Actual(TypedDict):
    """What the job took: hands-on minutes, money, and parts as text or as a range of sums."""

    minutes: float
    money: float
    currency: str
    parts: str | Mapping[str, float] | None


class ReadingLine(TypedDict):
    """A reading told in one line. `because`: why it was struck, else ""."""

    name: str
    text: str
    verdict: str
    limits: str
    because: str


class SlipLine(TypedDict):
    """A slip that was named and read again: what was read first, what it was, what it read then."""

    name: str
    first: str
    kind: str
    again: str


class WrongRepair(TypedDict):
    """A repair that was not the cure, and what showed it."""

    did: str
    showed: str


class StoryStep(TypedDict):
    """One step of the job: a clock time or "", what happened, hands-on minutes (0 = not said)."""

    at: str
    says: str
    minutes: float


class Record(TypedDict):
    """Everything the record page says. Sentences are whole; empty text or lists leave a part out.

    Attributes:
        practice: True for a practice car; the page then says so at its head.
        vehicle, job: as in the job file. complaint, outcome: the heading's two sentences.
        proof: None when the cure was not proven; the page says that too. not_tried: conditions.
        wrong, did: what was wrong and what was done.
        before_after: rows with limits. said, actual: cost as said and as it came out.
        codes: one sentence each. other_readings, struck, slips, wrong_repairs: as their types say.
        comes_back: what to do if it comes back. story: the steps in time.
        who, began, ended: as text. meters: the meters' accuracy as text.
        entries: entries in the log. last_hash: hash of the last one, shortened by the caller or "".
    """

    practice: bool
    vehicle: str
    job: str
    complaint: str
    outcome: str
    proof: Proof | None
    not_tried: list[str]
    wrong: str
    did: str
    before_after: list[BeforeAfter]
    said: Said | None
    actual: Actual | None
    codes: list[str]
    other_readings: list[ReadingLine]
    struck: list[ReadingLine]
    slips: list[SlipLine]
    wrong_repairs: list[WrongRepair]
    comes_back: str
    story: list[StoryStep]
    who: str
    began: str
    ended: str
    meters: str
    entries: int
    last_hash: str


def record_page(record: Record) -> str:
    """The record as an HTML document that needs nothing but itself; prints on A4 in black.

    Args:
        record: the record.
    """
    return (
        environment()
        .get_template("record.html")
        .render(
            style=page_style(),
            patterns=patterns(),
            record=record,
            proven=proof_words(record["proof"], record["not_tried"]),
            rows=[_row(row) for row in record["before_after"]],
            legend=_legend(record),
            actual=_actual_words(record["actual"]),
            said=_said_words(record["said"]),
            also_read=[_line_words(line) for line in record["other_readings"]],
            struck=[_struck_words(line) for line in record["struck"]],
            slips=[_slip_words(line) for line in record["slips"]],
            wrong_repairs=[_wrong_repair_words(line) for line in record["wrong_repairs"]],
            story=[{**step, "time": _story_time(step)} for step in record["story"]],
            when=_when(record),
            entries=_entries(record),
        )
    )


# --- sentences ---------------------------------------------------------------------------------


def proof_words(proof: Proof | None, not_tried: list[str]) -> str:
    """How the cure was proven, what luck alone would do, and what was not tried."""
    if proof is None or proof["clean_tries"] <= 0:
        parts = ["Not proven: no clean try was made."]
    else:
        parts = [_proven(proof), _luck(proof)]
    if not_tried:
        parts.append(sentence(f"not tried: {listed(list(not_tried), 'or')}"))
    return " ".join(part for part in parts if part)


def _proven(proof: Proof) -> str:
    tries = proof["clean_tries"]
    count = "1 clean try" if tries == 1 else f"{tries} clean tries"
    where = f": {proof['condition']}" if proof["condition"] else ""
    return sentence(f"proven here, on this car, by {count}{where}")


def _luck(proof: Proof) -> str:
    """Before the repair it failed k of n tries: how often luck alone would run this clean.

    The share that failed is taken as (k + 1)/(n + 2), so that few tries never prove too much.
    """
    failed, tried = proof["failed_before"], proof["tried_before"]
    if failed is None or not tried or proof["clean_tries"] <= 0:
        return ""
    share = (failed + 1) / (tried + 2)
    chance = (1 - share) ** proof["clean_tries"]
    steps = [step for step in _LUCK_STEPS if chance <= 1 / step]
    times = "once in" if tried == 1 else f"{failed} times in"
    before = f"once in {tried}" if failed == 1 else f"{times} {tried}"
    if not steps:
        return f"Before, it failed {before}; luck alone could do this."
    return f"Before, it failed {before}; luck alone would do this less than 1 time in {steps[-1]}."


def _actual_words(actual: Actual | None) -> str:
    if actual is None:
        return ""
    money = f"{math.floor(actual['money'] + 0.5):,} {currency_word(actual['currency'])}"
    parts = upper_first(parts_words(actual["parts"], actual["currency"]))
    return f"{minutes_words(actual['minutes'])} at the car, {money}. {sentence(parts)}"


def _said_words(said: Said | None) -> str:
    if said is None:
        return ""
    agreed = sentence(said["agreed"]) if said["agreed"] else ""
    return f"Said before the work: {lower_first(sentence(money_sentence(said)))} {agreed}".strip()


def _line_words(line: ReadingLine) -> str:
    facts = [part for part in (line["verdict"], line["limits"]) if part]
    return sentence(", ".join([f"{line['name']} {line['text']}", *facts]))


def _struck_words(line: ReadingLine) -> str:
    return sentence(f"struck: {lower_first(line['name'])} {line['text']}, {line['because']}")


def _slip_words(line: SlipLine) -> str:
    read = f"{upper_first(line['name'])} first read {line['first']}: {line['kind']}"
    return sentence(f"{read}. Read again: {line['again']}")


def _wrong_repair_words(line: WrongRepair) -> str:
    showed = lower_first(line["showed"])
    return f"{sentence(line['did'])} {sentence(f'not the cure: {showed}')}"


def _story_time(step: StoryStep) -> str:
    return minutes_words(step["minutes"]) if step["minutes"] > 0 else ""


def _when(record: Record) -> str:
    span = " to ".join(part for part in (record["began"], record["ended"]) if part)
    return ", ".join(part for part in (record["who"], span) if part)


def _entries(record: Record) -> str:
    count = "1 entry" if record["entries"] == 1 else f"{record['entries']:,} entries"
    return f"{count}, last one {record['last_hash']}" if record["last_hash"] else count


def _legend(record: Record) -> str:
    if not any(row["limits"] for row in record["before_after"]):
        return ""
    text = "Brackets: the limits. Full block: inside. Open or dotted block: outside."
    return f"{text} Hatched: too close to call. {sentence(record['meters'])}".strip()


# --- before and after --------------------------------------------------------------------------


def _row(row: BeforeAfter) -> dict[str, Any]:
    limits = row["limits"]
    span = span_text(limits["low"], limits["high"], row["unit"], _LIMIT_DIGITS) if limits else ""
    page = limits["page"] if limits else ""
    return {
        "name": row["name"],
        "limits": ", ".join(part for part in (span, page) if part) or "no spec",
        "figure": _figure(row, span),
        "before": row["before"],
        "after": row["after"],
    }


def _figure(row: BeforeAfter, span: str) -> Markup | None:
    """Before above the line and after below it, on the limits."""
    limits = row["limits"]
    if limits is None or (limits["low"] is None and limits["high"] is None):
        return None
    blocks, told = [], [span]
    for label, spot in (("before", row["before"]), ("after", row["after"])):
        if spot is None:
            continue
        told.append(f"{label} {spot['text']}, {spot['verdict']}")
        if spot["value"] is not None:
            u = float(spot.get("u") or 0.0)
            after = label == "after"
            blocks.append(Block(spot["value"], spot["verdict"], label, u, after, after))
    return limits_figure(limits, blocks, "; ".join(told), guards=False)
