"""Running the program: as a person does, in a process of its own, or here, already started."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from pathlib import Path
from unittest import mock

from contracts.tracked import ROOT


def idlewright(*words: str, cwd: Path | None = None, stdin: str = "", **environment: str):
    """Run the program in a process of its own; standard output and error as text."""
    clean = {name: value for name, value in os.environ.items() if name != "NO_COLOR"}
    return subprocess.run(
        [sys.executable, "-m", "idlewright", *words],
        cwd=cwd,
        env={**clean, "PYTHONPATH": str(ROOT / "src"), **environment},
        input=stdin,
        capture_output=True,
        text=True,
        check=False,
    )


def idlewright_here(*words: str, cwd: Path | None = None, stdin: str = ""):
    """Run the program in this process: the same words, exit code and text, without its start."""
    from idlewright.cli.entry import main

    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.chdir(cwd or Path.cwd()),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch("sys.stdin", io.StringIO(stdin)),
    ):
        code = main(list(words))
    return subprocess.CompletedProcess(words, code, out.getvalue(), err.getvalue())
