"""Run the benches and print one table: `python -m bench [NAME...] [--json]`."""

from __future__ import annotations

import json
import os
import pkgutil
import platform
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from importlib import import_module, metadata
from pathlib import Path

import bench

LIBRARIES = ("numpy", "scipy", "click", "pydantic")
NOT_FIGURES = {"ratios", "bars", "machine"}
Found = Mapping[str, object]


def names() -> list[str]:
    """Benches there are: the modules of this folder with a `run`."""
    found = (info.name for info in pkgutil.iter_modules(bench.__path__))
    return sorted(name for name in found if not name.startswith("_"))


def processor() -> str:
    """The processor's name, as far as the system tells."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        lines = []
    named = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return named[0] if named else platform.machine()


def machine() -> dict[str, str]:
    """Where the figures were measured: processor, cores, load, versions."""
    facts = {"processor": processor(), "cores": str(os.cpu_count())}
    if hasattr(os, "getloadavg"):
        facts["load"] = f"{os.getloadavg()[0]:.1f}"
    facts |= {"system": platform.system(), "python": platform.python_version()}
    return facts | {library: metadata.version(library) for library in LIBRARIES}


def measure(wanted: Sequence[str]) -> dict[str, Found]:
    """Run the benches, one after the other; what each found."""
    found: dict[str, Found] = {}
    for name in wanted:
        start = time.perf_counter()
        found[name] = import_module(f"bench.{name}").run()
        print(f"{name}: {time.perf_counter() - start:.0f} s", file=sys.stderr, flush=True)
    return found


def _part(found: Found, key: str) -> Mapping[str, float]:
    part = found.get(key) or {}
    if not isinstance(part, Mapping):
        raise TypeError(f"{key!r} of a bench is a mapping of names to numbers")
    return part


def figures(found: Found) -> Iterator[tuple[str, float]]:
    """Every number that is neither ratio nor bar, with its name."""
    for key, value in found.items():
        if key in NOT_FIGURES:
            continue
        inner = value.items() if isinstance(value, Mapping) else [("", value)]
        for name, number in inner:
            if isinstance(number, int | float) and not isinstance(number, bool):
                yield f"{key} {name}".strip(), float(number)


def missed(found: Found) -> list[str]:
    """Ratios below their bar, and bars without a ratio."""
    ratios = _part(found, "ratios")
    return [
        name for name, least in _part(found, "bars").items() if not ratios.get(name, 0) >= least
    ]


def table(results: Mapping[str, Found], facts: Mapping[str, str]) -> str:
    """All figures and ratios as one table of text, the machine above it."""
    cells = [("bench", "what", "figure", "ratio", "bar", "")]
    for bench_name, found in results.items():
        bars, below = _part(found, "bars"), missed(found)
        cells += [(bench_name, what, f"{value:.4g}", "", "", "") for what, value in figures(found)]
        for what, ratio in _part(found, "ratios").items():
            bar = f"{bars[what]:g}" if what in bars else ""
            word = "MISSED" if what in below else "met" if bar else ""
            cells.append((bench_name, what, "", f"{ratio:.3g}", bar, word))
    wide = [max(len(line[k]) for line in cells) for k in range(6)]
    lines = [", ".join(f"{key} {value}" for key, value in facts.items()), ""]
    for line in cells:
        left = "  ".join(f"{line[k]:<{wide[k]}}" for k in range(2))
        right = "  ".join(f"{line[k]:>{wide[k]}}" for k in range(2, 5))
        lines.append(f"{left}  {right}  {line[5]}".rstrip())
    return "\n".join(lines)


def main(words: Sequence[str]) -> int:
    """Run the named benches, or all; 1 if a bar was missed, 2 for an unknown name."""
    wanted = [word for word in words if word != "--json"] or names()
    unknown = sorted(set(wanted) - set(names()))
    if unknown:
        print(f"no bench {', '.join(unknown)}; there are {', '.join(names())}", file=sys.stderr)
        return 2
    results, facts = measure(wanted), machine()
    if "--json" in words:
        print(json.dumps({"machine": facts, "results": results}, indent=1))
    else:
        print(table(results, facts))
    return int(any(missed(found) for found in results.values()))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
