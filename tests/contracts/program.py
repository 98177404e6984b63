"""Running the program as a person does: its own process, its own data folder."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

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
