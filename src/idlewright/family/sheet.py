"""One vehicle's values from its manual: text with units, checked against the family's entries."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path as FilePath

from idlewright.errors import BadInput, Problem
from idlewright.family.checked import head_problems
from idlewright.family.kinds import Family, Sheet, SheetEntry, SheetValue
from idlewright.family.names import did_you_mean
from idlewright.family.positions import Path
from idlewright.family.textfile import Document, content_sha256, document_of, read_document
from idlewright.quantities import Unit, find_unit, parse_quantity

TOP_KEYS = ("format", "id", "family", "vehicle", "value")
NONE = "none"


def load_sheet(source: str | FilePath | Mapping[str, object], family: Family) -> Sheet:
    """A sheet from its file, or from values already read.

    Args:
        source: file name, the content of a sheet file, or only its values
            (`{"closed_v": ["0.47 V", "0.57 V", "p. 31"]}`).
        family: the family whose entries it fills.

    Raises:
        BadInput: everything that is wrong with it, all at once.
    """
    if isinstance(source, Mapping):
        document = document_of(source)
        whole = isinstance(source.get("value"), Mapping) or "format" in source
    else:
        document, whole = read_document(source), True
    sheet, problems = sheet_from(document, family) if whole else values_from(document, (), family)
    if problems:
        raise BadInput(problems)
    return sheet


def sheet_from(document: Document, family: Family) -> tuple[Sheet, list[Problem]]:
    """The sheet in a whole sheet document, with what is wrong in it."""
    problems = list(head_problems(document))
    for key in document.data:
        if key not in TOP_KEYS:
            problems.append(
                document.problem((key,), f'unknown key "{key}"', "one of " + ", ".join(TOP_KEYS),
                                 did_you_mean(key, TOP_KEYS, "key"))
            )
    named = document.data.get("family")
    if named != family.id:
        problems.append(
            document.problem(("family",), f"this sheet is for {named!r}" if named else
                             "family is missing", f'family = "{family.id}"',
                             "use this family's sheet, or correct the name")
        )
    sheet, more = values_from(document, ("value",), family, str(document.data.get("id", "")))
    return sheet, problems + more


def values_from(
    document: Document, path: Path, family: Family, sheet_id: str = ""
) -> tuple[Sheet, list[Problem]]:
    """The values below `path` of a document, with what is wrong in them."""
    table: object = document.data
    for part in path:
        table = table.get(part) if isinstance(table, dict) else None
    if not isinstance(table, dict):
        problem = document.problem(path, "there are no values", "key = [low, high, page] lines",
                                   "add them under [value]")
        return Sheet(sheet_id, content_sha256({}), {}), [problem]
    values: dict[str, SheetValue] = {}
    reader = _Reader(document, [])
    for key, raw in table.items():
        entry = family.sheet.get(key)
        if entry is None:
            reader.refuse((*path, key), f'{family.id} has no sheet entry "{key}"',
                          "an entry of the family's [sheet]",
                          did_you_mean(key, family.sheet, "entry"))
            continue
        value = reader.value(entry, raw, (*path, key))
        if value is not None:
            values[key] = value
    return Sheet(sheet_id, content_sha256(table), values), reader.problems


class _Reader:
    """Reads one value after another and gathers what is wrong."""

    def __init__(self, document: Document, problems: list[Problem]) -> None:
        self.document = document
        self.problems = problems

    def refuse(self, path: Path, says: str, expected: str, remedy: str) -> None:
        self.problems.append(self.document.problem(path, says, expected, remedy))

    def value(self, entry: SheetEntry, raw: object, path: Path) -> SheetValue | None:
        """One value, or the first of several alternatives with the others as conflicts."""
        if not isinstance(raw, list) or not raw:
            self.refuse(path, f"{entry.key} is not a list", _form(entry), "write it in brackets")
            return None
        if not isinstance(raw[0], list):
            return self._one(entry, raw, path)
        found = [self._one(entry, item, (*path, index)) for index, item in enumerate(raw)]
        good = [value for value in found if value is not None]
        if len(good) < len(found):
            return None
        first = good[0]
        others = tuple(
            _shown(entry, other)
            for other in good[1:]
            if (other.low, other.high, other.word) != (first.low, first.high, first.word)
        )
        return SheetValue(first.low, first.high, first.word, first.page, others)

    def _one(self, entry: SheetEntry, raw: object, path: Path) -> SheetValue | None:
        count = 2 if entry.words else 3
        if not isinstance(raw, list) or len(raw) != count:
            self.refuse(path, f"{entry.key} does not have {count} parts", _form(entry),
                        "give every part, with the page it stands on")
            return None
        for item in raw:
            if not isinstance(item, str) or not item.strip():
                says = "an empty text" if isinstance(item, str) else f"{item!r} is not a text"
                self.refuse(path, f"{entry.key}: {says}", _form(entry),
                            "write each part in quotes, numbers with their unit")
                return None
        if entry.words:
            return self._word(entry, str(raw[0]), str(raw[1]), path)
        return self._limits(entry, [str(item) for item in raw], path)

    def _word(self, entry: SheetEntry, word: str, page: str, path: Path) -> SheetValue | None:
        if word not in entry.words:
            self.refuse(path, f'"{word}" is not a word of {entry.key}',
                        "one of " + ", ".join(entry.words),
                        did_you_mean(word, entry.words, "word"))
            return None
        return SheetValue(None, None, word, page)

    def _limits(self, entry: SheetEntry, parts: list[str], path: Path) -> SheetValue | None:
        low, high, page = parts
        before = len(self.problems)
        ends = [self._number(entry, text, path) for text in (low, high)]
        if len(self.problems) > before:
            return None
        if ends[0] is None and ends[1] is None:
            self.refuse(path, f"{entry.key} has neither a low nor a high limit", _form(entry),
                        "give one of them, or leave the entry out")
            return None
        if ends[0] is not None and ends[1] is not None and ends[0] > ends[1]:
            self.refuse(path, f"the limits are reversed: {low} is above {high}", _form(entry),
                        "swap the two")
            return None
        return SheetValue(ends[0], ends[1], None, page)

    def _number(self, entry: SheetEntry, text: str, path: Path) -> float | None:
        """A limit in the entry's unit; None for "none"."""
        if text.strip().casefold() == NONE:
            return None
        unit = _unit(entry)
        try:
            quantity = parse_quantity(
                text, dimension=unit.dimension, where=lambda: self.document.where(path)
            )
        except BadInput as error:
            self.problems += [with_remedy(p, _form(entry)) for p in error.problems]
            return None
        return quantity.in_unit(unit.name)


def with_remedy(problem: Problem, form: str) -> Problem:
    """The problem with a remedy, where the reader of typed numbers had none."""
    if problem.remedy:
        return problem
    return Problem(problem.says, problem.expected, f"write it as {form}", problem.file,
                   problem.line, problem.key)


def _unit(entry: SheetEntry) -> Unit:
    unit = find_unit(entry.unit)
    if unit is None:
        raise BadInput(f"sheet entry {entry.key} has no unit that is known: {entry.unit!r}")
    return unit


def _form(entry: SheetEntry) -> str:
    if entry.words:
        return f'{entry.key} = ["{entry.words[0]}", "p. 33"]'
    return f'{entry.key} = ["low {entry.unit}", "high {entry.unit}", "p. 12"]'


def _shown(entry: SheetEntry, value: SheetValue) -> str:
    if value.word is not None:
        return f"{value.word} ({value.page})"
    ends = [NONE if end is None else f"{end:g} {entry.unit}" for end in (value.low, value.high)]
    return f"{ends[0]} to {ends[1]} ({value.page})"
