"""Hundreds of spoilt files: each must be told by file, line, key and remedy, no traceback."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from contracts.mistake_rules import FILES, FOLDER, SEED, Mistake, combined, mistakes
from idlewright.errors import BadInput, Problem
from idlewright.family import vet_file
from idlewright.job.file import load_job

MISTAKES = mistakes()


def found_in(path: Path) -> list[Problem]:
    """Everything that is wrong with a file of any kind."""
    if path.name != "job.toml":
        return vet_file(path)
    try:
        load_job(path)
    except BadInput as error:
        return list(error.problems)
    return []


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder of its own with all good files in it."""
    for file in FILES:
        shutil.copy(FOLDER / file, tmp_path)
    return tmp_path


def test_good_files_have_no_problem() -> None:
    """Before anything is spoilt, every file is sound."""
    assert {file: found_in(FOLDER / file) for file in FILES} == {file: [] for file in FILES}


def test_there_are_enough_mistakes() -> None:
    """At least 200 seeded mistakes, none of them the same text twice."""
    assert len({(mistake.file, mistake.text) for mistake in MISTAKES}) >= 200


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_mistake_is_told_where_it_is(mistake: Mistake, folder: Path) -> None:
    """The problem names the file, the line and the key, and says what to do."""
    path = folder / mistake.file
    path.write_text(mistake.text, encoding="utf-8")
    problems = found_in(path)
    if mistake.file == "pot3.toml":  # what a part leaves open is seen in the family that uses it
        problems += vet_file(folder / "small-engine.toml")
    assert problems, "nothing was found"
    assert any(_fits(problem, mistake, path) for problem in problems), _shown(problems, mistake)
    assert all(problem.remedy and problem.says for problem in problems), _shown(problems, mistake)


@pytest.mark.parametrize("seed", range(SEED, SEED + 20))
@pytest.mark.parametrize("file", ["small-engine.toml", "estate.toml", "job.toml"])
def test_several_mistakes_are_told_in_one_pass(file: str, seed: int, folder: Path) -> None:
    """Up to six mistakes on different lines of one file are all reported at once."""
    text, expected = combined(file, random.Random(seed), 6)
    path = folder / file
    path.write_text(text, encoding="utf-8")
    problems = found_in(path)
    for mistake in expected:
        assert any(_fits(p, mistake, path) for p in problems), _shown(problems, mistake)


def _fits(problem: Problem, mistake: Mistake, path: Path) -> bool:
    whole = mistake.key
    return (
        problem.file == str(path)
        and problem.line == mistake.line
        and (problem.key == whole or problem.key.startswith(f"{whole}."))
        and mistake.says in problem.says
    )


def _shown(problems: list[Problem], mistake: Mistake) -> str:
    found = "\n".join(problem.one_line() for problem in problems)
    return f"wanted line {mistake.line}, key {mistake.key}, says {mistake.says!r}; found\n{found}"
