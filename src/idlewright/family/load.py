"""A family by its id or its file."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path as FilePath

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family
from idlewright.family.names import did_you_mean
from idlewright.family.shipped import DATA, SUFFIXES, known_files
from idlewright.family.textfile import Document, read_document
from idlewright.kept import keep, key_of, load


def load_family(id_or_path: str | FilePath) -> Family:
    """The family shipped under an id, or in a file of the user's.

    Parts that it uses are looked for beside the file, then among the shipped ones.

    Raises:
        BadInput: everything that is wrong with the file and its parts, all at once.
    """
    return find_family(id_or_path, None)


def find_family(id_or_path: str | FilePath, beside: str | FilePath | None) -> Family:
    """As `load_family`; an id may also name a file next to `beside`.

    Raises:
        BadInput: there is no such family, or it is wrong.
    """
    name = str(id_or_path)
    shipped = known_files("families")
    if isinstance(id_or_path, str) and name in shipped:
        return _shipped(shipped[name])
    if any(mark in name for mark in "/\\.") or FilePath(name).is_file():
        return family_from(read_document(name))
    folder = FilePath(beside).parent if beside is not None else FilePath()
    for suffix in SUFFIXES:
        file = folder / f"{name}{suffix}"
        if name and file.is_file():
            return family_from(read_document(file))
    raise BadInput(
        Problem(
            says=f'there is no family "{name}"',
            expected="a shipped family's id, or a file name",
            remedy=did_you_mean(name, shipped, "family"),
            key="family",
        )
    )


@lru_cache(maxsize=8)
def _shipped(file: FilePath) -> Family:
    """A shipped family, expanded; kept between runs by the content of all shipped files."""
    files = sorted(path for path in DATA.rglob("*") if path.suffix in SUFFIXES)
    content = [f"{path.stem} {hashlib.sha256(path.read_bytes()).hexdigest()}" for path in files]
    key = key_of("family", str(file), *content)
    found = load(key)
    if isinstance(found, Family):
        return found
    family = family_from(read_document(file))
    keep(key, family)
    return family


def family_from(document: Document) -> Family:
    """The family in a document that is already read.

    Raises:
        BadInput: everything that is wrong with it, all at once.
    """
    family, problems = family_and_problems(document)
    if family is None:
        raise BadInput(problems)
    return family


def family_and_problems(document: Document) -> tuple[Family | None, list[Problem]]:
    """The family in a document, or None and what is wrong with it."""
    # Imported here: slow, and not needed where the expanded family is kept.
    from idlewright.family.finish import family_of, finish
    from idlewright.family.parts import assemble
    from idlewright.family.references import check_references

    lines, draft = assemble(document)
    finish(draft)
    problems = [*draft.problems, *check_references(draft)]
    if lines.port is not None:
        problems.append(
            document.problem(("port",), "this is a part, not a family",
                             "a family: checks and no [port]", "name the family that uses it")
        )
    if problems:
        return None, in_order(problems, document)
    return family_of(lines, draft), []


def in_order(problems: list[Problem], document: Document) -> list[Problem]:
    """Each problem once: those of the file itself first, then by file and line."""
    return sorted(
        dict.fromkeys(problems),
        key=lambda problem: (problem.file != document.name, problem.file, problem.line or 0),
    )


def at_family(document: Document, problem: Problem) -> Problem:
    """A problem of a named family that has no file of its own, at the line that names it."""
    if problem.file:
        return problem
    return document.problem(("family",), problem.says, problem.expected, problem.remedy)
