"""Names: what an id may look like, and which known name a mistyped one was probably meant to be."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

_ID = re.compile(r"[a-z0-9_]+(\.[a-z0-9_]+)*")
_NODE = re.compile(r"[A-Za-z0-9_]+(\.[A-Za-z0-9_]+)*")
_SHOWN = 8
"""How many known names a remedy lists when none is close."""


def is_id(text: str) -> bool:
    """True for lower case words joined by `.` and `_`."""
    return _ID.fullmatch(text) is not None


def is_node(text: str) -> bool:
    """True for a circuit node's name (as an id, capitals allowed: cavities are often lettered)."""
    return _NODE.fullmatch(text) is not None


def closest(word: str, known: Iterable[str]) -> str | None:
    """The known name most like `word`, or None when none is alike."""
    names = list(known)
    found = difflib.get_close_matches(word, names, n=1, cutoff=0.6)
    if found:
        return found[0]
    folded = {name.casefold(): name for name in reversed(names)}
    found = difflib.get_close_matches(word.casefold(), list(folded), n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def did_you_mean(word: str, known: Iterable[str], what: str = "name") -> str:
    """A remedy sentence for an unknown `word`: the likely one, or the possible ones."""
    names = sorted(set(known))
    near = closest(word, names)
    if near is not None:
        return f'did you mean "{near}"?'
    if not names:
        return f"declare it first, or remove this {what}"
    if len(names) <= _SHOWN:
        return "use one of " + ", ".join(names)
    return "use one of " + ", ".join(names[:_SHOWN]) + f" … ({len(names)} in all), or declare it"


def matching(pattern: str, known: Iterable[str]) -> list[str]:
    """Ids that a key means: itself, or with a `*` all that begin and end like it."""
    if "*" not in pattern:
        return [name for name in known if name == pattern]
    start, _, end = pattern.partition("*")
    return [
        name
        for name in known
        if name.startswith(start) and name.endswith(end) and len(name) >= len(start) + len(end)
    ]


def humanise(name: str) -> str:
    """An id as words: `sig.sensor_a` -> `sig sensor a`."""
    return name.replace(".", " ").replace("_", " ")


def dotted(path: Iterable[object]) -> str:
    """A path inside a file as a dotted key."""
    return ".".join(str(part) for part in path)
