"""Sentences of a judge answer that the terminal and the pages share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from idlewright.report.marks import limit_of
from idlewright.report.movement import Named
from idlewright.report.quantity_words import (
    limits_text,
    quantity_text,
    reading_text,
    span_text,
)
from idlewright.words import (
    listed,
    lower_first,
    minutes_words,
    odds_words,
    parts_words,
    price_slip,
    sentence,
    share_words,
    step_time_words,
)

Answer = Mapping[str, Any]

SLIP_FROM = 0.2
"""A reading whose slip is at least this likely is asked about before any part is blamed."""

_COMES_AND_GOES_BELOW = 0.9
_EXPECTATIONS = 3
_OTHER_STEPS = 3


def car_now(judged: Answer) -> str:
    """What state the car is in, as the parts of one sentence."""
    says = judged.get("state_says")
    if says is None:
        state = judged.get("state") or {}
        pairs = [f"{name} {value}" for name, value in state.items()]
        says = [pair.replace("_", " ").replace(".", " ") for pair in pairs]
    if isinstance(says, str):
        return says
    return ", ".join(str(part) for part in says) or "not known"


def page_words(limit: Answer) -> str:
    """Where limits come from: "book p. 31", "common practice"."""
    return str(limit.get("page") or "")


def limit_words(reading: Answer) -> str:
    """A reading's limits and their page in one line; moved limits say so."""
    limit = limit_of(reading)
    book = reading.get("limit") or {}
    if limit is None:
        words = ", ".join(str(word) for word in book.get("words") or [])
        return ", ".join(part for part in (words, page_words(book)) if part)
    page = page_words(book)
    text = _bare(limits_text(reading, limit), reading_text(reading))
    if reading.get("corrected_limit") and text != _bare(
        limits_text(reading, book), reading_text(reading)
    ):
        page = f"moved from {page}" if page else "moved for the reference"
    return ", ".join(part for part in (text, page) if part)


def _bare(limits: str, read: str) -> str:
    """The limits without their unit when the reading beside them carries the same one."""
    unit = limits.rpartition(" ")[2]
    return limits[: -len(unit)].rstrip() if unit and read.endswith(f" {unit}") else limits


def slip_words(reading: Answer) -> str:
    """A kind question when the reading looks like a slip, else "". Never says "wrong"."""
    slip = float(reading.get("slip") or 0.0)
    if slip < SLIP_FROM or reading.get("struck_because"):
        return ""
    kind = str(reading.get("slip_kind") or "").strip()
    what = lower_first(kind) if kind else "no shape known"
    return f"This may be a slip: {what}, {odds_words(slip)}. Read it again?"


def titled(one: Named) -> str:
    """A suspect's title; something else always with its place."""
    if one.kind != "something else" or one.answer is None or "between" in one.title:
        return one.title
    named = one.answer.get("where_says") or one.answer.get("where") or []
    pairs = [pair for pair in named if len(pair) > 1]
    places = [f"between {pair[0]} and {pair[1]}" for pair in pairs]
    return f"{one.title}, {' or '.join(places[:2])}" if places else one.title


def leader_facts(one: Named) -> list[str]:
    """What else is known of the leader: its size, whether it acts now, what equals it."""
    answer = one.answer or {}
    facts = []
    size = answer.get("severity")
    if size:
        span = span_text(size["low"], size["high"], size["unit"])
        middle = quantity_text(size["median"], size["unit"])
        facts.append(f"if so, near {middle}; {share_words(size['level'])} for {span}")
    active = answer.get("active_now")
    if active is not None and answer.get("faults") and active < _COMES_AND_GOES_BELOW:
        facts.append(f"it comes and goes: acting now {odds_words(float(active))}")
    ids = [" + ".join(faults) for faults in answer.get("equal_to") or []]
    equals = [str(title) for title in answer.get("equal_titles") or ids]
    if equals:
        facts.append(f"no check here can tell it from {listed(equals, 'or')}")
    return facts


def doubts(judged: Answer) -> list[str]:
    """What the reader must know before trusting the odds: surprise, soft evidence, notes."""
    texts = []
    surprise = judged.get("surprise") or {}
    if surprise.get("word") not in (None, "none"):
        texts.append(sentence(str(surprise.get("says") or f"surprise: {surprise['word']}")))
    if judged.get("soft_evidence_decides"):
        texts.append("Without the complaint and the codes something else would lead.")
    if (judged.get("made_by") or {}).get("settled") is False:
        texts.append("Not settled: a finer look may still change the odds.")
    for note in judged.get("notes") or []:
        texts.append(sentence(f"note: {note['says']}"))
    return texts


# --- the next step -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NextStep:
    """The next step in the card's order; a part with nothing to say is empty.

    Attributes:
        kind: check, repair, reread or stop. careful: caution sentences. setup: what to change
        first. do: the instruction. time: minutes, and parts for a repair. red, black: where the
        leads go. good: what a good car reads. expect: what suspects would read. why: the reason.
        others: other steps worth choosing. price: the price slip's sentence.
    """

    kind: str
    careful: tuple[str, ...]
    setup: str
    do: str
    time: str
    red: str
    black: str
    good: str
    expect: tuple[str, ...]
    why: str
    others: tuple[str, ...]
    price: str


def next_step(judged: Answer) -> NextStep:
    """The next step of a judge answer in sentences."""
    step = judged["next"]
    cost = judged.get("cost") or {}
    kind = str(step["kind"])
    return NextStep(
        kind=kind,
        careful=_careful(step),
        setup=_setup_words(step.get("setup") or []),
        do=_do(step, bool(judged.get("readings"))),
        time="" if kind == "stop" else _time(step, str(cost.get("currency") or "")),
        red=_lead(step, "red"),
        black=_lead(step, "black"),
        good=_good(step),
        expect=_expect(step, judged.get("suspects") or []),
        why=sentence(str(step.get("why") or "")),
        others=_other_steps(judged),
        price=price_slip(cost) if cost else "",
    )


def next_lines(judged: Answer) -> list[str]:
    """The next step as lines, careful first."""
    step = next_step(judged)
    lines = []
    if step.careful:
        lines.append(f"Careful: {' '.join(step.careful)}")
    if step.setup:
        lines.append(step.setup)
    lines.append(f"{step.do} {sentence(step.time)}".strip())
    places = (("Red", step.red), ("Black", step.black))
    leads = [f"{name} on {place}." for name, place in places if place]
    if leads:
        lines.append(" ".join(leads))
    if step.good:
        lines.append(step.good)
    lines.extend(step.expect)
    if step.why:
        lines.append(f"Why: {lower_first(step.why)}")
    if step.others:
        lines.append(f"Or: {'; '.join(step.others)}.")
    if step.price:
        lines.append(f"Price slip: {lower_first(step.price)}")
    return lines


def _careful(step: Answer) -> tuple[str, ...]:
    """Every caution of the step and of its set-up once, in order."""
    texts = [str(text) for text in step.get("cautions") or []]
    for change in step.get("setup") or []:
        texts.extend(str(text) for text in change.get("cautions") or [])
    return tuple(dict.fromkeys(sentence(text) for text in texts if text))


def _setup_words(changes: Sequence[Answer]) -> str:
    """What to change on the car first, in order, with minutes."""
    if not changes:
        return ""
    parts = []
    for change in changes:
        name = str(change.get("say") or f"{change['name']} {change['to']}").replace("_", " ")
        minutes = float(change.get("minutes") or 0)
        parts.append(f"{name} ({minutes_words(minutes)})" if minutes >= 1 else name)
    return sentence(f"first: {', then '.join(parts)}")


def _do(step: Answer, has_readings: bool) -> str:
    """The instruction itself; a job's first step says that nothing is read yet."""
    kind, name = step["kind"], str(step.get("say") or step.get("id") or "")
    given = str(step.get("do") or "")
    if kind == "stop":
        return sentence(given or "stop here and send it on")
    if not given:
        given = f"read {name} again" if kind == "reread" else name
    lead = "" if has_readings or kind != "check" else "No readings yet. First: "
    return lead + (lower_first(sentence(given)) if lead else sentence(given))


def _time(step: Answer, currency: str) -> str:
    time = step_time_words(step.get("minutes") or {})
    if step["kind"] != "repair":
        return time
    return f"{time}, {parts_words(step.get('parts'), currency)}"


def _lead(step: Answer, which: str) -> str:
    """Where one lead goes: as said when that is given, else the place's id."""
    probes = step.get("probes") or {}
    return str(probes.get(f"{which}_says") or probes.get(which) or "")


def _good(step: Answer) -> str:
    good = step.get("good") or {}
    words = [str(word) for word in good.get("words") or []]
    span = span_text(good.get("low"), good.get("high"), good.get("unit") or step.get("unit"), 6)
    text = span or listed(words, "or")
    page = f", {good['page']}" if text and good.get("page") else ""
    return sentence(f"good: {text}{page}") if text else ""


def _expect(step: Answer, suspects: Sequence[Answer]) -> tuple[str, ...]:
    """What the likeliest suspects would read, in words."""
    odds = {frozenset(s["faults"]): (float(s["probability"]), str(s["title"])) for s in suspects}
    rows = []
    for row in step.get("would_read") or []:
        p, title = odds.get(frozenset(row["faults"]), (0.0, " + ".join(row["faults"])))
        text = would_read(row, row.get("unit") or step.get("unit"))
        if row["faults"] and text:
            rows.append((p, f"If {lower_first(title)}: {text}."))
    rows.sort(key=lambda item: -item[0])
    return tuple(text for _, text in rows[:_EXPECTATIONS])


def would_read(row: Answer, unit: str | None) -> str:
    """One predicted reading: a range that holds 9 in 10, OL, or the words with their odds."""
    parts = []
    overload = float(row.get("overload") or 0)
    if row.get("low") is not None and row.get("high") is not None and overload < SLIP_FROM * 4:
        parts.append(span_text(row["low"], row["high"], unit, 2))
    words = [(str(word), float(p)) for word, p in (row.get("words") or {}).items()]
    likely = sorted((item for item in words if item[1] >= SLIP_FROM), key=lambda item: -item[1])
    parts.extend(f"{word} ({odds_words(p)})" for word, p in likely[:2])
    if overload >= SLIP_FROM:
        parts.append("OL" if not parts else f"OL ({odds_words(overload)})")
    return listed(parts, "or")


def _other_steps(judged: Answer) -> tuple[str, ...]:
    """Other steps worth choosing, with their minutes; never the one proposed."""
    found = []
    for other in judged.get("others") or []:
        name = str(other.get("say") or other["id"])
        if other["id"] == judged["next"].get("id"):
            continue
        found.append(f"{lower_first(name)}, {minutes_words(float(other['minutes']))}")
    return tuple(found[:_OTHER_STEPS])
