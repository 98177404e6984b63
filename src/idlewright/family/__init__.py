"""A kind of system as one data file: read, checked, expanded, frozen."""

from __future__ import annotations

from idlewright.family.load import load_family

__all__ = ["load_family"]
