"""Every module, class and function that others may use says what it is."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILES = sorted([*(ROOT / "src").rglob("*.py"), *(ROOT / "bench").rglob("*.py"), ROOT / "dev.py"])


def public_parts(node, prefix=""):
    """Public functions, classes and methods of a tree; not what is nested in functions."""
    for inner in ast.iter_child_nodes(node):
        if not isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            continue
        if inner.name.startswith("_"):
            continue
        yield prefix + inner.name, inner
        if isinstance(inner, ast.ClassDef):
            yield from public_parts(inner, f"{prefix}{inner.name}.")


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_everything_public_has_a_docstring(path):
    """The module and each public function, class and method has a docstring of its own."""
    tree = ast.parse(path.read_text("utf-8"))
    silent = [
        name for name, node in public_parts(tree) if not (ast.get_docstring(node) or "").strip()
    ]
    if not (ast.get_docstring(tree) or "").strip():
        silent.append("the module itself")
    assert not silent


def test_every_test_states_what_is_expected():
    """Each test function has a docstring: the expected behaviour in a sentence."""
    silent = [
        f"{path.relative_to(ROOT)}:{node.lineno} {node.name}"
        for path in sorted((ROOT / "tests").rglob("test_*.py"))
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef)
        and node.name.startswith("test_")
        and not ast.get_docstring(node)
    ]
    assert not silent
