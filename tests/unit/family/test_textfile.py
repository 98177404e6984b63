"""Files that cannot be read at all, and where keys stand in those that can."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from idlewright.errors import BadInput, Problem
from idlewright.family.positions import json_lines, toml_lines
from idlewright.family.shipped import DATA
from idlewright.family.textfile import LARGEST_BYTES, parse_document, read_document


def only_problem(raw: bytes | str) -> Problem:
    """The one problem of a text that cannot be read."""
    with pytest.raises(BadInput) as caught:
        parse_document(raw, "some.toml")
    (problem,) = caught.value.problems
    assert problem.file == "some.toml" and problem.says and problem.remedy
    return problem


@pytest.mark.parametrize(
    ("raw", "line", "says"),
    [
        (b"", None, "empty"),
        (b" \n\t\n", None, "empty"),
        (b"\x89PNG\x00\x01", None, "binary"),
        (b"a = 1\nb = '\xe9'\n", 2, "not UTF-8"),
        ("a = 1\nb = [1,\n", 2, "ends too early"),
        ('a = 1\nb = "x\n', 2, "not TOML"),
        ("a = 1\n[b]\nx = 1\nx = 2\n", 4, "twice"),
        ("[b]\nx = 1\n[b]\n", 3, "twice"),
        ("[[r]]\nid = 'r1'\nv = {a = 1, a = 2}\n", 3, "twice"),
        ("a = [1, 2\nb = 3\n", 1, "nclosed"),
        ("a = nope\n", 1, "not TOML"),
        ("a = " + "[" * 5000, None, "nested too deeply"),
        ('{"a": [1,', 1, "ends too early"),
        ('{"a": 1,\n "a": 2}', 2, "twice"),
        ('{"a": 1,\n "b" 2}', 2, "not JSON"),
        ('{"a": ' + "[" * 5000, None, "nested too deeply"),
    ],
)
def test_unreadable_text_is_one_problem(raw: bytes | str, line: int | None, says: str) -> None:
    """One problem, with the line where one can be named."""
    problem = only_problem(raw)
    assert problem.line == line
    assert says in problem.says


def test_missing_folder_and_large_file(tmp_path: Path) -> None:
    """No file, a folder and a file beyond the limit are refused in plain words."""
    large = tmp_path / "large.toml"
    with large.open("wb") as file:
        file.truncate(LARGEST_BYTES + 1)
    refused = ((tmp_path / "none", "no such file"), (tmp_path, "not a file"), (large, "MB"))
    for path, says in refused:
        with pytest.raises(BadInput, match=says):
            read_document(path)
    with pytest.raises(BadInput, match="at most 20 MB"):
        read_document(large)


def test_mark_and_line_ends_of_other_systems_do_not_matter() -> None:
    """A byte order mark and CR LF are read as if they were not there."""
    plain = parse_document("a = 1\n[b]\nc = 'x'\n", "f")
    other = parse_document("\ufeffa = 1\r\n[b]\r\nc = 'x'\r\n".encode(), "f")
    assert plain.data == other.data and plain.sha256 == other.sha256


def test_key_of_a_list_item_is_its_id() -> None:
    """A problem in [[reading]] names the reading, not its number."""
    document = parse_document('[[reading]]\nid = "r1"\n[[reading]]\nvalue = 3\n', "f")
    assert document.problem(("reading", 0, "value"), "x").key == "reading.r1.value"
    problem = document.problem(("reading", 1, "value"), "x")
    assert (problem.key, problem.line) == ("reading.2.value", 4)


@pytest.mark.parametrize("file", sorted(DATA.rglob("*.toml")), ids=lambda file: file.stem)
def test_lines_of_shipped_files(file: Path) -> None:
    """Every entity of every shipped file is found on the line that begins with its id.

    Second road: a scan of the text for `id = {` under its header.
    """
    text = file.read_text(encoding="utf-8")
    lines = toml_lines(text)
    wanted: dict[tuple[str, ...], int] = {}
    section = ""
    for number, line in enumerate(text.split("\n"), 1):
        if line.startswith("["):
            section = line.split("]")[0].strip("[")
        elif " = " in line and not line.startswith("#"):
            own = line.split(" = ")[0].strip().strip('"')
            wanted[(section, own) if section else (own,)] = number
    assert wanted
    assert {path: lines.get(path) for path in wanted} == wanted


def test_json_lines_agree_with_a_plain_print() -> None:
    """In JSON printed one key a line, every key's line is that of its text."""
    data = {"a": {"b c": [1, {"d": "x\ny"}], "e": []}, "f": [[1], [2, 3]]}
    text = json.dumps(data, indent=1)
    lines = json_lines(text)
    printed = text.split("\n")
    assert printed[lines["a", "b c", 1, "d"] - 1].strip().startswith('"d"')
    assert printed[lines["a", "e"] - 1].strip().startswith('"e"')
    assert printed[lines["f", 1, 1] - 1].strip() == "3"
