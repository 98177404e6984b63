"""Writing the files and folders a user asked for; what cannot be written is told as bad input."""

from __future__ import annotations

from pathlib import Path

from idlewright.errors import BadInput, Problem


def write_file(path: Path, text: str, *, keep: bool = False) -> None:
    """Write `text` to `path` as UTF-8.

    Args:
        path: where; its folder must exist.
        text: what.
        keep: refuse to replace a file that is already there.

    Raises:
        BadInput: it cannot be written, or is there already and `keep` is set.
    """
    try:
        with path.open("x" if keep else "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        remedy = "choose another name, or move that file away"
        raise BadInput(Problem("is there already", "a new file", remedy, str(path))) from None
    except OSError as error:
        says = f"cannot be written ({error.strerror or error})"
        raise BadInput(Problem(says, "a place you may write to", "", str(path))) from error


def make_folder(path: Path) -> None:
    """Make a folder and those above it; one that is there already is used.

    Raises:
        BadInput: it cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        says = f"cannot be made a folder ({error.strerror or error})"
        raise BadInput(Problem(says, "a place you may write to", "", str(path))) from error
