"""The names of the shipped families and kinds of cars, found at once, for help and completion."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem


KINDS = ("intermittent", "two-faults", "stop-screw", "wrong-part", "slips", "no-part")
"""Kinds of practice cars (a test compares them with those there are)."""


def family_ids() -> list[str]:
    """Ids of the families that ship, sorted."""
    from importlib.resources import files

    folder = files("idlewright") / "family" / "data" / "families"
    names = (entry.name for entry in folder.iterdir())
    return sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml"))


def complete_family(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Families whose id begins as typed."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(name) for name in family_ids() if name.startswith(incomplete)]
