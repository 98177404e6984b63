"""One file of ours as read: its data, and where each key of it stands.

TOML and JSON mean the same. Every way in which a file cannot be read at all is one clear problem.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import NoReturn

from idlewright.errors import BadInput, Problem
from idlewright.family.names import dotted
from idlewright.family.positions import Path, json_lines, nearest_line, toml_lines
from idlewright.quantities import Where

LARGEST_BYTES = 20_000_000
"""Larger files are refused: no file of ours comes near, and a wrong file is named at once."""


@dataclass(slots=True)
class Document:
    """A file's data with the means to find a key's line.

    Attributes:
        name: the file's name as the user gave it ("" for data that never was a file).
        data: its content. syntax: "toml", "json" or "" (no text).
        moved: paths whose value was put there from elsewhere -> that document and path.
    """

    name: str
    data: dict[str, object]
    text: str = ""
    syntax: str = ""
    moved: dict[Path, tuple[Document, Path]] = field(default_factory=dict)
    _lines: dict[Path, int] | None = None

    @property
    def sha256(self) -> str:
        """Hash of the content: the same for TOML and JSON, whatever the spacing and comments."""
        return content_sha256(self.data)

    def line(self, path: Path) -> int | None:
        """1-based line of `path`, or of its closest parent."""
        if not self.syntax:
            return None
        if self._lines is None:
            self._lines = (toml_lines if self.syntax == "toml" else json_lines)(self.text)
        return nearest_line(self._lines, path)

    def problem(self, path: Path, says: str, expected: str = "", remedy: str = "") -> Problem:
        """A problem at `path` of this document."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.moved:
                document, start = self.moved[path[:length]]
                return document.problem((*start, *path[length:]), says, expected, remedy)
        return Problem(
            says=says,
            expected=expected,
            remedy=remedy,
            file=self.name,
            line=self.line(path),
            key=dotted(self.named(path)),
        )

    def where(self, path: Path) -> Where:
        """Where `path` stands."""
        spot = self.problem(path, "")
        return Where(spot.file, spot.line, spot.key)

    def named(self, path: Path) -> list[str | int]:
        """`path` with list positions replaced by the item's own id where it has one."""
        named: list[str | int] = []
        here: object = self.data
        for part in path:
            here = _step(here, part)
            own = here.get("id") if isinstance(part, int) and isinstance(here, dict) else None
            if isinstance(own, str):
                named.append(own)
            else:
                named.append(part + 1 if isinstance(part, int) else part)
        return named


def _step(value: object, part: str | int) -> object:
    if isinstance(value, dict):
        return value.get(part)
    if isinstance(value, list) and isinstance(part, int) and part < len(value):
        return value[part]
    return None


def content_sha256(data: Mapping[str, object]) -> str:
    """SHA-256 of a data tree written as JSON with sorted keys."""
    text = json.dumps(data, sort_keys=True, separators=(",", ":"), default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def read_document(path: str | FilePath) -> Document:
    """The document in a file.

    Raises:
        BadInput: it cannot be read, or is not TOML or JSON text; one problem.
    """
    name = str(path)
    file = FilePath(path)
    try:
        size = file.stat().st_size
        if not file.is_file():
            _refuse(name, "this is not a file", "a TOML or JSON file", "give the file's name")
        if size > LARGEST_BYTES:
            limit = LARGEST_BYTES // 1_000_000
            _refuse(
                name,
                f"the file has {size / 1e6:.1f} MB",
                f"at most {limit} MB",
                "check that this is the right file",
            )
        raw = file.read_bytes()
    except FileNotFoundError:
        _refuse(name, "there is no such file", "a TOML or JSON file", "check the name and folder")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        _refuse(
            name, f"the file cannot be read ({reason})", "a readable file", "check its rights"
        )
    return parse_document(raw, name)


def parse_document(raw: bytes | str, name: str) -> Document:
    """The document in some bytes or text, e.g. from standard input.

    Raises:
        BadInput: not TOML or JSON text; one problem.
    """
    text = raw if isinstance(raw, str) else _decoded(raw, name)
    text = text.removeprefix("\ufeff")
    if not text.strip():
        _refuse(name, "the file is empty", "format = 1, id and the sections of the file",
                "start from `idlewright new`")
    try:
        if text.lstrip().startswith("{"):
            return Document(name, _from_json(text, name), text, "json")
        return Document(name, tomllib.loads(text.replace("\r\n", "\n")), text, "toml")
    except tomllib.TOMLDecodeError as error:
        _refuse_toml(name, text, error)
    except RecursionError:
        _refuse(name, "brackets are nested too deeply", "tables a few levels deep",
                "check that this is the right file")


def document_of(data: Mapping[str, object], name: str = "") -> Document:
    """The document of data that is already read (for example the inside of a JSON request)."""
    return Document(name, dict(data))


def _refuse(name: str, says: str, expected: str, remedy: str) -> NoReturn:
    raise BadInput(Problem(says=says, expected=expected, remedy=remedy, file=name))


def _decoded(raw: bytes, name: str) -> str:
    if b"\x00" in raw:
        _refuse(name, "the file is binary, not text", "a TOML or JSON text file",
                "check that this is the right file")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise BadInput(
            Problem(
                says=f"byte {raw[error.start]:#04x} is not UTF-8 text",
                expected="a text file in UTF-8",
                remedy="save the file again as UTF-8",
                file=name,
                line=raw.count(b"\n", 0, error.start) + 1,
            )
        ) from None


def _from_json(text: str, name: str) -> dict[str, object]:
    doubled: list[str] = []

    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        found: dict[str, object] = {}
        for key, value in pairs:
            if key in found:
                doubled.append(key)
            found[key] = value
        return found

    try:
        data: dict[str, object] = json.loads(text, object_pairs_hook=once)
    except json.JSONDecodeError as error:
        at_end = error.pos >= len(text.rstrip())
        raise BadInput(
            Problem(
                says="the file ends too early" if at_end else f"not JSON: {error.msg.lower()}",
                expected="complete JSON",
                remedy="restore the whole file" if at_end else "correct this line",
                file=name,
                line=error.lineno,
            )
        ) from None
    if doubled:
        lines = [number for number, line in enumerate(text.split("\n"), 1)
                 if f'"{doubled[0]}"' in line]
        raise BadInput(
            Problem(
                says=f'"{doubled[0]}" is given twice',
                expected="every id once",
                remedy="remove or rename one of the two",
                file=name,
                line=lines[-1] if lines else None,
                key=doubled[0],
            )
        )
    return data


_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_KEY = re.compile(r"""\s*((?:"[^"]*"|'[^']*'|[\w.\-]+)+)\s*=""")
_OWN_ID = re.compile(r"""\s*id\s*=\s*["']?([^"'\s]+)""")
_HEADER = re.compile(r"\s*\[\[?\s*([^\]]+?)\s*\]")


def _refuse_toml(name: str, text: str, error: tomllib.TOMLDecodeError) -> NoReturn:
    found = _AT.search(str(error))
    lines = text.split("\n")
    at_end = found is None or found.group(1) is None
    line = _last_line(lines) if at_end or found is None else int(found.group(1))
    says = _AT.sub("", str(error))
    doubled = says.startswith(("Cannot overwrite", "Cannot declare", "Duplicate", "Cannot mutate"))
    if doubled and line > 1 and not lines[line - 1].strip():
        line -= 1
    column = 0 if at_end or found is None else int(found.group(2))
    own = _KEY.match(lines[line - 1])
    if says.startswith("Unclosed") and own and 0 < column <= own.end():
        line = _open_line(lines, line)
    key = _key_on(lines, line)
    if doubled:
        says, expected = f'"{key}" is given twice', "every id once"
        remedy = "remove or rename one of the two"
    elif at_end:
        says, expected = "the file ends too early", "complete TOML"
        remedy = "restore the whole file, or close the last text, list or table"
    else:
        says, expected = f"not TOML: {says[:1].lower()}{says[1:]}", "TOML: key = value"
        remedy = "correct this line (texts in quotes, commas between values)"
    raise BadInput(
        Problem(says=says, expected=expected, remedy=remedy, file=name, line=line, key=key)
    ) from None


def _last_line(lines: list[str]) -> int:
    return max((number for number, line in enumerate(lines, 1) if line.strip()), default=1)


def _open_line(lines: list[str], line: int) -> int:
    """The line that opens a list which the start of a new entry on `line` shows to be unclosed."""
    earlier = (number for number in range(line - 1, 0, -1) if _KEY.match(lines[number - 1]))
    return next(earlier, line)


def _key_on(lines: list[str], line: int) -> str:
    """The dotted key that stands on a line, by its text alone (the file does not parse)."""
    headers = [
        (number, match.group(1))
        for number, text in enumerate(lines[:line])
        if (match := _HEADER.match(text)) and "=" not in text.split("]")[0]
    ]
    header = headers[-1][1] if headers else ""
    if headers and lines[headers[-1][0]].lstrip().startswith("[["):
        start = headers[-1][0]
        block = itertools.takewhile(lambda text: not _HEADER.match(text), lines[start + 1 :])
        own_id = next((match.group(1) for text in block if (match := _OWN_ID.match(text))), "")
        header += f".{own_id or sum(name == header for _, name in headers)}"
    match = _KEY.match(lines[line - 1])
    own = re.sub(r"[\"']", "", match.group(1)) if match else ""
    return ".".join(part for part in (header, own) if part)
