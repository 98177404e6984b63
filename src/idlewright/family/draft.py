"""A family while it is being put together: records with the place in a file each came from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from idlewright.errors import Problem
from idlewright.family.control import Control
from idlewright.family.kinds import (
    Check,
    Condition,
    Fault,
    Motor,
    Plug,
    Repair,
    Resistor,
    Scalar,
    SheetEntry,
    SoftEvidence,
    Source,
    StateVariable,
    Step,
)
from idlewright.family.positions import Path
from idlewright.family.salvage import Muted
from idlewright.family.textfile import Document


@dataclass(frozen=True, slots=True)
class Origin:
    """Where something was written; `prefix` is what its names got on the way into the family."""

    document: Document
    path: Path
    prefix: str = ""

    def problem(self, says: str, expected: str = "", remedy: str = "", at: Path = ()) -> Problem:
        """A problem here, or at a key below."""
        return self.document.problem((*self.path, *at), says, expected, remedy)


@dataclass(frozen=True, slots=True)
class Wanted:
    """A name that a used part asks for.

    Attributes:
        name: under which name of this file. origin: the [use] line. user: prefix of the part.
        key: key of the join that gives it, or "" when nothing does.
    """

    name: str
    origin: Origin
    user: str
    key: str = ""


@dataclass(frozen=True, slots=True)
class Mover:
    """A slider or switch: the state variable it moves with and the values it has ohms for."""

    element: str
    variable: str
    values: tuple[str, ...]
    key: str


@dataclass(frozen=True, slots=True)
class Contact:
    """One contact of a wire in a connector, for the connector's common repair."""

    connector: str
    scalar: str
    faults: tuple[str, ...]
    drop: str


@dataclass(frozen=True, slots=True)
class Also:
    """What one line adds to a check: chances of its words by fault, and what it provokes."""

    check: str
    shows: Mapping[str, Mapping[str, float]]
    provokes: tuple[str, ...]
    origin: Origin


RECORDS = (
    "state", "scalar", "resistor", "source", "motor", "fault", "check", "repair", "word", "code",
    "caution", "tool", "sheet", "step", "plug", "point", "part_point", "point_say",
)  # fmt: skip


@dataclass(slots=True)
class Draft:
    """Records by section and id, in order.

    A section holds either file lines or what they expand to; `table` gives it by name.

    Attributes:
        only: fault id -> states outside which the fault does nothing.
        places: (section, id) -> origin. made: (section, id) of what was generated.
        broken: ids whose lines were refused. dropped: ids left out on purpose.
        lost: an element could not be used, so that the circuit may not hang together.
        partial: a used part could not be read, so that names may be missing for that reason.
        documents: content hashes of all files read. sections: sections that stood in them.
        contacts: every contact. movers: every slider and switch. soft: each line of a word or code
        by itself (section, line, origin), before several lines are joined. also: what lines add to
        checks that stand elsewhere.
        nodes: node -> origin of an element that ends on it.
        wanted_nodes, wanted_ids, wanted_states: what used parts ask for.
        muted: lines of which a part was refused already.
    """

    document: Document
    zero: str = "chassis"
    control: Control | None = None
    state: dict[str, StateVariable] = field(default_factory=dict)
    scalar: dict[str, Scalar] = field(default_factory=dict)
    resistor: dict[str, Resistor] = field(default_factory=dict)
    source: dict[str, Source] = field(default_factory=dict)
    motor: dict[str, Motor] = field(default_factory=dict)
    fault: dict[str, Fault] = field(default_factory=dict)
    check: dict[str, Check] = field(default_factory=dict)
    repair: dict[str, Repair] = field(default_factory=dict)
    word: dict[str, SoftEvidence] = field(default_factory=dict)
    code: dict[str, SoftEvidence] = field(default_factory=dict)
    caution: dict[str, str] = field(default_factory=dict)
    tool: dict[str, str] = field(default_factory=dict)
    sheet: dict[str, SheetEntry] = field(default_factory=dict)
    step: dict[str, Step] = field(default_factory=dict)
    plug: dict[str, Plug] = field(default_factory=dict)
    point: dict[str, str] = field(default_factory=dict)
    part_point: dict[str, str] = field(default_factory=dict)
    point_say: dict[str, str] = field(default_factory=dict)
    only: dict[str, Condition] = field(default_factory=dict)
    places: dict[tuple[str, str], Origin] = field(default_factory=dict)
    made: set[tuple[str, str]] = field(default_factory=set)
    broken: set[str] = field(default_factory=set)
    dropped: set[str] = field(default_factory=set)
    contacts: list[Contact] = field(default_factory=list)
    movers: list[Mover] = field(default_factory=list)
    soft: list[tuple[str, SoftEvidence, Origin]] = field(default_factory=list)
    also: list[Also] = field(default_factory=list)
    nodes: dict[str, Origin] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    muted: list[Muted] = field(default_factory=list)
    partial: bool = False
    lost: bool = False
    documents: list[str] = field(default_factory=list)
    sections: set[str] = field(default_factory=set)
    wanted_nodes: list[Wanted] = field(default_factory=list)
    wanted_ids: list[Wanted] = field(default_factory=list)
    wanted_states: list[Wanted] = field(default_factory=list)

    def table(self, section: str) -> dict[str, Any]:
        """The records of one section."""
        found: dict[str, Any] = getattr(self, section)
        return found

    def add(self, section: str, record_id: str, record: object, origin: Origin) -> None:
        """Put in a record that a line states."""
        self.table(section)[record_id] = record
        self.places[section, record_id] = origin

    def make(self, section: str, record_id: str, record: object, origin: Origin) -> None:
        """Put in a generated record, unless a line of that id stands already."""
        if record_id in self.table(section) or record_id in self.dropped:
            return
        self.add(section, record_id, record, origin)
        self.made.add((section, record_id))

    def origin(self, section: str, record_id: str) -> Origin:
        """Where a record was written (the file's top when nobody knows)."""
        return self.places.get((section, record_id), Origin(self.document, ()))

    def ids(self, sections: Iterable[str] = RECORDS) -> set[str]:
        """All ids of some sections."""
        return {record_id for section in sections for record_id in self.table(section)}

    def drop(self, record_id: str) -> bool:
        """Take out everything of that id; True if there was anything."""
        hit = False
        for section in RECORDS:
            if self.table(section).pop(record_id, None) is not None:
                hit = True
                self.places.pop((section, record_id), None)
        if hit:
            self.dropped.add(record_id)
            self.only.pop(record_id, None)
        return hit

    def is_broken(self, name: str) -> bool:
        """True if `name`, or what it is part of, was refused already."""
        parts = name.split("[", 1)[0].split(".")
        return any(".".join(parts[:length]) in self.broken for length in range(1, len(parts) + 1))
