"""A judge answer as one self-contained page: the next step, the strokes, every reading."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from idlewright.report.columns import TOGETHER
from idlewright.report.leans import names, scale_head, strokes
from idlewright.report.limits_figure import Block, Expected, limits_figure
from idlewright.report.marks import STRUCK, TOO_CLOSE, limit_of, verdict_mark, verdict_of
from idlewright.report.movement import Movement, Row, headline, moved_words, movement
from idlewright.report.quantity_words import (
    limits_text,
    margin_text,
    reading_name,
    reading_text,
    span_text,
    width_text,
)
from idlewright.report.sayings import (
    NextStep,
    car_now,
    doubts,
    leader_facts,
    limit_words,
    next_step,
    page_words,
    slip_words,
    titled,
)
from idlewright.report.svg import patterns
from idlewright.words import lower_first, odds_words, others_words, sentence, upper_first

Answer = Mapping[str, Any]

_HERE = Path(__file__).parent
_FONT = _HERE / "fonts" / "atkinson-hyperlegible-next-latin-wght-normal.woff2"
_DRAWN_EXPECTATIONS = 3


def _tied(value: Any) -> Any:
    """Text with the spaces that must not break (before a unit, in "1 in 5", "p. 31") held."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return TOGETHER.sub("\u00a0", value).replace("p. ", "p.\u00a0")
    return value


@cache
def environment() -> Environment:
    """The template environment: everything escaped, an unknown name in a template is an error."""
    found = Environment(
        loader=FileSystemLoader(_HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_tied,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["sentence"] = sentence
    return found


@cache
def page_style() -> Markup:
    """The style sheet with the typeface inside it; both are ours, so neither is escaped."""
    font = base64.b64encode(_FONT.read_bytes()).decode("ascii")
    css = (_HERE / "templates" / "page.css").read_text(encoding="utf-8")
    return Markup(css.replace("FONT_DATA", f"data:font/woff2;base64,{font}"))


def judge_page(judged: Answer) -> str:
    """A judge answer as an HTML document that needs nothing but itself.

    Args:
        judged: a judge answer.
    """
    moves = movement(judged)
    step = next_step(judged)
    return (
        environment()
        .get_template("judge.html")
        .render(
            style=page_style(),
            patterns=patterns(),
            job=judged["job"],
            made_by=judged.get("made_by") or {},
            car=car_now(judged),
            step=step,
            step_heading={"stop": "Stop", "reread": "Read it again"}.get(step.kind, "Next"),
            expectation=_expectation(judged, step),
            headline=headline(moves),
            now=_now(moves),
            doubts=doubts(judged),
            leans=_leans(moves),
            readings=[_reading(reading) for reading in judged.get("readings") or []],
        )
    )


def _expectation(judged: Answer, step: NextStep) -> Markup | None:
    """The next check's limits with dashed boxes where a suspect would put the reading."""
    coming = judged["next"]
    good = coming.get("good") or {}
    bare = good.get("low") is None and good.get("high") is None
    if bare or step.kind not in ("check", "reread"):
        return None
    titles = {frozenset(s["faults"]): (float(s["probability"]), s) for s in judged["suspects"]}
    boxes = []
    for row in coming.get("would_read") or []:
        found = titles.get(frozenset(row["faults"]))
        if row["faults"] and found and row.get("low") is not None and row.get("high") is not None:
            name = str(found[1].get("short") or lower_first(str(found[1]["title"])))
            boxes.append((found[0], Expected(float(row["low"]), float(row["high"]), name)))
    boxes.sort(key=lambda item: -item[0])
    spoken = " ".join([step.good, *step.expect])
    return limits_figure(good, [], spoken, [box for _, box in boxes[:_DRAWN_EXPECTATIONS]])


def _now(moves: Movement) -> list[dict[str, Any]]:
    """The odds in words, the leader marked."""
    top = moves.leader
    return [
        {
            "title": upper_first(titled(one)),
            "odds": odds_words(one.p),
            "leads": moves.leads and one == top,
            "facts": leader_facts(one) if moves.leads and one == top else [],
        }
        for one in moves.named
    ]


def _leans(moves: Movement) -> dict[str, Any] | None:
    """The strokes row by row; None while no reading counts."""
    if not any(row.step is not None for row in moves.rows):
        return None
    rows, last = [], 0
    for row in moves.rows:
        drawn = strokes(moves, row, last)
        last = last if row.step is None else row.step
        rows.append(_lean_row(moves, row, drawn))
    others = next((one for one in moves.named if one.kind == "others"), None)
    return {
        "head": scale_head(),
        "foot": scale_head(below=True),
        "first": names(moves, 0),
        "last": names(moves, last, below=True),
        "rows": rows,
        "others": sentence(others_words(others.count, others.p)) if others else "",
        "twins": any(one.twins for one in moves.named),
        "table": _lean_table(moves),
    }


def _lean_row(moves: Movement, row: Row, drawn: Markup) -> dict[str, Any]:
    reading = row.reading
    if reading is None:
        return {"mark": None, "title": row.says, "verdict": "", "struck": False,
                "why": moved_words(moves, row), "strokes": drawn}  # fmt: skip
    struck = verdict_of(reading) == STRUCK
    because = sentence(str(reading["struck_because"])) if struck else limit_words(reading)
    return {
        "mark": verdict_mark(reading),
        "title": f"{upper_first(reading_name(reading))}, {reading_text(reading)}",
        "verdict": f"{upper_first(verdict_of(reading))}. {upper_first(because)}".rstrip(),
        "struck": struck,
        "why": moved_words(moves, row),
        "strokes": drawn,
    }


def _lean_table(moves: Movement) -> list[dict[str, Any]]:
    """The picture as words: per counted row every named suspect's odds."""
    steps = [("Before any reading", 0)]
    for row in moves.rows:
        if row.step is not None:
            reading = row.reading
            name = row.says if reading is None else upper_first(reading_name(reading))
            told = name if reading is None else f"{name}, {reading_text(reading)}"
            steps.append((told, row.step))
    return [
        {
            "title": title,
            "odds": [
                (upper_first(one.title), odds_words(p))
                for one in moves.named
                if (p := one.odds[step]) is not None
            ],
        }
        for title, step in steps
    ]


def _reading(reading: Answer) -> dict[str, Any]:
    """One reading in the order of the card: what, number, verdict or slip, limits."""
    verdict = verdict_of(reading)
    return {
        "id": reading["id"],
        "name": upper_first(reading_name(reading)),
        "number": reading_text(reading),
        "verdict": upper_first(verdict),
        "kind": verdict.replace(" ", "-"),
        "mark": verdict_mark(reading),
        "line": _verdict_line(reading, verdict),
        "slip": slip_words(reading),
        "figure": None if verdict == STRUCK else reading_figure(reading),
        "limits": upper_first(limit_words_full(reading)),
        "struck": verdict == STRUCK,
    }


def _verdict_line(reading: Answer, verdict: str) -> str:
    if verdict == STRUCK:
        return sentence(str(reading["struck_because"]))
    reason = str(reading.get("reason") or margin_text(reading, limit_of(reading)))
    width = width_text(reading)
    # Where it is too close to call the reason already speaks of the meter's width.
    meter = f"Good to {width} here." if width and verdict != TOO_CLOSE else ""
    counted = "" if reading.get("counts", True) else "Not counted."
    return " ".join(part for part in (sentence(reason), meter, counted) if part)


def limit_words_full(reading: Answer) -> str:
    """Limits with their unit and page, and where a measured reference moved them."""
    book = reading.get("limit") or {}
    limit = limit_of(reading)
    text = limits_text(reading, limit) if limit else limit_words(reading)
    if not limit:
        return text
    page = page_words(book)
    if limit is not reading.get("limit"):
        printed = limits_text(reading, book)
        page = f"moved for the measured reference from {printed}, {page}".rstrip(", ")
    return ", ".join(part for part in (text, page) if part)


def reading_figure(reading: Answer) -> Markup | None:
    """The reading on its limits; None where there is no number or no limit to draw."""
    limit = limit_of(reading)
    value = math.inf if reading.get("overload") else reading.get("value")
    if limit is None or value is None:
        return None
    verdict = verdict_of(reading)
    text = reading_text(reading)
    span = span_text(limit.get("low"), limit.get("high"), reading.get("unit"))
    spoken = ", ".join(
        part for part in (span, page_words(reading.get("limit") or {}), f"reading {text}", verdict)
        if part
    )  # fmt: skip
    block = Block(float(value), verdict, text, float(reading.get("u") or 0.0))
    book = reading.get("limit") if reading.get("corrected_limit") else None
    return limits_figure(limit, [block], spoken, book=book)
