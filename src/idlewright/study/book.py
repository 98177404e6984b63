"""The manual of the invented vehicles that studies work on: every usual value of the family."""

from __future__ import annotations

from idlewright.family.kinds import Family, Sheet, SheetValue
from idlewright.family.textfile import content_sha256

PAGE = "invented book"


def usual_sheet(family: Family) -> Sheet:
    """A sheet that gives every usual value, as if each were typed when it is first needed."""
    values: dict[str, SheetValue] = {}
    for key, entry in family.sheet.items():
        if entry.words:
            values[key] = SheetValue(None, None, entry.usual_word or entry.words[0], PAGE)
        elif entry.usual is not None:
            values[key] = SheetValue(entry.usual[0], entry.usual[1], None, PAGE)
    content = {key: [v.low, v.high, v.word] for key, v in values.items()}
    return Sheet("invented", content_sha256(content), values)
