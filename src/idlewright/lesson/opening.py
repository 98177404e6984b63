"""Which car is practised on, as plain data: the same data opens the very same car again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from idlewright.family.load import load_family
from idlewright.job.prepared import prepare
from idlewright.lesson.car_file import CarFile, load_car
from idlewright.practice import Complaint, PracticeCar, kind_named, open_car
from idlewright.study.book import Vehicle, usual_sheet

LAW = "wide"
"""Parts scatter more than the tool believes, so that nobody can lean on the book."""


@dataclass(frozen=True)
class Opening:
    """What a lesson begins with.

    Attributes:
        family: as load_family takes it. number: of the car. kind: a name of KINDS, or "".
        car: content of a teacher's car file instead, or None.
    """

    family: str
    number: int
    kind: str = ""
    car: Mapping[str, Any] | None = None

    @classmethod
    def of(cls, family: str, number: int, kind: str = "") -> Opening:
        """The opening of a car of a family (an id or a file), by its number and kind."""
        return cls(_from_anywhere(family), number, kind)

    @classmethod
    def of_file(cls, path: Path) -> Opening:
        """The opening of a teacher's car file; files that it names are found from anywhere later.

        Raises:
            BadInput: everything that is wrong with the file.
        """
        car = load_car(path)
        source = _from_anywhere(car.source)
        data: dict[str, Any] = {**car.data, "family": source}
        if isinstance(sheet := data.get("sheet"), str):
            data["sheet"] = str((path.parent / sheet).resolve())
        return cls(source, car.number, "", data)

    def as_data(self) -> dict[str, Any]:
        """As kept in a session's file."""
        return {"family": self.family, "number": self.number, "kind": self.kind, "car": self.car}

    @cached_property
    def _file(self) -> CarFile | None:
        return None if self.car is None else load_car(self.car)

    @cached_property
    def vehicle(self) -> Vehicle:
        """Family and sheet, compiled. A car without a sheet has an invented book of usual values.

        Raises:
            BadInput: there is no such family or kind, or the car file is wrong.
        """
        if self.kind:
            kind_named(self.kind)
        family = load_family(self.family)
        given = self._file.sheet if self._file is not None else None
        sheet = given or usual_sheet(family)
        return Vehicle(self.family, sheet, prepare(family, sheet))

    @property
    def name(self) -> str:
        """What the car is called."""
        if self._file is not None:
            return self._file.id
        parts = (self.vehicle.family.id, self.kind, str(self.number))
        return "-".join(part for part in parts if part)

    @property
    def says(self) -> str:
        """The customer's own sentence, "" without one."""
        return "" if self._file is None else self._file.says

    def open(self) -> PracticeCar:
        """The car, untouched: always the same one."""
        if self._file is not None:
            return _of_file(self._file, self.vehicle)
        return open_car(
            self.family, self.number, LAW, self.vehicle.sheet, kind=self.kind,
            unlisted=0.0 if self.kind else 0.05, model=self.vehicle.prepared.model,
        )  # fmt: skip


def _from_anywhere(family: str) -> str:
    file = Path(family)
    return str(file.resolve()) if file.is_file() else family


def _of_file(file: CarFile, vehicle: Vehicle) -> PracticeCar:
    complaint = None
    if file.words or file.codes:
        complaint = Complaint(file.words, file.codes)
    car = open_car(
        vehicle.family, file.number, file.law, vehicle.sheet,
        [hidden.fault for hidden in file.hidden], complaint=complaint, nothing=1.0, luck=file.luck,
        state=file.state, model=vehicle.prepared.model,
    )  # fmt: skip
    for hidden, given in zip(car.hidden.faults, file.hidden, strict=True):
        if given.severity is not None:
            hidden.severity = given.severity
        if given.shows is not None:
            hidden.liability = given.shows
    return car
