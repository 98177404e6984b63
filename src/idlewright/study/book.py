"""The invented vehicles that studies work on, and their manual: every usual value of the family."""

from __future__ import annotations

from dataclasses import dataclass

from idlewright.family.kinds import Family, Sheet, SheetValue
from idlewright.family.load import load_family
from idlewright.family.textfile import content_sha256
from idlewright.job.prepared import Prepared, prepare

PAGE = "invented book"


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A family with its sheet.

    Attributes:
        source: what load_family takes. sheet: values. prepared: both, compiled.
    """

    source: str
    sheet: Sheet
    prepared: Prepared

    @classmethod
    def of(cls, source: str) -> Vehicle:
        """The vehicle of a family, with the usual sheet.

        Raises:
            BadInput: the family cannot be loaded.
        """
        family = load_family(source)
        sheet = usual_sheet(family)
        return cls(source, sheet, prepare(family, sheet))

    @property
    def family(self) -> Family:
        """The family."""
        return self.prepared.model.family


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
