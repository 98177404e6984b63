"""Plain ASCII text that never passes the right edge: cleaning, wrapping, tables, dotted lines."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

WIDTH = 80
WIDEST = 100
NARROWEST = 32

_SPELLED = {
    "±": "+-", "×": "x", "−": "-", "–": "-", "—": "-", "·": "-", "°": " deg", "½": "1/2",
    "²": "2", "³": "3", "“": '"', "”": '"', "„": '"', "’": "'", "‘": "'", "…": "...",
    "µ": "u", "μ": "u", "Ω": "ohm", "€": "euro", "£": "pound", "ß": "ss", "ø": "o", "Ø": "O",
    "æ": "ae", "Æ": "Ae", "œ": "oe", "ł": "l", "Ł": "L", "đ": "d", "≤": "<=", "≥": ">=",
    "→": "->", "←": "<-", "⁄": "/",
}  # fmt: skip

_TIE = "\x1f"  # stands for a space that must not break while a line is wrapped; is in no ASCII text
TOGETHER = re.compile(
    r"(?<=\d) (?=in \d|(?:V|mV|A|mA|k?ohm|Mohm|rpm|mm|kPa|deg|min|s|h|euro)\b)|(?<=\d in) (?=\d)"
)


def ascii_text(text: object) -> str:
    """`text` in printable ASCII on one line; control characters go, unknown letters become ?."""
    spelled = "".join(_SPELLED.get(char, char) for char in str(text))
    kept = []
    for char in unicodedata.normalize("NFKD", spelled):
        if unicodedata.combining(char):
            continue
        if char.isspace() or unicodedata.category(char).startswith("C"):
            kept.append(" ")
        else:
            kept.append(char if " " <= char <= "~" else _SPELLED.get(char, "?"))
    return " ".join("".join(kept).split())


def usable_width(width: int | None) -> int:
    """The width to write at: as wide as the terminal is, never over 100; 80 when unknown."""
    if not width or width <= 0:
        return WIDTH
    return max(NARROWEST, min(WIDEST, width))


def wrap(text: object, width: int, indent: str = "", hang: str | None = None) -> list[str]:
    """`text` in lines of at most `width`, each indented; later lines by `hang`."""
    lines = textwrap.wrap(
        TOGETHER.sub(_TIE, ascii_text(text)),
        max(1, width),
        initial_indent=indent,
        subsequent_indent=indent if hang is None else hang,
        break_on_hyphens=False,
    )
    return [line.replace(_TIE, " ") for line in lines]


def both_ends(left: object, right: object, width: int) -> list[str]:
    """Two texts at the two ends of a line; below each other when they do not fit."""
    first, last = ascii_text(left), ascii_text(right)
    if last and len(first) + 2 + len(last) <= width:
        return [f"{first}{last:>{width - len(first)}}"]
    return [*wrap(first, width), *wrap(last, width)]


def dotted(head: str, text: object, tail: object, width: int) -> list[str]:
    """`head` text ..... tail, the tail at the right edge; a long text wraps above the dots."""
    end = ascii_text(tail)
    hang = " " * len(head)
    room = width - len(end) - 5
    if room < len(head) + 8:
        return [*wrap(text, width, head, hang), *wrap(end, width, hang)]
    lines = wrap(text, room, head, hang) or [head.rstrip()]
    lines[-1] += f" {'.' * (width - len(lines[-1]) - len(end) - 2)} {end}".rstrip()
    return lines


@dataclass(frozen=True, slots=True)
class Column:
    """How one column behaves: its least width, its side, and whether it may give up width.

    `raw` cells are laid out as they are (marks carry meaning in their spaces).
    """

    least: int = 1
    right: bool = False
    gives: bool = False
    raw: bool = False
    at_least: int = 0


def table(
    rows: Sequence[Sequence[str]], columns: Sequence[Column], width: int, indent: str = " "
) -> list[str]:
    """Rows of cells in aligned columns two spaces apart; cells of giving columns wrap.

    When even the least widths do not fit, every row is written as one wrapped line.
    """
    return [line for lines in table_rows(rows, columns, width, indent) for line in lines]


def table_rows(
    rows: Sequence[Sequence[str]], columns: Sequence[Column], width: int, indent: str = " "
) -> list[list[str]]:
    """As `table`, with the lines of each row kept together."""
    cells = [
        [text if col.raw else ascii_text(text) for text, col in zip(row, columns, strict=True)]
        for row in rows
    ]
    wanted = [
        max([column.at_least, *(len(row[place]) for row in cells)])
        for place, column in enumerate(columns)
    ]
    widths = _squeeze(wanted, columns, width - len(indent) - 2 * (len(columns) - 1))
    if widths is None:
        flat = ["  ".join(cell.strip() for cell in row if cell.strip()) for row in cells]
        return [wrap(text, width, indent, indent + "  ") for text in flat]
    return [_laid(row, widths, columns, indent) for row in cells]


def _squeeze(wanted: list[int], columns: Sequence[Column], room: int) -> list[int] | None:
    """Widths that fit the room, taken from the widest giving column first; None if none fit."""
    widths = list(wanted)
    while sum(widths) > room:
        givers = [
            place
            for place, column in enumerate(columns)
            if column.gives and widths[place] > column.least
        ]
        if not givers:
            return None
        widths[max(givers, key=lambda place: widths[place])] -= 1
    return widths


def _laid(
    row: Sequence[str], widths: Sequence[int], columns: Sequence[Column], indent: str
) -> list[str]:
    """One row, as many lines high as its tallest cell."""
    stacks = [
        [cell] if column.raw or len(cell) <= width else (wrap(cell, width) or [""])
        for cell, width, column in zip(row, widths, columns, strict=True)
    ]
    lines = []
    for line in range(max(len(stack) for stack in stacks)):
        parts = []
        for stack, width, column in zip(stacks, widths, columns, strict=True):
            text = stack[line] if line < len(stack) else ""
            parts.append(f"{text:>{width}}" if column.right else f"{text:<{width}}")
        lines.append((indent + "  ".join(parts)).rstrip())
    return lines


# --- bold and colour ---------------------------------------------------------------------------

_BOLD, _BLUE, _ORANGE, _PLAIN = "\x1b[1m", "\x1b[1;38;5;33m", "\x1b[1;38;5;208m", "\x1b[0m"


def wants_style(*, is_terminal: bool, environment: Mapping[str, str]) -> bool:
    """True when bold and colour may be used: a terminal, no NO_COLOR, and TERM is not "dumb".

    An empty NO_COLOR does not count, as the convention at no-color.org has it (from memory).
    """
    return is_terminal and not environment.get("NO_COLOR") and environment.get("TERM") != "dumb"


def bold(text: str, style: bool) -> str:
    """`text` in bold when styled."""
    return f"{_BOLD}{text}{_PLAIN}" if style and text else text


def coloured(text: str, verdict: str, style: bool) -> str:
    """`text` in the verdict's colour (inside blue, outside orange) when styled."""
    code = {"inside": _BLUE, "outside": _ORANGE}.get(verdict)
    return f"{code}{text}{_PLAIN}" if style and code else text
