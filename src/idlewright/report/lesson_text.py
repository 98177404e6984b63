"""A lesson as terminal text: the car that comes in, each step, the car now, the marks, a class."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from idlewright.report.columns import Column, bold, table, usable_width, wrap
from idlewright.words import counted, minutes_words, sentence

Answer = Mapping[str, Any]

_MONEY = (
    Column(least=8, gives=True),
    *(Column(least=6, right=True, gives=True) for _ in range(4)),
)


def brief_text(brief: Answer, width: int | None, style: bool) -> str:
    """What is known when the car comes in."""
    lines = [f"Practice car {brief['car']}. It is simulated; its fault is hidden."]
    if brief["says"]:
        lines.append(f'"{brief["says"]}"')
    lines.append(f"Complaint: {'; '.join(brief['words']) or 'it idles wrong'}.")
    codes = "; ".join(brief["codes"]) or "none"
    lines.append(f"Codes stored: {codes}. An hour costs {brief['hour']:.0f} euro.")
    lines.append("Type a step, or help. Every step is kept as you take it.")
    room = usable_width(width)
    told = [row for line in lines for row in wrap(line, room, " ", "  ")]
    return "\n".join([bold("THE CAR COMES IN", style), *told]) + "\n"


def told_text(told: Answer, width: int | None) -> str:
    """What came of a step, and what it cost."""
    room = usable_width(width)
    lines = [row for says in told["says"] for row in wrap(says, room, "  ", "    ")]
    costs = []
    if told["minutes"] >= 0.05:
        costs.append(minutes_words(told["minutes"]))
    if told["waiting"]:
        costs.append(f"{minutes_words(told['waiting'])} waiting")
    if told["parts"] >= 0.5:
        costs.append(f"{told['parts']:.0f} euro of parts")
    if costs:
        lines += wrap(f"({', '.join(costs)})", room, "  ", "    ")
    return "\n".join(lines) + "\n"


def look_text(now: Answer, width: int | None) -> str:
    """The car now, the readings, what was spent."""
    room = usable_width(width)
    state = ", ".join(f"{name} {value}" for name, value in now["state"].items())
    state = state or "as it came in, everything plugged"
    lines = wrap(f"The car now: {state}.", room, "  ", "    ")
    for one in now["readings"]:
        struck = f" (struck: {one['struck']})" if one["struck"] else ""
        text = f"{one['id']} {one['what']}: {one['value']}{struck}"
        lines += wrap(text, room, "  ", "    ")
    if now["repairs"]:
        lines += wrap(f"Repairs: {', '.join(now['repairs'])}.", room, "  ", "    ")
    spent = f"Spent: {minutes_words(now['minutes'])}, {minutes_words(now['waiting'])} waiting, "
    lines += wrap(f"{spent}{now['parts']:.0f} euro of parts.", room, "  ", "    ")
    return "\n".join(lines) + "\n"


def rows_text(rows: Sequence[Sequence[str]], width: int | None) -> str:
    """Rows of a list in columns."""
    if not rows:
        return "  Nothing of that name.\n"
    columns = [Column(least=10, gives=True) for _ in rows[0]]
    return "\n".join(table(rows, columns, usable_width(width), "  ")) + "\n"


def marks_text(marks: Answer, width: int | None, style: bool) -> str:
    """The marks of a lesson that has ended, or that it goes on."""
    room = usable_width(width)
    if marks["ending"] is None:
        steps = counted(len(marks["steps"]), "step")
        return "\n".join(wrap(f"{steps} so far; the lesson goes on.", room)) + "\n"
    blocks = [
        [bold("WHAT IT WAS", style), *_sentences(_truth(marks), room)],
        [bold("WHAT IT COST", style), *table(_money_rows(marks), _MONEY, room),
         *_sentences(_luck(marks), room)],
        [bold("DECISIONS", style), *_sentences(_decisions(marks), room)],
        [bold("ORDER", style), *_sentences(_ordered(marks["order"], "Nothing to say."), room)],
        [bold("SAFETY", style), *_sentences(
            _ordered(marks["safety"], "Nothing that could hurt or damage was tried."), room)],
    ]  # fmt: skip
    if marks["slips"]["made"] or marks["slips"]["struck_wrongly"]:
        blocks.append([bold("SLIPS", style), *_sentences(_slips(marks["slips"]), room)])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _sentences(sentences: Iterator[str], room: int) -> list[str]:
    return [row for says in sentences for row in wrap(says, room, " ", "   ")]


def _truth(marks: Answer) -> Iterator[str]:
    for says in marks["was"]:
        yield sentence(says)
    if marks["was"] == ["Nothing was wrong"] and not marks["left"]:
        return
    if marks["left"]:
        yield f"Still there when the car left: {'; '.join(marks['left'])}."
    else:
        yield f"Gone when the car left; it was {marks['ending']}."


def _money_rows(marks: Answer) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("", "hands on", "waiting", "parts", "in all")]
    names = (("you", "spent"), ("the tool's plan", "plan"), ("knowing the fault", "best"))
    for name, key in names:
        one = marks[key]
        money = [f"{one[part]:,.0f} euro" for part in ("parts", "total")]
        rows.append((name, *(f"{one[m]:,.0f} min" for m in ("minutes", "waiting")), *money))
    return rows


def _luck(marks: Answer) -> Iterator[str]:
    """Where the money and the decisions do not agree, luck had a hand: say so."""
    dearer = marks["spent"]["total"] - marks["plan"]["total"]
    if dearer < 0.0 and marks["left"]:
        yield "Cheaper than the plan on this car, but what was wrong is still there."
    elif dearer < 0.0 and marks["regret"] > 0.0:
        yield "Cheaper than the plan on this car, but not by your decisions: that was luck."
    elif dearer > 0.0 and marks["regret"] == 0.0:
        yield "Dearer than the plan on this car, but not by your decisions: that was luck."
    elif marks["spent"]["total"] < marks["best"]["total"] and not marks["left"]:
        yield "Cheaper than knowing the fault: the whole proof that the others made was cut short."


def _decisions(marks: Answer) -> Iterator[str]:
    wasted = [step for step in marks["steps"] if step["why"]]
    judged = sum(step["regret"] is not None for step in marks["steps"])
    if not wasted:
        yield f"Much dearer than the best at its moment: none of {counted(judged, 'decision')}."
        return
    yield (
        f"{len(wasted)} of {counted(judged, 'decision')} cost more than need be as things stood "
        f"then, {marks['regret']:.0f} euro together."
    )
    for step in wasted:
        better = f" Better: {step['better']}." if step["better"] else ""
        yield f"Step {step['number']}, {step['line']}: {step['why']}.{better}"


def _ordered(found: Sequence[Answer], nothing: str) -> Iterator[str]:
    if not found:
        yield nothing
    for one in found:
        yield f"Step {one['step']}: {one['says']}"


def _slips(slips: Answer) -> Iterator[str]:
    for one in slips["made"]:
        caught = "not struck" if one["reading"] in slips["missed"] else "struck, rightly"
        yield f"{one['reading']}: {one['says']} ({caught})."
    for reading in slips["struck_wrongly"]:
        yield f"{reading} was struck, but it was right."


_CLASS = (
    Column(least=8, gives=True),
    Column(least=10, gives=True),
    *(Column(least=5, right=True, gives=True) for _ in range(6)),
)


def class_text(report: Answer, width: int | None, style: bool) -> str:
    """A class: a row a session, then what was wasted most often."""
    room = usable_width(width)
    head = ("learner", "car", "ended", "min", "euro", "plan", "waste", "safety")
    rows = [head, *(class_row(row) for row in report["sessions"])]
    blocks = [[bold("THE CLASS", style), *table(rows, _CLASS, room)]]
    if report["often"]:
        often = (
            f"{one['line']}: in {counted(one['sessions'], 'session')}." for one in report["often"]
        )
        blocks.append([bold("WASTED MOST OFTEN", style), *_sentences(often, room)])
    if report["unreadable"]:
        bad = (f"{one['file']}: {one['says']}." for one in report["unreadable"])
        blocks.append([bold("NOT READ", style), *_sentences(bad, room)])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def class_row(row: Answer) -> tuple[str, ...]:
    """A session's row: learner, car, ending, minutes, money, the plan's, waste, safety."""
    ended = "goes on"
    if row["ended"]:
        ended = row["ending"] if row["cured"] else f"{row['ending']}, fault left"
    money = [
        "-" if row[key] is None else f"{row[key]:.0f}" for key in ("total", "plan_total", "regret")
    ]
    return (row["learner"], row["car"], ended, f"{row['minutes']:.0f}", *money, str(row["safety"]))
