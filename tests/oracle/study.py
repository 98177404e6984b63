"""Many random cases of a shipped family against the Gauss-Newton oracle.

    python -m tests.oracle.study --cases 300 [--family plunger-carburettor] [--sheet FILE]

Error of a case = largest |difference of odds| over the faults. Prints mean, 90 % point and largest,
for one and two looks at the physics, the oracle against itself, and milliseconds per weighing.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np

from idlewright.diagnosis.evidence import Weigher
from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.moods import Moods
from idlewright.diagnosis.world import Renewal, Time, Timeline, make_rows
from idlewright.family.load import load_family
from idlewright.family.sheet import load_sheet
from idlewright.model.cells import leading_span
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_of_check

from .cases import random_car, readings_of
from .gauss_newton import gauss_newton
from .law import laws

MOST_LAWS = 64
LOOK_CLOSER = 0.008
"""Cases that differ by more are compared with four times the draws, other points: the oracle's own
noise with 256 draws is of that size."""
ONCE = Timeline((Time(0),), ())


def prior(model: CompiledModel) -> np.ndarray:
    """Log prior by weight, the good car with 4 %."""
    weight = np.array([f.weight for f in model.cells.faults])
    return np.log(np.append(0.96 * weight / weight.sum(), 0.04))


def bank_odds(
    model: CompiledModel,
    ln_fault: np.ndarray,
    seen: list[Seen],
    times: list[int],
    timeline: Timeline = ONCE,
    passes: int = 1,
) -> np.ndarray:
    """The product's odds, (F + 1,)."""
    sift = Moods(model, seen, times, timeline).sift
    rows = make_rows(model.cells, ln_fault, timeline, sift=sift)
    weighed = Weigher(model, timeline, rows, passes).weigh(seen, times)
    number = model.cells.fault[rows.cell] % (len(model.cells.faults) + 1)
    share = np.exp(weighed.ln_row - weighed.ln_total)
    return np.bincount(number, share, len(model.cells.faults) + 1)


def with_repair(model: CompiledModel, rng: np.random.Generator) -> Timeline:
    """Two stretches, a random repair of the family, one more stretch."""
    repairs = [r for r in model.family.repairs.values() if r.renews]
    repair = repairs[int(rng.integers(len(repairs)))]
    ids = [model.table.ids[p] for p in model.cells.tolerance]
    fresh = tuple(
        k for k, name in enumerate(ids) if any(name.startswith(prefix) for prefix in repair.renews)
    )
    return Timeline((Time(0), Time(0), Time(1)), (Renewal(repair.cures, fresh),))


def error(a: np.ndarray, b: np.ndarray) -> float:
    """Largest difference of odds."""
    return float(np.abs(a - b).max())


def random_case(
    model: CompiledModel, rng: np.random.Generator, kind: str
) -> tuple[Timeline, list[Seen], list[int], int]:
    """Timeline, readings, their times and the true fault of one random case."""
    if kind == "ends":
        return beside_an_end(model, rng)
    timeline = with_repair(model, rng) if kind == "episodes" else ONCE
    fault, active = None, None
    if kind == "episodes" and rng.random() < 0.6:
        wanted = [k for k, f in enumerate(model.cells.faults) if f.intermittent]
        fault = int(rng.choice(wanted))
        active = tuple(bool(b) for b in rng.random(len(timeline.times)) < 0.6)
    true = random_car(model, timeline, rng, fault, active)
    seen, times = readings_of(true, int(rng.integers(4, 13)), rng)
    return timeline, seen, times, true.hypothesis.fault


def beside_an_end(
    model: CompiledModel, rng: np.random.Generator
) -> tuple[Timeline, list[Seen], list[int], int]:
    """A setting a little inside or outside one end of its fault's range, and checks that see it."""
    settings = [
        k
        for k, fault in enumerate(model.cells.faults)
        if (span := leading_span(fault)) is not None
        and (span.act == "shift" or not model.table.log[model.table.index[span.scalar]])
    ]
    fault = int(rng.choice(settings))
    true = random_car(model, ONCE, rng, fault)
    offset = float(rng.choice([0.01, 0.03, 0.08, 0.15, 0.3])) * float(rng.choice([-1, 1]))
    true.u = float(rng.choice([0.0, 1.0])) + offset
    telling = []
    for check in model.family.checks.values():
        latents = form_of_check(model.family, check, 1e7).latents()
        if any(model.touching(model.number_of(latent))[fault] for latent in latents):
            telling.append(check)
    seen, times = readings_of(true, int(rng.integers(2, 6)), rng, among=telling)
    return ONCE, seen, times, fault


def one_case(
    model: CompiledModel, number: int, seed: int, draws: int, kind: str
) -> dict[str, object] | None:
    """Compare one random case; None if it is too large for the oracle."""
    rng = np.random.default_rng([seed, number])
    timeline, seen, times, fault = random_case(model, rng, kind)
    if len(laws(model, seen, times)) > MOST_LAWS:
        return None
    ln_fault = prior(model)
    started = time.perf_counter()
    oracle = gauss_newton(model, ln_fault, seen, times, timeline, draws)
    odds = {}
    found: dict[str, object] = {"case": number, "readings": len(seen), "fault": fault}
    for passes in (1, 2):
        bank_odds(model, ln_fault, seen, times, timeline, passes)  # fills the bank
        begun = time.process_time()
        odds[passes] = bank_odds(model, ln_fault, seen, times, timeline, passes)
        found[f"ms_{passes}"] = 1e3 * (time.process_time() - begun)
    if max(error(odds[1], oracle.odds), error(odds[2], oracle.odds)) > LOOK_CLOSER:
        oracle = gauss_newton(model, ln_fault, seen, times, timeline, 4 * draws, seed=99)
        found["closer"] = 1
    found["oracle_seconds"] = time.perf_counter() - started
    found["size"] = oracle.size
    for passes in (1, 2):
        found[f"error_{passes}"] = error(odds[passes], oracle.odds)
    return found


def say(name: str, values: list[float]) -> None:
    """One line of figures."""
    if values:
        a = np.array(values)
        print(
            f"{name:34s} mean {a.mean():8.4f}  median {np.median(a):8.4f}  "
            f"p90 {np.quantile(a, 0.9):8.4f}  max {a.max():8.4f}  ({len(a)})"
        )


def main() -> None:
    """Run the study and print its figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--family", default="plunger-carburettor")
    parser.add_argument("--sheet", default="examples/invented-saloon.sheet.toml")
    parser.add_argument("--draws", type=int, default=256)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument(
        "--kind",
        choices=("mixed", "episodes", "ends"),
        default="mixed",
        help="mixed jobs; with episodes and a repair; settings beside an end of a fault's range",
    )
    parser.add_argument("--each", action="store_true", help="a line of JSON for every case")
    options = parser.parse_args()
    family = load_family(options.family)
    model = compile_model(family, load_sheet(Path(options.sheet), family))
    results = []
    for number in range(options.first, options.first + options.cases):
        found = one_case(model, number, options.seed, options.draws, options.kind)
        if found is None:
            continue
        results.append(found)
        if options.each:
            print(json.dumps({k: round(float(v), 4) for k, v in found.items()}), flush=True)  # type: ignore[arg-type]
    for key in ("error_1", "error_2", "size", "oracle_seconds", "ms_1", "ms_2"):
        say(key, [float(r[key]) for r in results])  # type: ignore[arg-type]
    good = [r for r in results if float(r["size"]) >= 40]  # type: ignore[arg-type]
    say("error_1 where the oracle is sound", [float(r["error_1"]) for r in good])  # type: ignore[arg-type]


if __name__ == "__main__":
    sys.exit(main())
