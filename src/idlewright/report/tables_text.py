"""Lists, vet results, study tables and errors as terminal text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from idlewright.errors import Problem
from idlewright.report.columns import Column, ascii_text, bold, table, usable_width, wrap
from idlewright.words import minutes_words, share_words

Answer = Mapping[str, Any]


def error_lines(problems: Iterable[Problem]) -> str:
    """One line a problem, in full: a line for machines and `grep` is never wrapped."""
    return "".join(f"{ascii_text(problem.one_line())}\n" for problem in problems)


def vet_text(files: Sequence[str], problems: Sequence[Problem], width: int | None = None) -> str:
    """What vetting found: every problem on its own line, or that the files are sound."""
    if problems:
        files_hit = len({problem.file for problem in problems})
        count = f"{len(problems)} {'fault' if len(problems) == 1 else 'faults'}"
        where = f"{files_hit} {'file' if files_hit == 1 else 'files'}"
        return error_lines(problems) + f"{count} in {where}.\n"
    names = ", ".join(files)
    return "\n".join(wrap(f"{names}: no faults found.", usable_width(width), "", "  ")) + "\n"


def list_text(
    rows: Sequence[Sequence[str]], empty: str, width: int | None = None, head: str = ""
) -> str:
    """A list of ids, each with what it says (and further facts); `empty` when there is none."""
    room = usable_width(width)
    if not rows:
        return "\n".join(wrap(empty, room)) + "\n"
    count = max(len(row) for row in rows)
    columns = [Column(least=10, gives=True) for _ in range(count)]
    filled = [[*row, *[""] * (count - len(row))] for row in rows]
    lines = table(filled, columns, room, indent="")
    return "\n".join([*wrap(head, room), *lines]) + "\n"


_ARM_COLUMNS = (
    Column(least=8, gives=True),
    *(Column(least=6, right=True, gives=True) for _ in range(7)),
)
_TABLE_FROM = 72


def study_text(study: Answer, width: int | None = None, style: bool = False) -> str:
    """A study answer as tables: what each policy cost and got right, then the pairs compared."""
    room = usable_width(width)
    blocks = [
        wrap(_study_head(study), room, "", "  "),
        [bold("POLICIES", style), *_arms(study, room)],
        list(_sure(study, room, style)),
        list(_pairs(study, room, style)),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _study_head(study: Answer) -> str:
    truth = study.get("truth") or {}
    told = ", ".join(f"{name} {_plain(value)}" for name, value in truth.items() if name != "name")
    world = f' in the world "{truth["name"]}"' if truth.get("name") else ""
    text = f"{study['family']}: {study['cases']:,} practice cars, seed {study['seed']}{world}"
    return f"{text} ({told})." if told else f"{text}."


def _plain(value: object) -> str:
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _arms(study: Answer, width: int) -> list[str]:
    """One row a policy; on a narrow terminal every policy is a sentence instead."""
    rows = _arm_rows(study)
    if width >= _TABLE_FROM:
        return table(rows, _ARM_COLUMNS, width)
    lines = []
    for row in rows[1:]:
        facts = [f"{head} {cell}" for head, cell in zip(rows[0][1:], row[1:], strict=True)]
        lines += wrap(f"{row[0]}: {', '.join(facts)}.", width, " ", "   ")
    return lines


def _arm_rows(study: Answer) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [
        ("", "cost", "low", "high", "hours", "right repair", "right fault", "wrong parts")
    ]
    for arm in study["arms"]:
        cost, minutes = arm["total_cost"], arm["minutes"]
        rows.append(
            (
                str(arm["name"]),
                f"{cost['mean']:,.0f}",
                f"{cost['low']:,.0f}",
                f"{cost['high']:,.0f}",
                f"{minutes['mean'] / 60:.1f}",
                _count(arm["right_repair"]),
                _count(arm["right_fault"]),
                f"{arm['wrong_parts']:.2f}",
            )
        )
    return rows


def _count(found: Answer) -> str:
    return f"{found['k']}/{found['n']}"


def _sure(study: Answer, width: int, style: bool) -> Iterator[str]:
    """How often an arm was sure and wrong; counts, with what luck still allows."""
    yield bold("SURE BUT WRONG", style)
    for arm in study["arms"]:
        sure = arm["sure"]
        upper = f"{100 * float(sure['upper']):.0f} in 100"
        text = f"{arm['name']}: sure {sure['n']} times, wrong {sure['wrong']}; at most {upper}"
        slow = minutes_words(float(arm["minutes"]["p90"]))
        yield from wrap(f"{text}. 9 in 10 jobs done within {slow}.", width, " ", "   ")


def _pairs(study: Answer, width: int, style: bool) -> Iterator[str]:
    if not study.get("pairs"):
        return
    yield bold("COMPARED", style)
    for pair in study["pairs"]:
        difference = float(pair["difference"])
        word = "dearer" if difference > 0 else "cheaper"
        low, high = sorted((float(pair["low"]), float(pair["high"])))
        span = f"{share_words(float(pair['level']))} between {low:+,.1f} and {high:+,.1f}"
        clear = "" if low > 0 or high < 0 else ", so no clear difference"
        text = f"{pair['a']} is {abs(difference):,.1f} {word} than {pair['b']}: {span}{clear}."
        yield from wrap(text, width, " ", "   ")
    bound = (study.get("bound") or {}).get("clairvoyant")
    if bound is not None:
        yield from wrap(f"Knowing the fault beforehand: {float(bound):,.1f}.", width, " ")
