"""The top of a job file, and its tables as checked lines; what is wrong is gathered on the way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path as FilePath

from pydantic import BaseModel

from idlewright.errors import BadInput, Problem
from idlewright.family.checked import M, check_line, head_problems
from idlewright.family.kinds import Family, Sheet
from idlewright.family.load import at_family, find_family
from idlewright.family.names import did_you_mean
from idlewright.family.positions import Path
from idlewright.family.salvage import Muted
from idlewright.family.sheet import sheet_from, values_from
from idlewright.family.textfile import Document, content_sha256, read_document
from idlewright.job.file_lines import TOP_KEYS


class FileReader:
    """Reads the top of a job file, or of one like it, and gathers what is wrong.

    Args:
        document: the file. keys: what may stand at its top.
    """

    def __init__(self, document: Document, keys: Sequence[str] = TOP_KEYS) -> None:
        self.document = document
        self.problems: list[Problem] = list(head_problems(document))
        self.muted: list[Muted] = []
        for key in document.data:
            if key not in keys:
                self.refuse(
                    (key,),
                    f'unknown key "{key}"',
                    "one of " + ", ".join(keys),
                    did_you_mean(key, keys, "key"),
                )
        vehicle = document.data.get("vehicle", "")
        if not isinstance(vehicle, str):
            self.refuse(
                ("vehicle",),
                f"{vehicle!r} is not a text",
                'vehicle = "blue estate"',
                "write it in quotes",
            )

    def refuse(self, path: Path, says: str, expected: str, remedy: str) -> None:
        """Note a problem."""
        self.problems.append(self.document.problem(path, says, expected, remedy))

    def family(self) -> Family | None:
        """The family that the job names, or None."""
        name = self.document.data.get("family")
        if not isinstance(name, str) or not name.strip():
            self.refuse(
                ("family",),
                "family is missing",
                'family = "plunger-carburettor"',
                "name the kind of system; `idlewright list families` shows them",
            )
            return None
        try:
            return find_family(name, self.document.name)
        except BadInput as error:
            self.problems += [at_family(self.document, problem) for problem in error.problems]
            return None

    def sheet(self, family: Family) -> Sheet:
        """The sheet, inline or from its file; an empty one when the job has none."""
        given = self.document.data.get("sheet")
        empty = Sheet("", content_sha256({}), {})
        if given is None:
            return empty
        if isinstance(given, dict):
            name = str(self.document.data.get("id", ""))
            sheet, problems = values_from(self.document, ("sheet",), family, name)
        elif isinstance(given, str):
            file = FilePath(given)
            if not file.is_absolute() and self.document.syntax:
                file = FilePath(self.document.name).parent / file
            try:
                sheet, problems = sheet_from(read_document(file), family)
            except BadInput as error:
                sheet, problems = empty, self._unreadable(given, error)
        else:
            self.refuse(
                ("sheet",),
                "sheet is neither values nor a file name",
                '{ closed_v = ["0.47 V", "0.57 V", "p. 31"] } or "sheet.toml"',
                "give one of the two",
            )
            return empty
        self.problems += problems
        return sheet

    def _unreadable(self, given: str, error: BadInput) -> list[Problem]:
        """A sheet file that cannot be read: said at the job's line, and where it breaks off."""
        return [
            problem
            if problem.line is not None
            else self.document.problem(
                ("sheet",), f'"{given}": {problem.says}', problem.expected, problem.remedy
            )
            for problem in error.problems
        ]

    def table(self, key: str) -> Mapping[str, object]:
        """A table of the file; empty when missing or no table."""
        raw = self.document.data.get(key, {})
        if isinstance(raw, dict):
            return raw
        self.refuse((key,), f"{key} is not a table", f"[{key}]", "write it as a section")
        return {}

    def one(self, key: str, model: type[M]) -> M:
        """A table as its model; an empty one when it is wrong."""
        found = check_line(self.document, model, self.table(key), (key,), self.problems, self.muted)
        return found if found is not None else model()

    def many(self, key: str, model: type[M]) -> list[tuple[int, M]]:
        """The good entries of a list of tables, with their places in it."""
        found: list[tuple[int, M]] = []
        for index, item in self.tables(key):
            line = check_line(self.document, model, item, (key, index), self.problems, self.muted)
            if line is not None:
                found.append((index, line))
        return found

    def tables(self, key: str) -> list[tuple[int, Mapping[str, object]]]:
        """A list of tables, with their places; what is no table is refused."""
        raw = self.document.data.get(key, [])
        if not isinstance(raw, list):
            self.refuse((key,), f"{key} is not a list", f"[[{key}]]", "use double brackets")
            return []
        found: list[tuple[int, Mapping[str, object]]] = []
        for index, item in enumerate(raw):
            if isinstance(item, dict):
                found.append((index, item))
            else:
                self.refuse(
                    (key, index),
                    f"{item!r} is not a table",
                    f"[[{key}]] and its lines",
                    "write key = value lines",
                )
        return found

    def once(self, key: str, entries: Iterable[tuple[int, BaseModel]]) -> None:
        """Refuse an id that stands twice."""
        seen: dict[str, int] = {}
        for index, entry in entries:
            name = str(getattr(entry, "id", ""))
            if name in seen:
                line = self.document.line((key, seen[name], "id"))
                first = f" (first on line {line})" if line else ""
                self.refuse(
                    (key, index, "id"),
                    f'{key} "{name}" stands twice{first}',
                    "every id once",
                    "rename or remove one of the two",
                )
            seen.setdefault(name, index)
