"""What each part of a job file may say: strict models, no unknown keys."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, PlainValidator

from idlewright.family.amounts import Names, StateMap, Text, refuse, shown
from idlewright.family.checked import Flag, Line

TOP_KEYS = (
    "format", "id", "family", "vehicle", "sheet", "complaint", "state", "limits", "meter", "code",
    "reading", "done",
)  # fmt: skip
FUNCTIONS = ("volt", "ohm", "volt_ac")
WHEN = ("now", "stored", "set_by_us")


def _typed(value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        refuse(f"{shown(value)} is no reading", '"0.52 V", "OL" or a word', "write it in quotes")
    if not isinstance(value, str):
        refuse(
            f"{value} has no unit",
            '"0.52 V", "OL" or a word',
            f'write it in quotes with its unit, for example "{value} V"',
        )
    if not value.strip():
        refuse("the value is empty", '"0.52 V", "OL" or a word', "type what the display showed")
    return value


def _one_of(*words: str) -> PlainValidator:
    def read(value: object) -> str:
        from idlewright.family.names import did_you_mean

        if value not in words:
            refuse(
                f"{shown(value)} is not known here",
                "one of " + ", ".join(words),
                did_you_mean(str(value), words, "word"),
            )
        return str(value)

    return PlainValidator(read)


class Complaint(Line):
    """What the customer says."""

    words: Names = ()
    says: Text | None = None


class LimitsLine(Line):
    """What there is to work with."""

    tools: Names | None = None
    helper: Flag = True


class CodeLine(Line):
    """A stored code."""

    id: Text
    when: Annotated[str, _one_of(*WHEN)] = "now"


class ReadingLine(Line):
    """One reading."""

    id: Text
    value: Annotated[str, PlainValidator(_typed)]
    check: Text | None = None
    red: Text | None = None
    black: Text | None = None
    function: Annotated[str, _one_of(*FUNCTIONS)] | None = None
    state: StateMap = Field(default_factory=dict)
    meter: Text | None = None
    struck: Text | None = None


class DoneLine(Line):
    """A repair or setting."""

    repair: Text
    after: Text | None = None
