"""Which suspects are named, and where each stood before and after every reading.

The terminal's scale, the strokes of the page and the list in words all draw from here, so they
can never disagree about who leads or who is "the others".
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from idlewright.report.marks import STRUCK, verdict_of
from idlewright.words import (
    CANNOT_DECIBANS,
    LEADER_FROM,
    NO_MOVE_DECIBANS,
    change_words,
    decibans,
    leader_words,
    lower_first,
    odds_words,
    others_name,
    sentence,
)

Answer = Mapping[str, Any]
Faults = frozenset[str]

SOMETHING_ELSE = "something-else"
NAMED_AT_MOST = 5
_WORTH_NAMING = 0.05
_SHORT_NAME = 18  # what half a phone's width holds at 16 px


@dataclass(frozen=True, slots=True)
class Named:
    """One stroke: a suspect, a group of equals, something else, or all the others together.

    Attributes:
        title: its name in full; `short`: for a drawing; `letter`: for the terminal.
        p: its probability now. `odds`: its probability at each row, None where the history is
            silent (row 0 is before any reading).
        kind: "leader", "suspect", "something else" or "others".
        twins: more than one fault no check can tell apart.
        count: how many suspects it stands for.
        answer: the suspect's own entry, None for the others.
    """

    title: str
    short: str
    letter: str
    p: float
    odds: tuple[float | None, ...]
    kind: str
    twins: bool
    count: int
    answer: Answer | None


@dataclass(frozen=True, slots=True)
class Row:
    """One reading (or what else moved the odds) in order of time.

    `step` is its row in `Named.odds`; None for a reading that is struck or not counted.
    """

    reading: Answer | None
    says: str
    step: int | None


@dataclass(frozen=True, slots=True)
class Movement:
    """The named strokes, leader first, and the rows they run through."""

    named: tuple[Named, ...]
    rows: tuple[Row, ...]
    leads: bool

    @property
    def leader(self) -> Named | None:
        """The likeliest, whether or not it may be called a leader; None without suspects."""
        likely = [one for one in self.named if one.kind != "others"]
        return max(likely, key=lambda one: one.p) if likely else None


@dataclass(slots=True)
class _Group:
    """Suspects merged into one line, with the odds of all of them together."""

    answer: Answer
    members: set[Faults]
    p: float
    odds: tuple[float | None, ...] = ()
    swing: float = 0.0

    @property
    def something_else(self) -> bool:
        return any(SOMETHING_ELSE in member for member in self.members)

    @property
    def peak(self) -> float:
        return max([self.p, *(p for p in self.odds if p is not None)])


def movement(judged: Answer) -> Movement:
    """Name the suspects of a judge answer and follow them through its history."""
    history = list(judged.get("history") or [])
    groups = _groups(judged.get("suspects") or [])
    for group in groups:
        group.odds = tuple(_odds_in(row, group.members) for row in history)
        group.swing = _largest_move(group.odds)
    chosen, rest = _choose(groups, bool(len(history) > 1))
    top = max(groups, key=lambda group: group.p) if groups else None
    letters = _Letters()
    named = [_named(group, group is top, letters) for group in chosen]
    if rest:
        named.append(_others(rest, chosen, len(history)))
    leads = top is not None and top.p >= LEADER_FROM
    return Movement(tuple(named), tuple(_rows(judged, history)), leads)


def _groups(suspects: Sequence[Answer]) -> list[_Group]:
    """Suspects with their equals merged, whether or not the equals have entries of their own."""
    groups: list[_Group] = []
    for suspect in suspects:
        own = frozenset(suspect["faults"])
        home = next((group for group in groups if own in group.members), None)
        if home is None:
            equals = {frozenset(faults) for faults in suspect.get("equal_to") or []}
            groups.append(_Group(suspect, {own, *equals}, float(suspect["probability"])))
        else:
            home.p += float(suspect["probability"])
    return groups


def _odds_in(row: Answer, members: set[Faults]) -> float | None:
    """The group's probability in one row of the history, None when the row leaves it out."""
    mine = [entry for entry in row["odds"] if frozenset(entry["faults"]) in members]
    found = [float(entry["probability"]) for entry in mine]
    return min(1.0, sum(found)) if found else None


def _largest_move(odds: Sequence[float | None]) -> float:
    """The largest change any one row made, decibans."""
    moves = [
        abs(decibans(before, after))
        for before, after in itertools.pairwise(odds)
        if before is not None and after is not None
    ]
    return max(moves, default=0.0)


def _choose(groups: list[_Group], has_moved: bool) -> tuple[list[_Group], list[_Group]]:
    """At most five to name: the likeliest, those a reading moved, those worth a word; else last."""
    strangers = [group for group in groups if group.something_else]
    listed = sorted((group for group in groups if not group.something_else), key=lambda g: -g.p)
    room = NAMED_AT_MOST - len(strangers)
    worth = [
        group
        for place, group in enumerate(listed)
        if place == 0
        or not has_moved
        or group.p >= _WORTH_NAMING
        or (group.swing >= NO_MOVE_DECIBANS and group.peak >= _WORTH_NAMING)
    ]
    by_weight = sorted(worth[1:], key=lambda group: (group.p < _WORTH_NAMING, -group.peak))
    kept = worth[:1] + by_weight[: max(0, room - 1)]
    kept.sort(key=lambda group: -group.p)
    rest = [group for group in listed if group not in kept]
    if len(rest) == 1 and len(kept) < room:
        kept, rest = kept + rest, []
    return kept + strangers, rest


def _named(group: _Group, top: bool, letters: _Letters) -> Named:
    answer = group.answer
    stranger = group.something_else
    title = str(answer.get("title") or " + ".join(answer["faults"]) or "Nothing wrong")
    letter = "?" if stranger else letters.take(str(answer.get("letter") or ""), title)
    leads = top and group.p >= LEADER_FROM
    kind = "something else" if stranger else "leader" if leads else "suspect"
    short = "something else" if stranger else _shortened(str(answer.get("short") or title))
    twins = len(group.members) > 1
    return Named(title, short, letter, group.p, group.odds, kind, twins, 1, answer)


def _others(rest: list[_Group], chosen: list[_Group], rows: int) -> Named:
    """All the unnamed as one stroke; their odds are what the named leave over."""
    name = others_name(len(rest))
    odds: list[float | None] = []
    for row in range(rows):
        seen = [group.odds[row] for group in chosen]
        known = [p for p in seen if p is not None]
        odds.append(max(0.0, 1 - sum(known)) if len(known) == len(seen) else None)
    p = sum(group.p for group in rest)
    short = "1 other" if len(rest) == 1 else f"{len(rest)} others"
    return Named(name, short, "o", p, tuple(odds), "others", False, len(rest), None)


def _shortened(title: str) -> str:
    """The title's first words, as many as a drawing has room for."""
    words = lower_first(title).split()
    text = words[0] if words else title
    for word in words[1:]:
        if len(text) + 1 + len(word) > _SHORT_NAME:
            return text + "…"
        text += " " + word
    return text if len(text) <= _SHORT_NAME else text[: _SHORT_NAME - 1] + "…"


class _Letters:
    """Hands out one lower-case letter a suspect; `o` is kept for the others."""

    def __init__(self) -> None:
        self._free = list("abcdefghijklmnpqrstuvwxyz")

    def take(self, wanted: str, title: str) -> str:
        """The wanted letter if free, else an initial of the title, else any letter in it."""
        initials = [word[0] for word in re.findall(r"[a-z]+", title.lower())]
        choices: list[str] = [*wanted[:1].lower(), *initials, *title.lower(), *self._free]
        for letter in choices:
            if letter in self._free:
                self._free.remove(letter)
                return letter
        return "*"


def _rows(judged: Answer, history: Sequence[Answer]) -> list[Row]:
    """History rows in time, with struck and uncounted readings at their places."""
    steps: dict[str, int] = {}
    extra: list[tuple[int, str]] = []
    for step, entry in enumerate(history):
        if entry.get("reading"):
            steps[str(entry["reading"])] = step
        elif step:
            extra.append((step, str(entry.get("says") or "Work done")))
    rows: list[Row] = []
    for reading in judged.get("readings") or []:
        step_now = steps.get(str(reading["id"]))
        while extra and step_now is not None and extra[0][0] < step_now:
            rows.append(Row(None, extra[0][1], extra.pop(0)[0]))
        rows.append(Row(reading, "", step_now))
    rows.extend(Row(None, says, step) for step, says in extra)
    return rows


def moved_words(moves: Movement, row: Row) -> str:
    """What one row did to the odds, as one or two short sentences."""
    if row.step is None:
        struck = row.reading is not None and verdict_of(row.reading) == STRUCK
        return "Not counted." if struck else "Does not count."
    changes = _changes(moves, row.step)
    told = [item for item in changes if abs(item[1]) >= NO_MOVE_DECIBANS][:3]
    if not told:
        return "Hardly moved the odds."
    leader = next((change for one, change, _ in changes if one == moves.leader), None)
    parts = []
    for one, change, factor in told:
        cannot = leader is not None and factor is not None and factor <= -CANNOT_DECIBANS
        said = "cannot do this" if cannot and one.kind == "suspect" else change_words(change)
        name = str((one.answer or {}).get("short") or one.title)
        parts.append(sentence(f"{name}{',' if ':' in name else ''} {said}"))
    return " ".join(parts)


def _changes(moves: Movement, step: int) -> list[tuple[Named, float, float | None]]:
    """Per named: decibans of odds at this step, and of likelihood against the leader's.

    The largest change comes first.
    """
    ratios: dict[str, float] = {}
    found: list[tuple[Named, float]] = []
    for one in moves.named:
        before, after = one.odds[step - 1], one.odds[step]
        if before is None or after is None:
            continue
        found.append((one, decibans(before, after)))
        if before > 0 and after > 0:
            ratios[one.title] = decibans_of_ratio(after / before)
    leader = moves.leader
    base = ratios.get(leader.title) if leader else None
    listed = [
        (one, change, None if base is None or one.title not in ratios else ratios[one.title] - base)
        for one, change in found
    ]
    return sorted(listed, key=lambda item: -abs(item[1]))


def decibans_of_ratio(ratio: float) -> float:
    """A plain ratio in decibans."""
    return decibans(0.5, ratio / (1 + ratio))


def headline(moves: Movement) -> str:
    """One sentence on who leads; "" when the leader is an ordinary suspect and stands first."""
    top = moves.leader
    if top is None:
        return ""
    if not moves.leads:
        return sentence(leader_words(top.title, top.p))
    if top.kind == "something else":
        return sentence(f"nothing on the list leads; it is something else, {odds_words(top.p)}")
    if top.answer is not None and not top.answer["faults"]:
        return sentence(f"likeliest that nothing is wrong now, {odds_words(top.p)}")
    return ""
