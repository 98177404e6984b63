"""docs/json.md names every key of every document, and no other."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest

from contracts.tracked import ROOT
from idlewright import schema
from idlewright.schemas import schema_names

PAGE = (ROOT / "docs" / "json.md").read_text("utf-8")
SECTION = re.compile(r"^## (\w+)$(.*?)(?=^## |\Z)", re.MULTILINE | re.DOTALL)
ROW = re.compile(r"^\| `([^`]+)` \| (.+) \|$", re.MULTILINE)
SECTIONS = {match[1]: ROW.findall(match[2]) for match in SECTION.finditer(PAGE)}


def keys(node: dict[str, Any], root: dict[str, Any], path: str = "") -> Iterator[str]:
    """Dotted paths of every key that a schema knows: `a.b`, `a[].b`, `a.*`."""
    while "$ref" in node:
        node = root["$defs"][node["$ref"].rpartition("/")[2]]
    for choice in (*node.get("anyOf", ()), *node.get("oneOf", ())):
        yield from keys(choice, root, path)
    for name, inner in node.get("properties", {}).items():
        own = f"{path}.{name}" if path else name
        yield own
        yield from keys(inner, root, own)
    if isinstance(node.get("additionalProperties"), dict):
        yield f"{path}.*"
        yield from keys(node["additionalProperties"], root, f"{path}.*")
    if "items" in node:
        yield from keys(node["items"], root, f"{path}[]")


def test_every_document_has_its_section() -> None:
    """Each published document has a section of its own, and each section a document."""
    assert set(SECTIONS) == set(schema_names())


@pytest.mark.parametrize("name", sorted(SECTIONS))
def test_every_key_has_its_line(name: str) -> None:
    """The rows of a section are the keys of the schema, each once, each with a sentence."""
    written = [key for key, _ in SECTIONS[name]]
    known = schema(name)
    assert len(written) == len(set(written))
    assert set(written) == set(keys(known, known))
    assert all(says.endswith((".", "…")) for _, says in SECTIONS[name])
