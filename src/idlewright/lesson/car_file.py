"""A teacher's car: a file that says which vehicle, which hidden faults, and what may go wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath

from idlewright.errors import BadInput
from idlewright.family.amounts import Names, Share, Text
from idlewright.family.checked import Line
from idlewright.family.kinds import Family, Fault, Sheet, SoftEvidence
from idlewright.family.load import in_order
from idlewright.family.names import did_you_mean
from idlewright.family.positions import Path
from idlewright.family.salvage import unmuted
from idlewright.family.shipped import SUFFIXES, known_files
from idlewright.family.textfile import Document, content_sha256, document_of, read_document
from idlewright.job.file_reader import FileReader
from idlewright.practice import LAWS, Luck
from idlewright.practice.slips import KINDS_OF_SLIP

TOP_KEYS = (
    "format", "id", "family", "vehicle", "sheet", "number", "law", "complaint", "state", "hidden",
    "luck",
)  # fmt: skip


class HiddenLine(Line):
    """One fault to hide."""

    fault: Text
    severity: Share | None = None
    shows: Share | None = None


class ComplaintLine(Line):
    """What the driver says and what the computer stored."""

    words: Names = ()
    codes: Names = ()
    says: Text | None = None


class LuckLine(Line):
    """What may go wrong at the car."""

    slip: Share = 0.0
    wipe: Share = 0.0
    induce: Share = 0.0
    kind: Text | None = None


@dataclass(frozen=True, slots=True)
class Hidden:
    """A fault to hide; `severity` and `shows` (chance in one stretch) as drawn where None."""

    fault: str
    severity: float | None
    shows: float | None


@dataclass(frozen=True, slots=True)
class CarFile:
    """A teacher's car.

    Attributes:
        id: its name. source: the family, as load_family takes it. family: the same, loaded.
        vehicle: in free words. sheet: the vehicle's values, or None.
        number: of the car: what is drawn is the same for the same number. law: see LAWS.
        words, codes, says: the complaint. state: at first. hidden: what is wrong. luck: mishaps.
        data: content of the file as read.
    """

    id: str
    source: str
    family: Family
    vehicle: str
    sheet: Sheet | None
    number: int
    law: str
    words: tuple[str, ...]
    codes: tuple[str, ...]
    says: str
    state: Mapping[str, str]
    hidden: tuple[Hidden, ...]
    luck: Luck
    data: Mapping[str, object]

    @property
    def sha256(self) -> str:
        """Of the content."""
        return content_sha256(dict(self.data))


def load_car(source: str | FilePath | Mapping[str, object]) -> CarFile:
    """A teacher's car from its file, or from data already read.

    Raises:
        BadInput: everything that is wrong with it, all at once.
    """
    given = isinstance(source, Mapping)
    document = document_of(source) if isinstance(source, Mapping) else read_document(source)
    reader = FileReader(document, TOP_KEYS)
    family = reader.family()
    if family is None:
        raise BadInput(in_order(reader.problems, document))
    sheet = reader.sheet(family) if "sheet" in document.data else None
    complaint = reader.one("complaint", ComplaintLine)
    luck = reader.one("luck", LuckLine)
    lines = reader.many("hidden", HiddenLine)
    typed, reader.problems = reader.problems, []
    names = _Names(reader, family)
    car = CarFile(
        id=str(document.data.get("id", "")),
        source=_source(str(document.data["family"]), None if given else document.name),
        family=family,
        vehicle=str(document.data.get("vehicle", "practice car")),
        sheet=sheet,
        number=names.number(),
        law=names.law(),
        words=names.known("word", complaint.words, family.words, ("complaint", "words")),
        codes=names.known("code", complaint.codes, family.codes, ("complaint", "codes")),
        says=complaint.says or "",
        state=names.state(),
        hidden=names.hidden(lines),
        luck=Luck(luck.slip, luck.wipe, luck.induce, names.slip_kind(luck.kind)),
        data=dict(document.data),
    )
    problems = [*typed, *unmuted(reader.problems, reader.muted)]
    if problems:
        raise BadInput(in_order(problems, document))
    return car


def _source(name: str, beside: str | None) -> str:
    """The family's name as it is found from anywhere: a file beside the car's by its path."""
    if name in known_files("families") or beside is None or FilePath(name).is_file():
        return name
    files = [FilePath(beside).parent / f"{name}{suffix}" for suffix in ("", *SUFFIXES)]
    return str(next((file for file in files if file.is_file()), name))


class _Names:
    """Looks up what a car file names, and gathers what is not there."""

    def __init__(self, reader: FileReader, family: Family) -> None:
        self.reader = reader
        self.family = family

    @property
    def data(self) -> Document:
        return self.reader.document

    def known(
        self, what: str, names: Sequence[str], known: Mapping[str, SoftEvidence], path: Path
    ) -> tuple[str, ...]:
        for index, name in enumerate(names):
            if name not in known:
                self._unknown((*path, index), what, name, list(known))
        return tuple(name for name in names if name in known)

    def number(self) -> int:
        number = self.data.data.get("number", 1)
        if isinstance(number, bool) or not isinstance(number, int) or number < 0:
            self.reader.refuse(("number",), f"{number!r} is no number of a car",
                               "a whole number from 0 on", "write number = 7")  # fmt: skip
            return 1
        return number

    def law(self) -> str:
        law = self.data.data.get("law", "wide")
        if law not in LAWS:
            self._unknown(("law",), "law", str(law), list(LAWS))
        return str(law)

    def state(self) -> dict[str, str]:
        for name, value in self.reader.table("state").items():
            variable = self.family.states.get(name)
            if variable is None:
                self._unknown(("state", name), "state variable", name, list(self.family.states))
            elif value not in variable.values:
                self._unknown(("state", name), f"value of {name}", str(value), variable.values)
        return {name: str(value) for name, value in self.reader.table("state").items()}

    def slip_kind(self, kind: str | None) -> str:
        if kind is not None and kind not in KINDS_OF_SLIP:
            self._unknown(("luck", "kind"), "kind of slip", kind, KINDS_OF_SLIP)
        return kind or ""

    def hidden(self, lines: Sequence[tuple[int, HiddenLine]]) -> tuple[Hidden, ...]:
        """The faults; impossible ones are refused: unknown, twice, or two of one value."""
        owner: dict[str, tuple[int, Fault]] = {}
        good = []
        for index, line in lines:
            fault = self.family.faults.get(line.fault)
            if fault is None:
                path = ("hidden", index, "fault")
                self._unknown(path, "fault", line.fault, list(self.family.faults))
                continue
            self._severity(index, line, fault)
            self._together(index, fault, owner)
            good.append(Hidden(fault.id, line.severity, line.shows))
        return tuple(good)

    def _severity(self, index: int, line: HiddenLine, fault: Fault) -> None:
        if line.severity is not None and all(span.low == span.high for span in fault.spans):
            self.reader.refuse(
                ("hidden", index, "severity"), f"{fault.id} is there or not: it has no severity",
                "a severity only for a fault with a range", "leave severity out")  # fmt: skip

    def _together(self, index: int, fault: Fault, owner: dict[str, tuple[int, Fault]]) -> None:
        for span in fault.spans:
            at, other = owner.setdefault(span.scalar, (index, fault))
            if at == index:
                continue
            twice = other is fault
            says = f"{fault.id} stands twice" if twice else (
                f"{fault.id} and {other.id} cannot be there together: both change {span.scalar}")
            self.reader.refuse(("hidden", index, "fault"), says, "faults that can be there at once",
                               "leave one of them out")  # fmt: skip
            return

    def _unknown(self, path: Path, what: str, name: str, known: Sequence[str]) -> None:
        expected = f"a {what} of {self.family.id}"
        if len(known) <= 8:
            expected = "one of " + ", ".join(known)
        self.reader.refuse(path, f'there is no {what} "{name}"', expected,
                           did_you_mean(name, known, what))  # fmt: skip
