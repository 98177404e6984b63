"""What one run of the program was asked for, and the two ways it answers: JSON, or words."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass
class Session:
    """One run of the program.

    Attributes:
        wants_json: answers and errors are JSON and nothing else.
        data: the user's data folder as given by `--data`, or None for the system's usual place.
    """

    wants_json: bool = False
    data: Path | None = None

    @classmethod
    def from_words(cls, words: Sequence[str]) -> Session:
        """Read what must be known before the words are parsed, so that a usage error obeys it."""
        options = words[: words.index("--")] if "--" in words else words
        return cls(wants_json="--json" in options)

    def data_folder(self) -> Path:
        """The folder for what is the user's own; it may not exist yet."""
        if self.data is not None:
            return self.data
        from platformdirs import user_data_path

        return user_data_path("idlewright", appauthor=False)

    def answer(self, document: Mapping[str, object], words: str) -> None:
        """Print `document` if JSON is wanted, else `words`, to standard output."""
        if self.wants_json:
            import json

            write_out(json.dumps(document, allow_nan=False, indent=1) + "\n")
        else:
            write_out(words if words.endswith("\n") or not words else words + "\n")


def write_out(text: str) -> None:
    """Write to standard output at once, so that a closed pipe is noticed here and nowhere later."""
    sys.stdout.write(text)
    sys.stdout.flush()
