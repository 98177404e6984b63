"""What a learner types, taken apart: one line is one step."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from idlewright.errors import BadInput, Problem
from idlewright.family.names import closest
from idlewright.quantities.units import quoted

STEPS: Final = {
    "read": ("CHECK  or  RED BLACK volt|ohm [NAME=VALUE ...]", "a check, or between two places"),
    "turn": ("NAME VALUE", "change the car's state yourself: turn key on"),
    "repair": ("REPAIR", "make a repair or a setting"),
    "prove": ("[TRIES]", "try the car under load, so many times"),
    "strike": ("READING WHY", "a reading does not count: strike r2 leads were swapped"),
    "say": ("WORDS", "note what you think"),
    "leave": ("", "hand the car back: the job is done"),
    "stop": ("[WHY]", "send the car on: cannot tell"),
}  # fmt: skip
"""Steps that are kept: what follows the word, and what it does."""

LOOKS: Final = {
    "look": ("", "how the car stands, what was read, what was spent"),
    "list": ("checks|repairs|points|states|sheet [TEXT]", "what there is, with a text in it"),
    "help": ("", "these lines"),
    "quit": ("", "go on another time: everything is kept"),
}
"""Words that change nothing and are not kept."""

MOST_TRIES: Final = 50
USUAL_TRIES: Final = 3


@dataclass(frozen=True, slots=True)
class Typed:
    """A line: its first word, the words after it, and the rest as typed."""

    word: str
    args: tuple[str, ...]
    rest: str


def plain(text: str) -> str:
    """Text in letters that can be kept and shown anywhere, one space between words.

    A broken byte would end a later report, and a terminal would obey a control character.
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def take_apart(line: str) -> Typed:
    """A line as a step.

    Raises:
        BadInput: it begins with no known word, or has too few or too many after it.
    """
    text = line.strip()
    word, _, rest = text.partition(" ")
    word = word.lower()
    known = {**STEPS, **LOOKS}
    if word not in known:
        raise BadInput(Problem(f"{quoted(word)} is no step", remedy=hint(word, known, "help")))
    if word in ("say", "stop", "strike"):
        args = tuple(rest.split())
    else:
        try:
            args = tuple(shlex.split(rest))
        except ValueError as error:
            raise BadInput(
                Problem("a quote is not closed", remedy="close it, or leave it out")
            ) from error
    least, most = _COUNTS.get(word, (0, 0))
    if not least <= len(args) <= most:
        says = f"{word} goes with {known[word][0]}" if known[word][0] else f"{word} stands alone"
        raise BadInput(Problem(says, remedy="type help"))
    return Typed(word, args, rest.strip())


_COUNTS: Final = {
    "read": (1, 12), "turn": (1, 2), "repair": (1, 1), "prove": (0, 1), "strike": (2, 99),
    "say": (1, 999), "stop": (0, 999), "list": (1, 9),
}  # fmt: skip
"""How many words may follow."""


def tries_in(args: tuple[str, ...]) -> int:
    """How many tries are asked for.

    Raises:
        BadInput: no whole number from 1 to MOST_TRIES.
    """
    if not args:
        return USUAL_TRIES
    if not re.fullmatch("[0-9]{1,4}", args[0]) or not 1 <= int(args[0]) <= MOST_TRIES:
        raise BadInput(Problem(f"{quoted(args[0])} is no number of tries", f"1 to {MOST_TRIES}",
                               "type for instance prove 5"))  # fmt: skip
    return int(args[0])


def hint(name: str, known: Iterable[str], see: str) -> str:
    """What to do about a name that is not there: the likely one, or what to type to see all."""
    near = closest(name, known)
    return f'did you mean "{near}"?' if near else f"type {see}"


def help_lines() -> list[tuple[str, str]]:
    """Every word with what follows it, and what it does."""
    return [(f"{w} {a}".strip(), says) for w, (a, says) in {**STEPS, **LOOKS}.items()]
