"""Families and parts share: no element, fault, check, repair or sentence stands in two files."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from idlewright.family.shipped import DATA

FILES = sorted(DATA.rglob("*.toml"))
SENTENCE = 25
"""Letters from which on a text is a sentence, not a name."""
BODIES = ("fault", "check", "repair", "step", "state", "also")


def texts(value: object) -> Iterator[str]:
    """Every text in a value."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for item in value.values():
            yield from texts(item)
    elif isinstance(value, list):
        for item in value:
            yield from texts(item)


def lines() -> Iterator[tuple[str, str, str, Any]]:
    """(file, section, id, line) of every line of every family and part."""
    for file in FILES:
        for section, content in tomllib.loads(file.read_text("utf-8")).items():
            if isinstance(content, dict):
                for name, line in content.items():
                    yield file.name, section, name, line


def copies(found: Iterator[tuple[str, str]]) -> dict[str, list[str]]:
    """What stands in more than one file: the thing itself and its places."""
    places: dict[str, list[str]] = {}
    for thing, place in found:
        places.setdefault(thing, []).append(place)
    return {
        thing: at for thing, at in places.items() if len({place.split()[0] for place in at}) > 1
    }


def sentences() -> Iterator[tuple[str, str]]:
    """What a person reads, with its place; a sheet entry's and a plug's name may be said again."""
    for file, section, name, line in lines():
        for key in ("say", "do", "lines", "silent") if isinstance(line, dict) else ():
            for text in texts(line.get(key, [])):
                if len(text) >= SENTENCE or (key == "say" and section != "sheet"):
                    yield text, f"{file} [{section}] {name}"
        if isinstance(line, str) and section != "circuit":
            yield line, f"{file} [{section}] {name}"


def bodies() -> Iterator[tuple[str, str]]:
    """What a line does, without what it is called, with its place."""
    for file, section, name, line in lines():
        if section in BODIES and isinstance(line, dict):
            body = {key: value for key, value in line.items() if key not in ("say", "do")}
            yield json.dumps([section, body], sort_keys=True), f"{file} [{section}] {name}"


def elements() -> Iterator[tuple[str, str]]:
    """Elements of the circuit by kind, nodes and figures."""
    for file, section, name, line in lines():
        if section == "circuit" and isinstance(line, dict):
            yield json.dumps([name, line], sort_keys=True), f"{file} {name}"


def test_there_is_something_to_compare() -> None:
    """Every family and part is looked at."""
    assert len(FILES) >= 13
    assert len(list(sentences())) > 400


@pytest.mark.parametrize("what", [sentences, bodies, elements], ids=lambda what: what.__name__)
def test_nothing_is_written_twice(what: Any) -> None:
    """A thing that two files need is a part that both use."""
    assert copies(what()) == {}


def test_a_copy_would_be_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A part copied under another name is reported line by line."""
    copy = tmp_path / "copied.toml"
    copy.write_text((DATA / "parts" / "plunger_motor.toml").read_text("utf-8"), encoding="utf-8")
    monkeypatch.setitem(globals(), "FILES", [*FILES, copy])
    assert len(copies(sentences())) > 15
    assert len(copies(bodies())) > 10
    assert len(copies(elements())) > 3
