"""The files that make up the project: what git tracks, or, without git, what is not ignored."""

from __future__ import annotations

import subprocess
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
MADE_HERE = {
    ".git", ".venv", "__pycache__", ".pytest_cache", ".mypy_cache", ".ruff_cache", ".hypothesis",
    ".import_linter_cache", "demo-output", "dist", "build",
}  # fmt: skip


@cache
def project_files() -> tuple[Path, ...]:
    """Every file of the project, sorted."""
    asked = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if asked.returncode == 0 and asked.stdout:
        names = [ROOT / name for name in asked.stdout.split("\0") if name]
        return tuple(sorted(path for path in names if path.is_file()))
    return tuple(
        sorted(
            path
            for path in ROOT.rglob("*")
            if path.is_file() and not MADE_HERE & set(path.relative_to(ROOT).parts)
        )
    )


def text_of(path: Path) -> str | None:
    """The file's text, or None if it is not text."""
    data = path.read_bytes()
    if b"\0" in data:
        return None
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return None
