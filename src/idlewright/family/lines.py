"""A family or part file, line by line: every line checked by its model, good ones kept.

A refused line does not stop the others from being checked; its id is remembered, so that what
refers to it is not reported a second time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from idlewright.errors import Problem
from idlewright.family.checked import Line, M, check_line, head_problems
from idlewright.family.names import did_you_mean, is_id
from idlewright.family.positions import Path
from idlewright.family.salvage import Muted
from idlewright.family.schema import (
    AIR_METERING,
    ELEMENTS,
    SECTIONS,
    TEXT_SECTIONS,
    TOP_KEYS,
    ControlLine,
    Port,
    ScalarLine,
)
from idlewright.family.textfile import Document


@dataclass(slots=True)
class Lines:
    """The good lines of a file, by section and id, in file order.

    Attributes:
        broken: ids of lines that could not be used at all. problems: what was refused.
        muted: lines that were salvaged.
        has: sections that stand in the file. lost: sections of which a line could not be used.
    """

    document: Document
    id: str = ""
    say: str = ""
    air_metering: str = ""
    zero: str | None = None
    control: ControlLine | None = None
    port: Port | None = None
    sections: dict[str, dict[str, Line]] = field(default_factory=dict)
    texts: dict[str, dict[str, str]] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)
    problems: list[Problem] = field(default_factory=list)
    muted: list[Muted] = field(default_factory=list)
    has: set[str] = field(default_factory=set)
    lost: set[str] = field(default_factory=set)

    def section(self, name: str) -> dict[str, Line]:
        """Good lines of a section."""
        return self.sections.get(name, {})


def read_lines(document: Document) -> Lines:
    """Check every line of a family or part file."""
    lines = Lines(document)
    read_top(document, lines)
    for name, content in document.data.items():
        if name in SECTIONS:
            lines.has.add(name)
            _read_section(lines, name, content)
    if not {"port", "check", "use"} & set(document.data):
        lines.problems.append(
            document.problem((), "neither [check] nor [port]", "a family has checks, a part a port",
                             "add the section, or check that this is the right file")
        )
    return lines


def read_top(document: Document, lines: Lines) -> None:
    """Check what stands above the sections."""
    allowed = (*TOP_KEYS, *SECTIONS)
    for key in document.data:
        if key not in allowed:
            lines.problems.append(
                document.problem((key,), f'unknown key "{key}"', "a section or top key of a family",
                                 did_you_mean(key, allowed, "key"))
            )
    lines.problems += head_problems(document)
    for key in ("id", "say"):
        value = document.data.get(key)
        if isinstance(value, str):
            setattr(lines, key, value)
        elif key == "say" and value is not None:
            lines.problems.append(
                document.problem((key,), "say is not a text", "a text", "put it in quotes")
            )
    air = document.data.get("air_metering", "")
    if air in AIR_METERING:
        lines.air_metering = str(air)
    elif air != "":
        lines.problems.append(
            document.problem(("air_metering",), f'unknown air metering "{air}"',
                             "one of " + ", ".join(AIR_METERING),
                             did_you_mean(str(air), AIR_METERING))
        )
    elif "engine" in document.data and "port" not in document.data:
        lines.problems.append(
            document.problem(("engine",), "air_metering is missing",
                             'air_metering = "carburettor", "speed-density" or "airflow-meter"',
                             "add it above the sections: a leak acts differently on each")
        )


def _read_section(lines: Lines, name: str, content: object) -> None:
    document = lines.document
    if not isinstance(content, dict):
        lines.problems.append(
            document.problem((name,), f"[{name}] is not a section", f"[{name}] and lines below it",
                             "write id = { … } lines")
        )
        return
    if name == "port":
        lines.port = _checked(lines, Port, content, ("port",)) or Port()
        return
    for line_id, raw in content.items():
        path: Path = (name, line_id)
        if name == "circuit" and line_id == "zero":
            _read_zero(lines, raw)
        elif name == "engine" and line_id == "control":
            lines.control = _line(lines, ControlLine, raw, path)
        elif not is_id(line_id):
            lines.broken.add(line_id)
            lines.problems.append(
                document.problem(path, f'"{line_id}" is no id',
                                 "lower case words joined by . and _", "rename it")
            )
        elif name in TEXT_SECTIONS:
            _read_text(lines, name, line_id, raw)
        else:
            model = _model(lines, name, raw, path)
            checked = _line(lines, model, raw, path) if model else None
            if checked is None:
                lines.broken.add(f"engine.{line_id}" if name == "engine" else line_id)
                lines.lost.add(name)
            else:
                lines.sections.setdefault(name, {})[line_id] = checked


def _read_zero(lines: Lines, raw: object) -> None:
    if isinstance(raw, str) and raw.strip():
        lines.zero = raw
        return
    lines.problems.append(
        lines.document.problem(("circuit", "zero"), "zero is no node name", 'zero = "chassis"',
                               "name the node that everything is measured against")
    )


def _read_text(lines: Lines, name: str, line_id: str, raw: object) -> None:
    if isinstance(raw, str) and raw.strip():
        lines.texts.setdefault(name, {})[line_id] = raw
        return
    lines.broken.add(line_id)
    lines.problems.append(
        lines.document.problem((name, line_id), f"{line_id} is not a text", 'id = "a sentence"',
                               "write the text in quotes")
    )


def _model(lines: Lines, name: str, raw: object, path: Path) -> type[Line] | None:
    if name == "engine":
        return ScalarLine
    if name != "circuit":
        return SECTIONS[name]
    kinds = [kind for kind in ELEMENTS if isinstance(raw, dict) and kind in raw]
    if len(kinds) == 1:
        return ELEMENTS[kinds[0]]
    says = f"both {kinds[0]} and {kinds[1]} stand in one line" if kinds else "no kind of element"
    near = did_you_mean(next(iter(raw), ""), ELEMENTS) if isinstance(raw, dict) else ""
    lines.problems.append(
        lines.document.problem(path, says, "exactly one of " + ", ".join(ELEMENTS),
                               "make two lines of it" if kinds else near or "write id = { … }")
    )
    return None


def _line(lines: Lines, model: type[M], raw: object, path: Path) -> M | None:
    if not isinstance(raw, dict):
        lines.problems.append(
            lines.document.problem(path, f"{path[-1]} is not a table", "id = { key = value, … }",
                                   "write the line in braces")
        )
        return None
    return _checked(lines, model, raw, path)


def _checked(
    lines: Lines, model: type[M], raw: Mapping[str, object], path: Path
) -> M | None:
    return check_line(lines.document, model, raw, path, lines.problems, lines.muted)
