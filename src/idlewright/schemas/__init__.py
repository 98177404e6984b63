"""The JSON that Idlewright prints, as published schemas (JSON Schema 2020-12).

`NAME.N.json` describes the document `idlewright/NAME/N`. A released file is never changed: a new
key means a new number, and the old one stays.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from idlewright.errors import BadInput, Problem


def schema_names() -> dict[str, list[int]]:
    """Document names with the format numbers there are, both sorted."""
    found: dict[str, list[int]] = {}
    for entry in files(__name__).iterdir():
        name, _, rest = entry.name.partition(".")
        number, _, suffix = rest.partition(".")
        if suffix == "json" and number.isdigit():
            found.setdefault(name, []).append(int(number))
    return {name: sorted(numbers) for name, numbers in sorted(found.items())}


def schema(name: str, number: int | None = None) -> dict[str, Any]:
    """The JSON Schema of the document `idlewright/NAME/NUMBER`.

    Args:
        name: a name of `schema_names`: "judge", "predict", "study", "truth", "speed", "gaps",
            "demo", "practice", "class", "list" or "error".
        number: format number; the newest if None.

    Raises:
        BadInput: there is no such document.
    """
    known = schema_names()
    numbers = known.get(name, [])
    number = number if number is not None or not numbers else numbers[-1]
    if number not in numbers:
        says = f"no schema for {name!r}" + (f" with number {number}" if numbers else "")
        there = ", ".join(f"{each} ({', '.join(map(str, have))})" for each, have in known.items())
        raise BadInput(Problem(says, f"one of {there}", "choose one of these"))
    import json

    text = (files(__name__) / f"{name}.{number}.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)
    return found
