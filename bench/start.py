"""How soon the program says something: processor time of whole processes against a bare Python."""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys

RUNS = 9
CASES = {
    "help": ["-m", "idlewright", "--help"],
    "judge --help": ["-m", "idlewright", "judge", "--help"],
}
TIMES_BARE = 8.0


def process_seconds(*words: str) -> float:
    """Median processor seconds of a Python process, children of this one, over 9 runs."""
    found = []
    for _ in range(RUNS):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
        found.append(spent)
    return statistics.median(found)


def run() -> dict[str, object]:
    """Bare Python and each help, ms of processor time; how far each stays below 8 times bare."""
    bare = process_seconds("-c", "pass")
    took = {name: process_seconds(*words) for name, words in CASES.items()}
    return {
        "ms_processor": {"bare": bare * 1e3} | {name: 1e3 * s for name, s in took.items()},
        "ratios": {f"{name}, 8 x bare over it": TIMES_BARE * bare / s for name, s in took.items()},
        "bars": {f"{name}, 8 x bare over it": 1.0 for name in took},
    }
