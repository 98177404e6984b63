"""A job file read and checked: TOML, JSON, standard input, or data already read."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from pathlib import Path as FilePath

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family
from idlewright.family.load import in_order
from idlewright.family.names import did_you_mean
from idlewright.family.positions import Path
from idlewright.family.salvage import unmuted
from idlewright.family.textfile import (
    Document,
    document_of,
    parse_document,
    read_document,
)
from idlewright.job.entries import (
    START,
    CodeEntry,
    DoneEntry,
    JobFile,
    ReadingEntry,
)
from idlewright.job.file_lines import (
    CodeLine,
    Complaint,
    DoneLine,
    LimitsLine,
    ReadingLine,
)
from idlewright.job.file_reader import FileReader
from idlewright.job.file_readings import ReadingReader
from idlewright.job.file_states import check_states
from idlewright.physics.meter import Meter
from idlewright.physics.meter_statement import meter_from_mapping
from idlewright.quantities import Where

__all__ = ["CodeEntry", "DoneEntry", "JobFile", "ReadingEntry", "load_job"]

STANDARD_INPUT = "-"


def load_job(source: str | FilePath | Mapping[str, object]) -> JobFile:
    """A job from its file, from standard input ("-"), or from data already read.

    A sheet or family that it names by file is looked for beside the job file.

    Raises:
        BadInput: everything that is wrong with it, all at once.
    """
    document = _document(source)
    job, problems = read_job(document)
    if job is None or problems:
        raise BadInput(in_order(problems, document))
    return job


def _document(source: str | FilePath | Mapping[str, object]) -> Document:
    if isinstance(source, Mapping):
        return document_of(source)
    if str(source) == STANDARD_INPUT:
        return parse_document(sys.stdin.buffer.read(), STANDARD_INPUT)
    return read_document(source)


def read_job(document: Document) -> tuple[JobFile | None, list[Problem]]:
    """The job in a document, with what is wrong with it (None without a usable family)."""
    reader = FileReader(document)
    family = reader.family()
    parts = _Parts(reader)
    if family is None:
        return None, reader.problems
    typed, reader.problems = reader.problems, []
    sheet = reader.sheet(family)
    names = _Names(reader, family)
    state = names.state()
    words = names.known("word", parts.complaint.words, family.words, ("complaint", "words"))
    names.known("tool", parts.limits.tools or (), family.tools, ("limits", "tools"))
    codes = [code for code in parts.codes if names.code(code)]
    done = _done(reader, family, parts)
    readings = ReadingReader(document, family, parts.meters, reader.problems)
    entries = [
        entry
        for index, line in parts.readings
        if (entry := readings.entry(index, line, state, _epoch(index, done))) is not None
    ]
    check_states(document, family, sheet, state, entries, reader.problems)
    job = JobFile(
        id=str(document.data.get("id", "")),
        family=family,
        vehicle=str(document.data.get("vehicle", "")),
        sheet=sheet,
        words=words,
        complaint=parts.complaint.says or "",
        state=state,
        tools=parts.limits.tools,
        helper=parts.limits.helper,
        meters=parts.meters,
        codes=tuple(CodeEntry(line.id, line.when) for _, line in codes),
        readings=tuple(entries),
        done=tuple(done),
    )
    return job, [*typed, *unmuted(reader.problems, reader.muted)]


def _epoch(index: int, done: Iterable[DoneEntry]) -> int:
    return sum(entry.place <= index for entry in done)


class _Parts:
    """The parts of a job file that do not depend on its family."""

    def __init__(self, reader: FileReader) -> None:
        self.complaint = reader.one("complaint", Complaint)
        self.limits = reader.one("limits", LimitsLine)
        self.codes = reader.many("code", CodeLine)
        self.readings = reader.many("reading", ReadingLine)
        self.done = reader.many("done", DoneLine)
        reader.once("reading", self.readings)
        reader.once("code", self.codes)
        self.meters = _meters(reader)
        for index, line in self.readings:
            if line.id == START:
                reader.refuse(
                    ("reading", index, "id"),
                    f'"{START}" means before the first reading',
                    "another id",
                    "rename it",
                )


def _meters(reader: FileReader) -> dict[str, Meter]:
    meters: dict[str, Meter] = {}
    for index, raw in reader.tables("meter"):
        base: Path = ("meter", index)

        def place(key: str, base: Path = base) -> Where:
            return reader.document.where((*base, *key.split(".")))

        try:
            meter = meter_from_mapping(raw, place)
        except BadInput as error:
            reader.problems += [_with_remedy(problem) for problem in error.problems]
            if isinstance(raw.get("id"), str):
                meters.setdefault(str(raw["id"]), Meter(str(raw["id"])))
            continue
        if meter.id in meters:
            reader.refuse(
                (*base, "id"),
                f'meter "{meter.id}" stands twice',
                "every id once",
                "rename or remove one of the two",
            )
        meters.setdefault(meter.id, meter)
    return meters


def _with_remedy(problem: Problem) -> Problem:
    if problem.remedy:
        return problem
    return Problem(
        problem.says,
        problem.expected,
        "see the meter's leaflet, or leave it out",
        problem.file,
        problem.line,
        problem.key,
    )


class _Names:
    """Looks up what a job names in its family."""

    def __init__(self, reader: FileReader, family: Family) -> None:
        self.reader = reader
        self.family = family

    def known(
        self, what: str, names: Iterable[str], known: Iterable[str], path: Path
    ) -> tuple[str, ...]:
        """The names that the family knows; the others are refused."""
        ids = list(known)
        good: list[str] = []
        for index, name in enumerate(names):
            if name in ids:
                good.append(name)
            else:
                self.reader.refuse(
                    (*path, index),
                    f'there is no {what} "{name}"',
                    f"a {what} of {self.family.id}",
                    did_you_mean(name, ids, what),
                )
        return tuple(good)

    def state(self) -> dict[str, str]:
        """What the car is in now, as far as it is said and known."""
        good: dict[str, str] = {}
        for name, value in self.reader.table("state").items():
            variable = self.family.states.get(name)
            if variable is None:
                self.reader.refuse(
                    ("state", name),
                    f'there is no state variable "{name}"',
                    f"a state variable of {self.family.id}",
                    did_you_mean(name, self.family.states, "variable"),
                )
            elif value not in variable.values:
                self.reader.refuse(
                    ("state", name),
                    f"{name} is never {value!r}",
                    "one of " + ", ".join(variable.values),
                    did_you_mean(str(value), variable.values, "value"),
                )
            else:
                good[name] = str(value)
        return good

    def code(self, entry: tuple[int, CodeLine]) -> bool:
        """True for a code of the family; another one is refused."""
        index, line = entry
        if line.id in self.family.codes:
            return True
        self.reader.refuse(
            ("code", index, "id"),
            f'there is no code "{line.id}"',
            f"a code of {self.family.id}",
            did_you_mean(line.id, self.family.codes, "code"),
        )
        return False


def _done(reader: FileReader, family: Family, parts: _Parts) -> list[DoneEntry]:
    """Repairs with their places between the readings; the order of the file is that of time."""
    places = {line.id: index + 1 for index, line in parts.readings}
    places[START] = 0
    done: list[DoneEntry] = []
    for index, line in parts.done:
        if line.repair not in family.repairs:
            reader.refuse(
                ("done", index, "repair"),
                f'there is no repair "{line.repair}"',
                f"a repair of {family.id}",
                did_you_mean(line.repair, family.repairs, "repair"),
            )
        after = line.after or (START if not parts.readings else "")
        if after not in places:
            says = f'"{after}" is no reading of this job' if after else "after is missing"
            reader.refuse(
                ("done", index, "after"),
                says,
                'the id of a reading, or "start"',
                did_you_mean(after, places, "reading")
                if after
                else "say after which reading it was done",
            )
            continue
        if done and places[after] < done[-1].place:
            reader.refuse(
                ("done", index, "after"),
                f'"{line.repair}" came after {after}, but the repair above it after '
                f"{done[-1].after}, which is later",
                "repairs in the order of time",
                "put the earlier repair first, or correct `after`",
            )
        done.append(DoneEntry(line.repair, after, places[after]))
    return done
