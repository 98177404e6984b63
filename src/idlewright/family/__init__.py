"""A kind of system as one data file: read, checked, expanded, frozen."""

from __future__ import annotations

from idlewright.family.load import find_family, load_family
from idlewright.family.sheet import load_sheet
from idlewright.family.vet import expanded, vet_file

__all__ = ["expanded", "find_family", "load_family", "load_sheet", "vet_file"]
