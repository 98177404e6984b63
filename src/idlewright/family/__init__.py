"""A kind of system as one data file: read, checked, expanded, frozen.

The names are looked up when first used: reading and checking a family's lines is slow to import.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from idlewright.family.load import find_family, load_family
    from idlewright.family.sheet import load_sheet
    from idlewright.family.vet import expanded, vet_file

__all__ = ["expanded", "find_family", "load_family", "load_sheet", "vet_file"]

_HOMES = {
    "expanded": "vet",
    "find_family": "load",
    "load_family": "load",
    "load_sheet": "sheet",
    "vet_file": "vet",
}


def __getattr__(name: str) -> object:
    if name in _HOMES:
        return getattr(import_module(f"idlewright.family.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
