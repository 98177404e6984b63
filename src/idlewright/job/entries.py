"""What a job file says, once it is read and checked: frozen records in file order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from idlewright.family.kinds import Family, Sheet
from idlewright.physics.meter import Meter

START = "start"
"""`after = "start"`: done before the first reading."""


@dataclass(frozen=True, slots=True)
class CodeEntry:
    """A stored code: its id in the family, and when it was seen: now, stored or set_by_us."""

    id: str
    when: str


@dataclass(frozen=True, slots=True)
class ReadingEntry:
    """One reading, as typed and as understood.

    Attributes:
        id: its id in the job.
        check: check id, or None for a reading between two points.
        function: what was read: "volt", "ohm", "volt_ac", or what the check reads.
        red, black: places of the leads (from the check, where one is named), or None.
        says_state: the state as typed beside the reading.
        state: the whole car state it was taken in; the unknown at its first value.
        typed: the value as typed.
        number, unit, step: the number in the unit of what was read, and the size of its last
            digit; None without a number.
        word: the check's word, or None. overload: the display showed no number; overload_unit: the
            unit that stood beside it, or "".
        meter: id of a meter of the job, or None for an ordinary one.
        struck: why it does not count, or None.
        epoch: how many repairs came before it.
    """

    id: str
    check: str | None
    function: str
    red: str | None
    black: str | None
    says_state: Mapping[str, str]
    state: Mapping[str, str]
    typed: str
    number: float | None
    unit: str | None
    step: float | None
    word: str | None
    overload: bool
    overload_unit: str
    meter: str | None
    struck: str | None
    epoch: int

    @property
    def counts(self) -> bool:
        """False for a struck reading."""
        return self.struck is None


@dataclass(frozen=True, slots=True)
class DoneEntry:
    """A repair or setting.

    Attributes:
        repair: its id. after: id of the reading it came after, or "start".
        place: number of readings that came before it.
    """

    repair: str
    after: str
    place: int


@dataclass(frozen=True, slots=True)
class JobFile:
    """One vehicle's visit.

    Attributes:
        sheet: this vehicle's values (none given: an empty sheet). state: what the car is in now, as
            far as the file says. tools: what there is, or None for everything.
        meters: stated meters by id. readings, done: in the order of the file.
    """

    id: str
    family: Family
    vehicle: str
    sheet: Sheet
    words: tuple[str, ...]
    complaint: str
    state: Mapping[str, str]
    tools: tuple[str, ...] | None
    helper: bool
    meters: Mapping[str, Meter]
    codes: tuple[CodeEntry, ...]
    readings: tuple[ReadingEntry, ...]
    done: tuple[DoneEntry, ...]

    @property
    def epoch(self) -> int:
        """Number of repairs done so far."""
        return len(self.done)

    def reading(self, reading_id: str) -> ReadingEntry | None:
        """The reading of that id, or None."""
        return next((entry for entry in self.readings if entry.id == reading_id), None)
