"""The names of the shipped families, found without reading them, for help and completion."""

from __future__ import annotations

from importlib.resources import files

import click
from click.shell_completion import CompletionItem

PART_MARK = "[port]"


def family_ids() -> list[str]:
    """Ids of the families that ship, sorted. A data file with `[port]` is a part, not a family."""
    folder = files("idlewright") / "family" / "data"
    return sorted(
        entry.name.removesuffix(".toml")
        for entry in folder.iterdir()
        if entry.name.endswith(".toml")
        and PART_MARK not in entry.read_text(encoding="utf-8").splitlines()
    )


def complete_family(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Families whose id begins as typed."""
    return [CompletionItem(name) for name in family_ids() if name.startswith(incomplete)]
