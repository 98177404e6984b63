"""On which line of a file each key stands.

Neither tomllib nor json keeps positions, so the text is read a second time, but only when something
is wrong with it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from json.decoder import scanstring  # type: ignore[attr-defined]  # public, missing in typeshed
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tree_sitter import Node

Path = tuple[str | int, ...]
"""Keys and list positions from the top of a file to a value."""


def nearest_line(lines: Mapping[Path, int], path: Path) -> int | None:
    """Line of `path`, or of the closest parent that has one; None for the file as a whole."""
    for length in range(len(path), 0, -1):
        line = lines.get(path[:length])
        if line is not None:
            return line
    return None


def toml_lines(text: str) -> dict[Path, int]:
    """1-based line of every key, table header and list item of a TOML text."""
    import tree_sitter_toml
    from tree_sitter import Language, Parser

    tree = Parser(Language(tree_sitter_toml.language())).parse(text.encode())
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    for node in tree.root_node.children:
        if node.type == "pair":
            _pair(node, (), lines)
        elif node.type in {"table", "table_array_element"}:
            _table(node, lines, counts)
    return lines


def _table(node: Node, lines: dict[Path, int], counts: dict[Path, int]) -> None:
    header = next((child for child in node.children if child.is_named), None)
    if header is None:
        return
    base = _inside_arrays(_key(header), counts)
    if node.type == "table_array_element":
        index = counts.get(base, 0)
        counts[base] = index + 1
        lines.setdefault(base, header.start_point[0] + 1)
        base = (*base, index)
    _note(base, header, lines)
    for child in node.children:
        if child.type == "pair":
            _pair(child, base, lines)


def _inside_arrays(key: Path, counts: Mapping[Path, int]) -> Path:
    """`key` with the index of the latest element after every array of tables on the way."""
    path: Path = ()
    for position, part in enumerate(key):
        path = (*path, part)
        if position < len(key) - 1 and path in counts:
            path = (*path, counts[path] - 1)
    return path


def _pair(node: Node, base: Path, lines: dict[Path, int]) -> None:
    named = [child for child in node.children if child.is_named]
    if not named:
        return
    path = (*base, *_key(named[0]))
    _note(path, named[0], lines)
    if len(named) > 1:
        _value(named[1], path, lines)


def _value(node: Node, path: Path, lines: dict[Path, int]) -> None:
    if node.type == "inline_table":
        for child in node.children:
            if child.type == "pair":
                _pair(child, path, lines)
    elif node.type == "array":
        items = [child for child in node.children if child.is_named and child.type != "comment"]
        for index, child in enumerate(items):
            _note((*path, index), child, lines)
            _value(child, (*path, index), lines)


def _note(path: Path, node: Node, lines: dict[Path, int]) -> None:
    line = node.start_point[0] + 1
    for length in range(1, len(path) + 1):
        lines.setdefault(path[:length], line)


def _key(node: Node) -> Path:
    if node.type == "dotted_key":
        return tuple(part for child in node.children if child.is_named for part in _key(child))
    text = (node.text or b"").decode()
    if node.type == "quoted_key":
        return (_unquoted(text),)
    return (text,)


def _unquoted(text: str) -> str:
    if text.startswith("'"):
        return text[1:-1]
    try:
        value: str = scanstring(text, 1, False)[0]
    except ValueError:
        return text[1:-1]
    return value


_TOKEN = re.compile(r'\s*(?:(?P<punct>[{}\[\],:])|(?P<string>")|(?P<atom>[^\s{}\[\],:"]+))')


def json_lines(text: str) -> dict[Path, int]:
    """1-based line of every key and list item of a JSON text, as far as it can be read."""
    lines: dict[Path, int] = {}
    stack: list[tuple[str, Path]] = []  # ("{" or "[", path of the container)
    path: Path = ()
    line, seen, expects_key, index = 1, 0, False, [0]
    for kind, word, start in _json_tokens(text):
        line += text.count("\n", seen, start)
        seen = start
        if kind == "string" and expects_key:
            path, expects_key = (*stack[-1][1], word), False
            lines.setdefault(path, line)
        elif kind != "punct" or word in "{[":
            if stack and stack[-1][0] == "[":
                path = (*stack[-1][1], index[-1])
                lines.setdefault(path, line)
            if kind == "punct":
                stack.append((word, path))
                index.append(0)
                expects_key = word == "{"
        elif word in "}]" and stack:
            stack.pop()
            index.pop()
            expects_key = False
        elif word == "," and stack:
            index[-1] += 1
            expects_key = stack[-1][0] == "{"
    return lines


def _json_tokens(text: str) -> Iterator[tuple[str, str, int]]:
    position = 0
    while match := _TOKEN.match(text, position):
        kind = match.lastgroup or ""
        start = match.start(kind)
        if kind == "string":
            try:
                word, position = scanstring(text, start + 1, False)
            except ValueError:
                return
        else:
            word, position = match.group(kind), match.end()
        yield kind, word, start
