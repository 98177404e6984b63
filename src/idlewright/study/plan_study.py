"""`study plan`: ways to choose the next step compared on the same simulated cars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family
from idlewright.practice import kind_named, law_named
from idlewright.practice.chance import Chance
from idlewright.study.arms import ARMS, CLAIRVOYANT, MANUAL, OURS, TRAINED, Charts, arms_named
from idlewright.study.book import Vehicle
from idlewright.study.cases import Row, Truth, case_seed, check_counts, work_case
from idlewright.study.charts import MOVES, manual_order, trained_order
from idlewright.study.figures import arm_figures, pair_figures
from idlewright.study.rows import Helpers, RowFile, rows_of
from idlewright.version import __version__

CHUNK = 2
"""Cases a worker takes at a time: the same whatever the number of workers."""
WIDTH = {"matched": 1.0, "wide": 1.5, "skewed": 1.2, "batch": 1.0}
"""About how much wider than stated each law lets parts scatter."""
TRAINING = 90_001
"""Added to the seed for the cars on which a chart is trained: never those of the study."""


@dataclass(frozen=True, slots=True)
class _Task:
    family: str
    truth: Truth
    seeds: tuple[int, ...]
    arms: tuple[str, ...]
    charts: Charts


def study_plan(
    family: str,
    cases: int,
    seed: int,
    *,
    truth: Truth | None = None,
    arms: Sequence[str] = (),
    helpers: Helpers | None = None,
    out: Path | None = None,
    moves: int = MOVES,
) -> dict[str, Any]:
    """The study as a JSON-ready dict, format idlewright/study/1.

    Args:
        family: what load_family takes. cases, seed: how many cars, and which.
        truth: how the cars are drawn. arms: names of `ARMS`; none = all.
        helpers: who does the work; the answer is the same for any.
        out: folder for a row a case; rows of the same study that are there are not worked again.
        moves: of the optimiser that orders the trained chart.

    Raises:
        BadInput: no such family, law, kind or arm; no chart for the family; no farm; nothing to do.
        CannotTell: workers keep dying, or the farm is lost.
    """
    helpers = helpers or Helpers()
    check_counts(cases, helpers.workers)
    vehicle, how = Vehicle.of(family), truth or Truth()
    law_named(how.law)
    if how.kind:
        kind_named(how.kind).hide(vehicle.family, Chance(seed))
    if not 0.0 <= how.slip <= 1.0:
        says = f"{how.slip:g} is not a chance"
        raise BadInput(Problem(says, "a number from 0 to 1", "correct it", key="slip"))
    names = tuple(arm.name for arm in arms_named(arms or tuple(ARMS)))
    charts = _charts(vehicle, names, seed, moves)
    seeds = [case_seed(seed, index) for index in range(cases)]
    tasks = [
        _Task(family, how, tuple(seeds[k : k + CHUNK]), names, charts)
        for k in range(0, cases, CHUNK)
    ]
    kept = None if out is None else RowFile(out, "per-case.jsonl", {
        "study": "plan", "family_sha256": vehicle.family.sha256, "seed": seed, "moves": moves,
        "truth": asdict(how), "arms": list(names),
    })  # fmt: skip
    sizes = [len(task.seeds) for task in tasks]
    rows = [row for chunk in rows_of(_chunk, tasks, sizes, helpers, kept) for row in chunk]
    answer = answer_of(vehicle, how, seed, names, rows)
    return answer if kept is None else {**answer, "per_case": str(kept.path)}


def _charts(vehicle: Vehicle, arms: Sequence[str], seed: int, moves: int) -> Charts:
    if not {MANUAL, TRAINED} & set(arms):
        return Charts()
    order = manual_order(vehicle.family)
    if TRAINED not in arms:
        return Charts(order)
    return Charts(order, trained_order(vehicle, order, seed + TRAINING, moves))


def _chunk(task: _Task) -> list[Row]:
    vehicle, arms = Vehicle.of(task.family), arms_named(task.arms)
    return [work_case(vehicle, task.truth, seed, arms, task.charts) for seed in task.seeds]


def answer_of(
    vehicle: Vehicle, truth: Truth, seed: int, names: Sequence[str], rows: Sequence[Row]
) -> dict[str, Any]:
    """The study's answer from its rows, one a case in order, as `--out` keeps them."""
    family = vehicle.family
    by_arm = {name: [row["arms"][name] for row in rows] for name in (*names, CLAIRVOYANT)}
    others = [name for name in names if name != OURS] if OURS in names else []
    bound = [row["cost"] for row in by_arm[CLAIRVOYANT]]
    return {
        "format": "idlewright/study/1",
        "made_by": {
            "version": __version__,
            "family": family.id,
            "family_sha256": family.sha256,
            "sheet_sha256": vehicle.sheet.sha256,
        },
        "family": family.id,
        "seed": seed,
        "cases": len(rows),
        "truth": {
            "name": f"{truth.law}, {truth.kind}" if truth.kind else truth.law,
            "tolerance": WIDTH[truth.law],
            "slip": truth.slip,
            "unlisted": truth.unlisted,
            "intermittent": _intermittent(family, truth),
        },
        "arms": [arm_figures(name, by_arm[name], seed) for name in names],
        "pairs": [
            pair_figures(OURS, by_arm[OURS], name, by_arm[name], seed) for name in others
        ],
        "bound": {"clairvoyant": sum(bound) / len(bound)},
    }


def _intermittent(family: Family, truth: Truth) -> float:
    if truth.intermittent is not None:
        return truth.intermittent
    weight = sum(fault.weight for fault in family.faults.values())
    return sum(fault.weight for fault in family.faults.values() if fault.intermittent) / weight
