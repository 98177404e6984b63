"""A family by its id or its file."""

from __future__ import annotations

from pathlib import Path as FilePath

from idlewright.errors import BadInput, Problem
from idlewright.family.finish import family_of, finish
from idlewright.family.kinds import Family
from idlewright.family.names import did_you_mean
from idlewright.family.parts import assemble, known_files
from idlewright.family.references import check_references
from idlewright.family.textfile import Document, read_document


def load_family(id_or_path: str | FilePath) -> Family:
    """The family shipped under an id, or in a file of the user's.

    Parts that it uses are looked for beside the file, then among the shipped ones.

    Raises:
        BadInput: everything that is wrong with the file and its parts, all at once.
    """
    return family_from(family_document(id_or_path))


def family_document(id_or_path: str | FilePath) -> Document:
    """The document of a family given by id or file name.

    Raises:
        BadInput: there is no such family, or the file cannot be read.
    """
    name = str(id_or_path)
    shipped = known_files("families")
    if isinstance(id_or_path, str) and name in shipped:
        return read_document(shipped[name])
    looks_like_file = any(mark in name for mark in "/\\.") or FilePath(name).exists()
    if not looks_like_file:
        raise BadInput(
            Problem(
                says=f'there is no family "{name}"',
                expected="a shipped family's id, or a file name",
                remedy=did_you_mean(name, shipped, "family"),
                key="family",
            )
        )
    return read_document(name)


def family_from(document: Document) -> Family:
    """The family in a document that is already read.

    Raises:
        BadInput: everything that is wrong with it, all at once.
    """
    lines, draft = assemble(document)
    finish(draft)
    problems = [*draft.problems, *check_references(draft)]
    if lines.port is not None:
        problems.insert(0, document.problem(("port",), "this is a part, not a family",
                                            "a family: checks and no [port]",
                                            "name the family that uses it"))
    if problems:
        raise BadInput(in_order(problems, document))
    return family_of(lines, draft)


def in_order(problems: list[Problem], document: Document) -> list[Problem]:
    """Each problem once: those of the file itself first, then by file and line."""
    return sorted(
        dict.fromkeys(problems),
        key=lambda p: (p.file != document.name, p.file, p.line or 0),
    )
