"""What was worked out about families and sheets, kept between runs in the user's cache folder.

The key is the content: files, version, program files, Python and NumPy. A file that is
missing, damaged or of other content is worked out again; deleting the folder is always safe. It is
written under a temporary name and renamed, so several programs may write at once. The content is a
pickle of our own records: it is read only from the user's cache folder and only if its hash agrees.
"""

from __future__ import annotations

import contextlib
import gc
import hashlib
import os
import pickle
import sys
import tempfile
from functools import lru_cache
from pathlib import Path

import numpy as np
from platformdirs import user_cache_path

from idlewright.version import __version__

MARK = b"idlewright kept 1\n"
DIGEST = 32
MOST_FILES = 12


def folder() -> Path:
    """Where it is kept."""
    return Path(user_cache_path("idlewright")) / "worked-out"


def key_of(*content: str) -> str:
    """Key of something worked out from the given content by this very program."""
    parts = (__version__, sys.version, np.__version__, _program(), *content)
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


@lru_cache(maxsize=1)
def _program() -> str:
    """Changes whenever any file of the program does: hash of names, sizes and times."""
    source = hashlib.sha256()
    package = Path(__file__).parent
    for path in sorted(package.rglob("*.py")):
        facts = path.stat()
        source.update(f"{path.relative_to(package)} {facts.st_size} {facts.st_mtime_ns}".encode())
    return source.hexdigest()


def load(key: str) -> object | None:
    """What is kept under a key, or None."""
    try:
        data = memoryview((folder() / key).read_bytes())
    except OSError:
        return None
    start = len(MARK) + DIGEST
    if (
        data[: len(MARK)] != MARK
        or hashlib.sha256(data[start:]).digest() != data[len(MARK) : start]
    ):
        return None
    watched = gc.isenabled()
    gc.disable()  # thousands of records are made and none is thrown away: nothing to collect
    try:
        found: object = pickle.loads(data[start:])
    except (pickle.UnpicklingError, AttributeError, ImportError, EOFError, IndexError, TypeError):
        return None
    finally:
        if watched:
            gc.enable()
    return found


def keep(key: str, thing: object) -> None:
    """Keep something under a key; a folder that cannot be written is left alone."""
    body = pickle.dumps(thing, protocol=5)
    place = folder()
    with contextlib.suppress(OSError):
        place.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=place, prefix=".new-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(MARK + hashlib.sha256(body).digest() + body)
            os.replace(name, place / key)
        finally:
            with contextlib.suppress(FileNotFoundError):
                os.unlink(name)
        _tidy(place)


def _tidy(place: Path) -> None:
    """Keep only the newest files."""
    files = [path for path in place.iterdir() if not path.name.startswith(".")]
    files.sort(key=lambda path: path.stat().st_mtime, reverse=True)
    for path in files[MOST_FILES:]:
        path.unlink(missing_ok=True)
