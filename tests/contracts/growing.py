"""A file that a page builds up: what a reader who follows the page has at each place of it."""

from __future__ import annotations

import re

ADDED = re.compile(r"^<!-- added to (\S+) -->\n```toml\n(.*?)^```$", re.MULTILINE | re.DOTALL)
"""Lines that a page tells its reader to add to a file."""
HEAD = re.compile(r"\[(\w+)\]")


def grown(page: str, end: int | None = None) -> dict[str, str]:
    """Name -> text of each file that the page has built up to character `end` (its own end)."""
    files: dict[str, list[str]] = {}
    for name, block in ADDED.findall(page[:end]):
        files.setdefault(name, []).append(block)
    return {name: joined(blocks) for name, blocks in files.items()}


def stages(page: str, name: str) -> list[str]:
    """The file after each block that adds to it."""
    blocks = [block for file, block in ADDED.findall(page) if file == name]
    return [joined(blocks[: count + 1]) for count in range(len(blocks))]


def joined(blocks: list[str]) -> str:
    """Blocks put together as the page says: each line goes to the end of its section.

    A section that is not there yet comes last; a line that is there already, by the name before
    its first `=`, is replaced where it stands.
    """
    sections: dict[str, dict[str, str]] = {"": {}}
    for block in blocks:
        lines = sections[""]
        for row in block.splitlines():
            if head := HEAD.fullmatch(row):
                lines = sections.setdefault(head.group(1), {})
            elif row:
                lines[row if row.startswith("#") else row.split("=")[0]] = row
    parts = [
        "\n".join([f"[{section}]" if section else "", *lines.values()]).strip()
        for section, lines in sections.items()
    ]
    return "\n\n".join(parts) + "\n"
