"""Import direction: a lower floor never imports a higher one."""

import ast
from pathlib import Path

from importlinter.cli import lint_imports

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "idlewright"


def test_no_floor_imports_a_higher_one(monkeypatch, capsys):
    """Every contract of import direction in pyproject.toml is kept, inner imports counted."""
    monkeypatch.chdir(ROOT)
    code = lint_imports(no_cache=True)
    assert code == 0, capsys.readouterr().out


def test_the_package_root_is_not_a_back_door():
    """No module imports from the package root, which would reach every floor unseen."""
    public_root = {"idlewright"}
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in SOURCE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if (isinstance(node, ast.ImportFrom) and node.module in public_root and node.level == 0)
        or (isinstance(node, ast.Import) and any(a.name in public_root for a in node.names))
    ]
    assert not found, found
