"""A refused line without its bad keys, so that the rest of it is still looked at.

What would be said only because a key was taken out is muted: it has been reported already.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from idlewright.errors import Problem
from idlewright.family.names import dotted
from idlewright.family.positions import Path
from idlewright.family.textfile import Document

M = TypeVar("M", bound=BaseModel)

STAND_INS: Mapping[str, Any] = {
    "minutes": 0.0, "do": "?", "say": "?", "ohm": 1.0, "volt": 1.0, "run_amp": 1.0,
    "break_amp": 1.0, "volt_s_per_mm": 1.0, "stroke_mm": 1.0, "id": "?", "value": "OL",
    "lines": "?", "is": 1.0,
}  # fmt: skip
"""Values for required keys that are missing or bad, where the value itself is not looked at."""


@dataclass(frozen=True, slots=True)
class Muted:
    """A salvaged line: nothing more is said about it as a whole, nor about its bad keys."""

    file: str
    line: str
    keys: tuple[str, ...]

    def covers(self, problem: Problem) -> bool:
        """True for a problem that only repeats what was reported."""
        if problem.file != self.file:
            return False
        heads = [f"{self.line}.{key}" for key in self.keys]
        return problem.key == self.line or any(
            problem.key == head or problem.key.startswith(f"{head}.") for head in heads
        )


def salvaged(
    document: Document,
    model: type[M],
    raw: Mapping[str, object],
    path: Path,
    errors: Iterable[ErrorDetails],
) -> tuple[M | None, Muted]:
    """The line without its bad keys, or None when it says too little without them."""
    bad = tuple(dict.fromkeys(str(error["loc"][0]) for error in errors if error["loc"]))
    rest = {key: value for key, value in raw.items() if key not in bad}
    for name, field in model.model_fields.items():
        key = field.alias or name
        if field.is_required() and key not in rest and key in STAND_INS:
            rest[key] = STAND_INS[key]
    muted = Muted(document.name, dotted(document.named(path)), bad)
    try:
        return model.model_validate(rest), muted
    except ValidationError:
        return None, muted


def unmuted(problems: Iterable[Problem], muted: Iterable[Muted]) -> list[Problem]:
    """The problems that are not covered by a salvaged line."""
    quiet = list(muted)
    return [p for p in problems if not any(line.covers(p) for line in quiet)]
