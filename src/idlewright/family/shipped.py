"""Families and parts that come with the program: their files by id."""

from __future__ import annotations

from pathlib import Path as FilePath

DATA = FilePath(__file__).parent / "data"
SUFFIXES = (".toml", ".json")


def known_files(folder: str) -> dict[str, FilePath]:
    """Shipped families or parts: id -> file."""
    return {
        file.stem: file
        for file in sorted((DATA / folder).iterdir())
        if file.suffix in SUFFIXES and file.is_file()
    }
