"""A judge answer as text for a terminal: ASCII, 80 columns, the next step last."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from idlewright.report.columns import (
    Column,
    ascii_text,
    bold,
    both_ends,
    coloured,
    dotted,
    table_rows,
    usable_width,
    wrap,
)
from idlewright.report.marks import STRUCK, terminal_mark, verdict_of
from idlewright.report.movement import Movement, Named, Row, headline, movement
from idlewright.report.quantity_words import reading_name, reading_text
from idlewright.report.sayings import (
    car_now,
    doubts,
    leader_facts,
    limit_words,
    next_lines,
    slip_words,
    titled,
)
from idlewright.words import GUIDES, lower_first, odds_words, scale_place

Answer = Mapping[str, Any]

_LABEL = 22
_SIDE_BY_SIDE_FROM = 64


def judge_text(judged: Answer, width: int | None = None, style: bool = False) -> str:
    """The whole answer as text.

    Args:
        judged: a judge answer.
        width: the terminal's width; None = 80. Never written wider than 100.
        style: bold heads and coloured marks (see `columns.wants_style`).
    """
    room = usable_width(width)
    moves = movement(judged)
    blocks = (
        list(_car(judged, room)),
        list(_readings(judged, room, style)),
        list(_moves(moves, room, style)),
        list(_now(judged, moves, room, style)),
        list(_next(judged, room, style)),
    )
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _car(judged: Answer, width: int) -> Iterator[str]:
    job = judged["job"]
    yield from both_ends(job.get("vehicle") or job.get("family") or "", job.get("id") or "", width)
    yield from wrap(f"The car now: {car_now(judged)}", width, hang="  ")
    if job.get("complaint"):
        yield from wrap(f"Complaint: {job['complaint']}", width, hang="  ")


# --- readings ----------------------------------------------------------------------------------

_READING_COLUMNS = (
    Column(least=2, gives=True),
    Column(raw=True),
    Column(least=12, gives=True),
    Column(least=6, right=True, gives=True),
    Column(least=6, gives=True, at_least=6),
    Column(least=9, gives=True),
)
_NARROW_COLUMNS = (
    Column(least=2, gives=True),
    Column(raw=True),
    Column(least=8, gives=True),
    Column(least=4, right=True, gives=True),
)


def _readings(judged: Answer, width: int, style: bool) -> Iterator[str]:
    readings = list(judged.get("readings") or [])
    if not readings:
        return
    yield bold("READINGS", style)
    wide = width >= _SIDE_BY_SIDE_FROM
    rows = [_reading_cells(reading) for reading in readings]
    columns = _READING_COLUMNS if wide else _NARROW_COLUMNS
    laid = table_rows([row[: len(columns)] for row in rows], columns, width)
    for reading, row, lines in zip(readings, rows, laid, strict=True):
        mark = terminal_mark(reading)
        lines[0] = lines[0].replace(mark.rstrip(), coloured(mark.rstrip(), row[4], style), 1)
        yield from lines
        if not wide:
            yield from wrap(", ".join(cell for cell in row[4:] if cell), width, " " * 6)
        slip = slip_words(reading)
        if slip:
            yield from wrap(slip, width, " " * 6)


def _reading_cells(reading: Answer) -> tuple[str, ...]:
    verdict = verdict_of(reading)
    why_not = reading.get("struck_because") if verdict == STRUCK else ""
    facts = str(why_not or limit_words(reading))
    if not reading.get("counts", True) and verdict != STRUCK:
        facts = f"not counted: {reading.get('reason') or 'see the notes'}"
    cells = (
        reading["id"], terminal_mark(reading), lower_first(reading_name(reading)),
        reading_text(reading), verdict, facts,
    )  # fmt: skip
    return tuple(cell if place == 1 else ascii_text(cell) for place, cell in enumerate(cells))


# --- how the odds moved ------------------------------------------------------------------------


def _moves(moves: Movement, width: int, style: bool) -> Iterator[str]:
    if not any(row.step is not None for row in moves.rows):
        return
    wide = width >= _SIDE_BY_SIDE_FROM
    start = _LABEL + 2 if wide else 1
    span = width - start - 2
    head = "HOW THE ODDS MOVED"
    scale = _scale_words(start, span, len(head) + 1 if wide else 0, width)
    if wide:
        yield bold(head, style) + scale[len(head) :]
    else:
        yield bold(head, style)
        yield scale
    yield from _move_line("before any reading", _letters(moves, 0, span), start, wide, width)
    for row in moves.rows:
        if row.step is not None:
            letters = _letters(moves, row.step, span)
            yield from _move_line(_row_name(row), letters, start, wide, width)


def _row_name(row: Row) -> str:
    if row.reading is None:
        return row.says
    return f"{row.reading['id']} {reading_text(row.reading)}"


def _move_line(name: str, letters: str, start: int, wide: bool, width: int) -> Iterator[str]:
    lines = wrap(name, start - 2 if wide else width, " ") or [""]
    if wide:
        lines[0] = f"{lines[0]:<{start}}{letters}".rstrip()
        yield from lines
    else:
        yield from lines
        yield (" " * start + letters).rstrip()


def _letters(moves: Movement, step: int, span: int) -> str:
    """One row of the scale; on a clash the less likely moves a column."""
    cells = [" "] * (span + 1)
    for p, words in GUIDES:
        cells[round(scale_place(p) * span)] = "|" if words == "even" else ":"
    taken: set[int] = set()
    placed = [(one, one.odds[step]) for one in moves.named if step < len(one.odds)]
    known = [(one, p) for one, p in placed if p is not None]
    for one, p in sorted(known, key=lambda item: -item[1]):
        want = round(scale_place(p) * span)
        free = [place for place in range(span + 1) if place not in taken]
        place = min(free, key=lambda cell: (abs(cell - want), cell))
        taken.add(place)
        cells[place] = one.letter
    return "".join(cells)


def _scale_words(start: int, span: int, first_free: int, width: int) -> str:
    """The names of the guides over their columns; names that would touch are left out."""
    line = [" "] * width
    order = (2, 0, 4, 1, 3)
    for place in order:
        p, words = GUIDES[place]
        left = start + round(scale_place(p) * span) - (len(words) - 1) // 2
        left = max(first_free, min(left, width - len(words)))
        around = line[max(0, left - 1) : left + len(words) + 1]
        if all(char == " " for char in around):
            line[left : left + len(words)] = words
    return "".join(line).rstrip()


# --- now ---------------------------------------------------------------------------------------


def _now(judged: Answer, moves: Movement, width: int, style: bool) -> Iterator[str]:
    yield bold("NOW", style)
    said = headline(moves)
    if said:
        yield from wrap(said, width, " ")
    for one in moves.named:
        yield from _suspect(one, one == moves.leader and moves.leads, width)
    for text in doubts(judged):
        yield from wrap(text, width, " ", "   ")


def _suspect(one: Named, leads: bool, width: int) -> Iterator[str]:
    title = lower_first(titled(one))
    yield from dotted(f" {one.letter}  ", title, odds_words(one.p), width)
    if leads:
        for fact in leader_facts(one):
            yield from wrap(fact, width, " " * 6)


# --- next --------------------------------------------------------------------------------------


def _next(judged: Answer, width: int, style: bool) -> Iterator[str]:
    yield bold("NEXT", style)
    for line in next_lines(judged):
        yield from wrap(line, width, " ", "  ")
