"""Caps that keep a module one idea and a function one thought."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILES = sorted([*(ROOT / "src").rglob("*.py"), *(ROOT / "bench").rglob("*.py"), ROOT / "dev.py"])
MODULE_LINES = 400
FUNCTION_LINES = 50
CUPBOARDS = {"utils", "util", "helpers", "helper", "common", "misc"}


def body_lines(node):
    """Lines of a function without its decorators and docstring."""
    inner = node.body
    first = inner[0]
    has_doc = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    doc = (
        first.end_lineno - first.lineno + 1 if has_doc and isinstance(first.value.value, str) else 0
    )
    return node.end_lineno - node.lineno + 1 - doc


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_and_functions_stay_small(path):
    """A module has at most 400 lines, a function at most 50 without its docstring."""
    text = path.read_text("utf-8")
    assert text.count("\n") <= MODULE_LINES
    functions = (ast.FunctionDef, ast.AsyncFunctionDef)
    long = [
        f"{node.name}: {body_lines(node)}"
        for node in ast.walk(ast.parse(text))
        if isinstance(node, functions) and body_lines(node) > FUNCTION_LINES
    ]
    assert not long


def test_no_module_is_a_cupboard():
    """No module is named after nothing in particular."""
    assert not [path for path in FILES if path.stem in CUPBOARDS or path.parent.name in CUPBOARDS]
