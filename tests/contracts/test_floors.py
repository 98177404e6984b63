"""Import direction: a lower floor never imports a higher one."""

import ast
from pathlib import Path

from importlinter.cli import lint_imports

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "idlewright"
SLOW = {"scipy.stats", "scipy.signal"}
MAY_BE_SLOW = {"study"}


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
        if path != SOURCE / "__init__.py"
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if (isinstance(node, ast.ImportFrom) and node.module in public_root and node.level == 0)
        or (isinstance(node, ast.Import) and any(a.name in public_root for a in node.names))
    ]
    assert not found, found


def imported(path):
    """Dotted names a module imports, at its top or inside functions; `from a import b` is a.b."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def test_slow_statistics_stay_off_the_way_to_an_answer():
    """No floor but the studies imports scipy.stats or scipy.signal, which take half a second."""
    found = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in SOURCE.rglob("*.py")
        if path.relative_to(SOURCE).parts[0] not in MAY_BE_SLOW
        for name in imported(path)
        if any(f"{name}.".startswith(f"{slow}.") for slow in SLOW)
    ]
    assert not found, found
