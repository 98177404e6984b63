"""What the next check would read: on a good car, and under each of the leading suspects."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from idlewright.family.kinds import Check, Sheet
from idlewright.job.groups import Group
from idlewright.job.outcomes import Answers, Ways
from idlewright.job.verdicts import limits_of_spec
from idlewright.model.forms import Form
from idlewright.model.latents import from_scale

SHOWN = 5
TAIL = 1.2816
"""Ninetieth percentile of a normal law: ranges hold four fifths."""


def good_reading(check: Check, sheet: Sheet) -> dict[str, object]:
    """Limits or words of a good car, with the page."""
    if check.spec is None:
        return {"low": None, "high": None, "words": [], "page": None}
    limits, page = limits_of_spec(check.spec, sheet)
    return {
        "low": limits.low if limits is not None else None,
        "high": limits.high if limits is not None else None,
        "words": list(check.spec.words),
        "page": page,
    }


def would_read(
    check: Check,
    form: Form,
    answers: Answers,
    ways: Ways,
    groups: Sequence[Group],
    odds: np.ndarray,
) -> list[dict[str, object]]:
    """Predictions of one check under the leading suspects, likeliest first."""
    ids = [fault.id for fault in answers.faults]
    found = []
    for k in np.argsort(-odds)[:SHOWN]:
        if k < len(groups):
            own = np.isin(ways.fault, groups[k].faults)
            names = [ids[groups[k].faults[0]]]
        elif k == len(groups):
            own, names = ways.fault == -1, []
        else:
            continue
        if own.any():
            found.append({"faults": names, **_row(check, form, answers, ways, own)})
    return found


def _row(
    check: Check, form: Form, answers: Answers, ways: Ways, own: np.ndarray
) -> dict[str, object]:
    weight = ways.weight[own] / max(float(ways.weight[own].sum()), 1e-300)
    if not form.modes or check.read == "word":
        table = answers.table(check, form)[own]
        words = list(form.words) or list(form.odds)
        chances = weight @ table
        return {
            "low": None,
            "median": None,
            "high": None,
            "words": {word: float(p) for word, p in zip(words, chances, strict=True)},
            "overload": 0.0,
        }
    chance = answers.modes(form.modes)[own]
    means, spreads, shares = [], [], []
    for k, mode in enumerate(form.modes):
        mean, variance = answers.number(mode, form)
        means.append(mean[own])
        spreads.append(np.sqrt(variance[own]))
        shares.append(weight * chance[:, k])
    low, median, high = _quantiles(
        np.concatenate(means), np.concatenate(spreads), np.concatenate(shares)
    )
    natural = [float(x) for x in from_scale(form.scale, np.array([low, median, high]))]
    top = answers.top(form)
    return {
        "low": natural[0],
        "median": natural[1],
        "high": natural[2],
        "words": {},
        "overload": float(natural[1] >= top),
    }


def _quantiles(mean: np.ndarray, sd: np.ndarray, share: np.ndarray) -> tuple[float, float, float]:
    """Tenth, fiftieth and ninetieth percentile of a mixture of normals (by its quantile points)."""
    steps = np.array([-TAIL, -0.5244, 0.0, 0.5244, TAIL])
    points = (mean[:, None] + steps * sd[:, None]).ravel()
    weight = np.repeat(share / len(steps), len(steps))
    order = np.argsort(points)
    cumulative = np.cumsum(weight[order]) / max(weight.sum(), 1e-300)
    picked = [
        points[order][min(int(np.searchsorted(cumulative, p)), len(order) - 1)]
        for p in (0.1, 0.5, 0.9)
    ]
    return float(picked[0]), float(picked[1]), float(picked[2])
