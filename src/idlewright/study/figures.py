"""Rows of cases into the figures of each arm, and arms compared on the same cars."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from idlewright.job.severity import LEVEL as SEVERITY_LEVEL
from idlewright.practice.chance import Chance
from idlewright.study.cases import Row
from idlewright.study.score import (
    bootstrap_mean,
    calibration,
    clopper_pearson,
    paired_bootstrap,
    sure_answers,
)

LEAST_P = 1e-9
"""Log loss counts no probability as less, so that one certainty gone wrong stays a number."""


def arm_figures(name: str, rows: Sequence[Row], seed: int) -> dict[str, Any]:
    """One arm's entry in the answer.

    Args:
        name: of the arm. rows: one a case, in the order of the cases. seed: of the bootstrap.
    """
    cost = bootstrap_mean([row["cost"] for row in rows], seed=_seed(seed, name))
    minutes = np.array([row["minutes"] for row in rows])
    stated = np.array([row["p_leader"] for row in rows])
    right = np.array([float(row["right_fault"]) for row in rows])
    covered = [row["covered"] for row in rows if row["covered"] is not None]
    sure = sure_answers(np.minimum(stated, 1.0), right)
    return {
        "name": name,
        "total_cost": {"mean": cost.value, "low": cost.low, "high": cost.high},
        "minutes": {"mean": float(minutes.mean()), "p90": float(np.quantile(minutes, 0.9))},
        "right_repair": _share([row["right_repair"] for row in rows]),
        "right_fault": _share([row["right_fault"] for row in rows]),
        "wrong_parts": _mean([row["wrong_parts"] for row in rows]),
        "checks": _mean([len(row["checks"]) for row in rows]),
        "brier": _mean([row["brier"] for row in rows]),
        "log_loss": _mean([-np.log(max(row["p_true"], LEAST_P)) + 0.0 for row in rows]),
        "sure": {"n": sure.n, "wrong": sure.wrong, "upper": sure.upper},
        "reliability": [
            {"from": b.low, "to": b.high, "n": b.n, "mean_p": b.mean_p, "share_true": b.share_true}
            for b in calibration(np.minimum(stated, 1.0), right)
        ],
        "severity_cover": {"level": SEVERITY_LEVEL, "k": sum(covered), "n": len(covered)},
    }


def pair_figures(a: str, first: Sequence[Row], b: str, second: Sequence[Row], seed: int) -> Row:
    """Mean difference of cost between two arms on the same cases, with its interval."""
    found = paired_bootstrap(
        [row["cost"] for row in first], [row["cost"] for row in second], seed=_seed(seed, a, b)
    )
    return {
        "a": a,
        "b": b,
        "difference": found.value,
        "low": found.low,
        "high": found.high,
        "level": found.level,
        "method": "paired bootstrap",
    }


def _seed(seed: int, *names: str) -> int:
    return int(Chance(seed).of("bootstrap", *names).integers(2**31))


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values))


def _share(came: Sequence[bool]) -> dict[str, Any]:
    k, n = sum(map(bool, came)), len(came)
    found = clopper_pearson(k, n)
    return {"k": k, "n": n, "low": found.low, "high": found.high}
