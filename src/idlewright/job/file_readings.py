"""One reading of a job file: what was read, where, in which state, and what its text means."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Check, Family
from idlewright.family.names import closest, did_you_mean
from idlewright.family.positions import Path
from idlewright.family.textfile import Document
from idlewright.job.entries import ReadingEntry
from idlewright.job.file_lines import ReadingLine
from idlewright.physics.meter import Meter
from idlewright.quantities import (
    UNIT_OF_READ,
    UNITS,
    Overload,
    Quantity,
    convert,
    find_unit,
    parse_display,
    split_word_number,
)


@dataclass(frozen=True, slots=True)
class Understood:
    """What a typed value means: a number, a word, both, or an overload."""

    number: float | None = None
    unit: str | None = None
    step: float | None = None
    word: str | None = None
    overload: bool = False
    overload_unit: str = ""


class ReadingReader:
    """Turns reading lines into entries and gathers what is wrong with them."""

    def __init__(
        self,
        document: Document,
        family: Family,
        meters: Mapping[str, Meter],
        problems: list[Problem],
    ) -> None:
        self.document = document
        self.family = family
        self.meters = meters
        self.problems = problems

    def entry(
        self, index: int, line: ReadingLine, now: Mapping[str, str], epoch: int
    ) -> ReadingEntry | None:
        """The reading, or None when too little of it can be used."""
        base: Path = ("reading", index)
        check = self._check(base, line)
        function = check.read if check else line.function
        if function is None or (line.check is not None and check is None):
            self._state(base, line, check)
            self._meter(base, line, "word")
            return None
        places = (check.red, check.black) if check else (line.red, line.black)
        state = self._state(base, line, check)
        self._meter(base, line, function)
        understood = self._value(base, line, check, function)
        return ReadingEntry(
            id=line.id,
            check=line.check,
            function=function,
            red=places[0],
            black=places[1],
            says_state=line.state,
            state=self._whole_state(check, state, now),
            typed=line.value,
            number=understood.number,
            unit=understood.unit,
            step=understood.step,
            word=understood.word,
            overload=understood.overload,
            overload_unit=understood.overload_unit,
            meter=line.meter,
            struck=line.struck,
            epoch=epoch,
        )

    def _refuse(self, path: Path, says: str, expected: str, remedy: str) -> None:
        self.problems.append(self.document.problem(path, says, expected, remedy))

    def _check(self, base: Path, line: ReadingLine) -> Check | None:
        leads = {"red": line.red, "black": line.black, "function": line.function}
        if line.check is None:
            self._leads(base, line, leads)
            return None
        for key, value in leads.items():
            if value is not None:
                self._refuse(
                    (*base, key),
                    f'{key} stands beside check = "{line.check}"',
                    "a check, or red, black and function",
                    f"remove {key} or check",
                )
        check = self.family.checks.get(line.check)
        if check is None:
            self._refuse(
                (*base, "check"),
                f'there is no check "{line.check}"',
                f"a check of {self.family.id}",
                did_you_mean(line.check, self.family.checks, "check"),
            )
        return check

    def _leads(self, base: Path, line: ReadingLine, leads: Mapping[str, str | None]) -> None:
        missing = [key for key, value in leads.items() if value is None]
        if len(missing) == len(leads):
            self._refuse(
                base,
                "neither a check nor two points",
                "check, or red, black, function",
                "say what was read: `idlewright list checks`",
            )
            return
        for key in missing:
            self._refuse(
                (*base, key),
                f"{key} is missing",
                "red, black and function",
                f"add {key}, or name a check",
            )
        known = [*self.family.points, *self.family.part_points]
        for key in ("red", "black"):
            place = leads[key]
            if place is not None and place not in known:
                self._refuse(
                    (*base, key),
                    f'there is no place "{place}"',
                    "a place that `idlewright list points` names",
                    did_you_mean(place, known, "place"),
                )
        if line.red is not None and line.red == line.black:
            self._refuse(
                (*base, "black"),
                "both leads are on one place",
                "two places",
                "correct one of the two",
            )

    def _state(self, base: Path, line: ReadingLine, check: Check | None) -> dict[str, str]:
        """The state as typed, as far as it is known; contradictions with the check are refused."""
        good: dict[str, str] = {}
        for name, value in line.state.items():
            variable = self.family.states.get(name)
            path = (*base, "state", name)
            if variable is None:
                self._refuse(
                    path,
                    f'there is no state variable "{name}"',
                    f"a state variable of {self.family.id}",
                    did_you_mean(name, self.family.states, "variable"),
                )
            elif value not in variable.values:
                self._refuse(
                    path,
                    f'{name} is never "{value}"',
                    "one of " + ", ".join(variable.values),
                    did_you_mean(value, variable.values, "value"),
                )
            else:
                good[name] = value
        for name, value in (check.state if check else {}).items():
            if check and good.get(name, value) != value:
                self._refuse(
                    (*base, "state", name),
                    f'{name} is "{good[name]}" here, but check {check.id} is made with {name} = '
                    f'"{value}" (family {self.family.id}: check.{check.id}.in.{name})',
                    "the state that the check is made in",
                    "name another check, or give red, black, function and this state",
                )
        return good

    def _whole_state(
        self, check: Check | None, said: Mapping[str, str], now: Mapping[str, str]
    ) -> dict[str, str]:
        """The whole car state: a check's own, or the job's; what nobody says at its first value."""
        if check is None:
            return self.family.full_state({**now, **said})
        free = {name: v for name, v in now.items() if self.family.states[name].free}
        return self.family.full_state({**free, **check.state, **said})

    def _meter(self, base: Path, line: ReadingLine, function: str) -> None:
        if line.meter is None:
            return
        meter = self.meters.get(line.meter)
        if meter is None:
            self._refuse(
                (*base, "meter"),
                f'there is no meter "{line.meter}"',
                "the id of a [[meter]]",
                did_you_mean(line.meter, self.meters, "meter"),
            )
        elif function not in ("word", "mV") and function not in meter.functions:
            self._refuse(
                (*base, "meter"),
                f'meter "{line.meter}" does not read {function}',
                "one of " + ", ".join(meter.functions),
                "name another meter",
            )

    def _value(
        self, base: Path, line: ReadingLine, check: Check | None, function: str
    ) -> Understood:
        """What the typed value means; a struck reading may mean nothing."""
        path = (*base, "value")
        try:
            return self._understood(path, line.value, check, function)
        except BadInput as error:
            if line.struck is None:
                self.problems += error.problems
            return Understood()

    def _understood(self, path: Path, typed: str, check: Check | None, function: str) -> Understood:
        words = [word.id for word in check.words] if check else []
        word = _same_word(typed, words)
        if word is not None:
            return Understood(word=word)
        head, rest = split_word_number(typed)
        if head and (word := _same_word(head, words)) is not None and rest:
            return self._number(path, rest, self._unit(check, function), word)
        unit = self._unit(check, function)
        if head or (unit is None or (words and function == "word")):
            raise BadInput(self._no_word(path, typed, words, unit))
        return self._number(path, typed, unit, None)

    def _unit(self, check: Check | None, function: str) -> str | None:
        """Unit of the number that a reading may give; None when it is answered by word alone."""
        if function != "word":
            return UNIT_OF_READ[function]
        scalar = self.family.scalars.get(check.of or "") if check else None
        found = find_unit(scalar.unit) if scalar and scalar.unit else None
        return found.name if found else None

    def _number(self, path: Path, typed: str, unit: str | None, word: str | None) -> Understood:
        if unit is None:
            raise BadInput(
                self.document.problem(
                    path,
                    f'"{typed}" beside a word that has no number',
                    f'"{word}" alone',
                    "leave the number out",
                )
            )
        found = parse_display(
            typed, dimension=UNITS[unit].dimension, where=lambda: self.document.where(path)
        )
        if isinstance(found, Overload):
            return Understood(word=word, overload=True, overload_unit=found.shown_unit)
        return Understood(found.in_unit(unit), unit, _step(found, unit), word)

    def _no_word(self, path: Path, typed: str, words: Iterable[str], unit: str | None) -> Problem:
        known = list(words)
        if not known:
            return self.document.problem(
                path,
                f'"{typed}" is not a number with a unit',
                f'a number in {unit}, or "OL"',
                f'type what the display showed, for example "1.23 {unit}"',
            )
        near = closest(typed.split(",", 1)[0].strip(), known)
        remedy = f'did you mean "{near}"?' if near else f'answer with a word, such as "{known[0]}"'
        return self.document.problem(
            path, f'"{typed}" is not a word of this check', "one of " + ", ".join(known), remedy
        )


def _same_word(typed: str, words: Iterable[str]) -> str | None:
    """The word that was typed, whatever its capitals and spaces; None when it is none of them."""
    folded = " ".join(typed.split()).casefold()
    return next((word for word in words if word.casefold() == folded), None)


def _step(quantity: Quantity, unit: str) -> float:
    """Size of the last digit in another unit of the same kind."""
    nought = convert(0.0, quantity.unit, unit)
    return abs(convert(quantity.step, quantity.unit, unit) - nought)
