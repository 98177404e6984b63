"""`study gaps`: which faults no check shows, and which no check tells apart.

How far two cars lie apart on a check is counted in standard deviations of tolerances and meter
together. For words the same measure comes from their odds: sqrt(2 x relative entropy), which for
two normal laws of equal width is just their distance. A fault is taken at the middle of its
severity, while it is there; against another fault the worst is assumed: that other's most similar
severity. What the sheet leaves open is taken as the likeliest.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from idlewright.family.kinds import Family
from idlewright.model.answers import (
    mode_chances,
    reading_variance,
    stated_odds,
    top_of,
    word_chances,
)
from idlewright.model.cells import IntArray
from idlewright.model.compiled import STANDARD_OHM, CompiledModel
from idlewright.model.curves import Curve, inner_cells, line_curve
from idlewright.model.forms import Form, form_of_check
from idlewright.model.scalars import FloatArray
from idlewright.physics.meter import ORDINARY_METER, Meter
from idlewright.version import __version__

SEEN = 2.0
"""A fault is seen, and two are told apart, from this many standard deviations on."""
MOST_SIGMA = 99.0
FLOOR = 1e-3
"""Smallest odds of an answer that is counted with: nobody's word is surer."""
WORTH = 0.8
"""Two faults have the same repair if one repair cures both, each nearly as well as its best."""


def gaps(model: CompiledModel, meter: Meter = ORDINARY_METER) -> dict[str, Any]:
    """Gaps of a family's checks as a JSON-ready dict, format idlewright/gaps/1.

    Args:
        model: of the family and a sheet. meter: what everything is read with.

    Returns:
        `faults`: per fault the check that shows it best, and how far from a good car; `silent` if
        that is under `seen` standard deviations, `declared` if the family's file says so.
        `pairs`: every two faults, the check that tells them apart best, and how far.
    """
    looks = _Looks.of(model, meter)
    shown = looks.against_good()
    return {
        "format": "idlewright/gaps/1",
        "made_by": {
            "version": __version__,
            "family": model.family.id,
            "family_sha256": model.family.sha256,
            "sheet_sha256": model.sheet.sha256 if model.sheet.values else None,
        },
        "family": model.family.id,
        "seen": SEEN,
        "faults": list(_faults(model.family, looks, shown)),
        "pairs": list(_pairs(model.family, looks, shown)),
    }


def is_silent(found: dict[str, Any]) -> bool:
    """Whether any fault is silent that the family's file does not declare as such."""
    return any(fault["silent"] and not fault["declared"] for fault in found["faults"])


def _faults(family: Family, looks: _Looks, shown: FloatArray) -> Iterator[dict[str, Any]]:
    for number, fault in enumerate(family.faults.values()):
        best = int(shown[number].argmax())
        sigma = _told(shown[number, best])
        yield {
            "fault": fault.id,
            "say": fault.say,
            "check": looks.checks[best] if sigma > 0 else None,
            "sigma": sigma,
            "silent": sigma < SEEN,
            "declared": fault.silent,
        }


def _pairs(family: Family, looks: _Looks, shown: FloatArray) -> Iterator[dict[str, Any]]:
    apart, where = looks.against_each_other()
    faults = list(family.faults.values())
    for b, second in enumerate(faults):
        for a, first in enumerate(faults[:b]):
            way = (a, b) if apart[a, b] <= apart[b, a] else (b, a)
            sigma = _told(apart[way])
            yield {
                "a": first.id,
                "b": second.id,
                "check": looks.checks[where[way]] if sigma > 0 else None,
                "sigma": sigma,
                "told_apart": sigma >= SEEN,
                "same_repair": same_repair(family, first.id, second.id),
            }


def same_repair(family: Family, a: str, b: str) -> bool:
    """Whether one repair cures both faults, each nearly as well as the best repair for it."""
    best = {
        fault: max((r.cures.get(fault, 0.0) for r in family.repairs.values()), default=0.0)
        for fault in (a, b)
    }
    return any(
        all(repair.cures.get(fault, 0.0) >= max(WORTH * best[fault], FLOOR) for fault in (a, b))
        for repair in family.repairs.values()
    )


def _told(sigma: float) -> float:
    return round(min(float(sigma), MOST_SIGMA), 3)


@dataclass(frozen=True, slots=True)
class _Look:
    """One check in C cells, then on the good car.

    Attributes:
        mean, variance: of the number shown, working scale, (C + 1,), or None.
        odds: of each word, (C + 1, W), or None.
    """

    mean: FloatArray | None
    variance: FloatArray | None
    odds: FloatArray | None

    def apart(self, first: IntArray, second: IntArray) -> FloatArray:
        """Standard deviations between cells, (A, B)."""
        far = np.zeros((len(first), len(second)))
        if self.mean is not None and self.variance is not None:
            difference = self.mean[first][:, None] - self.mean[second][None, :]
            pooled = 0.5 * (self.variance[first][:, None] + self.variance[second][None, :])
            far = np.abs(difference) / np.sqrt(pooled)
        if self.odds is not None:
            p, ln = self.odds[first], np.log(self.odds)
            entropy = (p * ln[first]).sum(axis=1)[:, None] - p @ ln[second].T
            far = np.maximum(far, np.sqrt(2.0 * np.maximum(entropy, 0.0)))
        return far


@dataclass(frozen=True, slots=True)
class _Looks:
    """Every check of a family.

    Attributes:
        checks: ids. looks: one each. fault: fault of each cell, (C,). middle: cell of each fault at
            the middle of its severity, (F,).
    """

    checks: tuple[str, ...]
    looks: tuple[_Look, ...]
    fault: IntArray
    middle: IntArray

    @classmethod
    def of(cls, model: CompiledModel, meter: Meter) -> _Looks:
        cells = model.cells
        variant = int(np.argmax(model.table.variant_weight))
        inner = inner_cells(model)
        inner = inner[(cells.variant[inner] == variant) & (cells.fault[inner] >= 0)]
        where = np.append(inner, cells.good[variant])
        fault = cells.fault[inner]
        off = np.abs(cells.centre[inner] - 0.5)
        middle = np.array([_nearest(off, fault, k) for k in range(len(cells.faults))])
        checks = tuple(model.family.checks)
        forms = [form_of_check(model.family, c, STANDARD_OHM) for c in model.family.checks.values()]
        looks = tuple(_look(model, form, where, meter) for form in forms)
        return cls(checks, looks, fault, middle)

    def against_good(self) -> FloatArray:
        """Every fault against a good car on every check, (F, checks)."""
        good = np.array([len(self.fault)])
        return np.concatenate([look.apart(self.middle, good) for look in self.looks], axis=1)

    def against_each_other(self) -> tuple[FloatArray, IntArray]:
        """How far each fault is from the most similar severity of each other, and on which check.

        Returns:
            (F, F) standard deviations and check numbers.
        """
        everywhere = np.arange(len(self.fault))
        best = np.zeros((len(self.middle), len(everywhere)))
        where = np.zeros(best.shape, dtype=np.int64)
        for number, look in enumerate(self.looks):
            far = look.apart(self.middle, everywhere)
            better = far > best
            best[better] = far[better]
            where[better] = number
        count = len(self.middle)
        apart, check = np.empty((count, count)), np.empty((count, count), dtype=np.int64)
        rows = np.arange(count)
        for other in range(count):
            own = np.flatnonzero(self.fault == other)
            nearest = own[best[:, own].argmin(axis=1)]
            apart[:, other], check[:, other] = best[rows, nearest], where[rows, nearest]
        return apart, check


def _nearest(off: FloatArray, fault: IntArray, number: int) -> int:
    own = np.flatnonzero(fault == number)
    return int(own[off[own].argmin()])


def _look(model: CompiledModel, form: Form, cell: IntArray, meter: Meter) -> _Look:
    curves = {latent: line_curve(model, model.number_of(latent), cell) for latent in form.latents()}
    odds = None
    if form.words:
        odds = word_chances(form, curves)
    elif form.odds:
        odds = _stated(model, form, cell)
    if odds is not None:
        odds = np.maximum(odds, FLOOR)
        odds /= odds.sum(axis=1, keepdims=True)
    if not form.modes:
        return _Look(None, None, odds)
    mean, variance = _number(form, curves, meter)
    return _Look(mean, variance, odds)


def _stated(model: CompiledModel, form: Form, cell: IntArray) -> FloatArray:
    ids = [fault.id for fault in model.cells.faults]
    of_fault = {
        number: list(stated_odds(form, ids[number] if number >= 0 else None).values())
        for number in np.unique(model.cells.fault[cell]).tolist()
    }
    return np.array([of_fault[number] for number in model.cells.fault[cell].tolist()])


def _number(form: Form, curves: dict[Any, Curve], meter: Meter) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of what the meter shows, all modes together, no more than its top."""
    chance = mode_chances(form.modes, curves)
    told = [k for k, mode in enumerate(form.modes) if mode.number is not None]
    chance = chance[:, told] / np.maximum(chance[:, told].sum(axis=1, keepdims=True), 1e-12)
    means, variances = [], []
    for k in told:
        here = curves[form.modes[k].number]
        x = np.minimum(here.mean[:, 0], top_of(meter, form))
        means.append(x)
        variances.append(here.sd[:, 0] ** 2 + reading_variance(form, meter, x))
    mean, variance = np.stack(means, axis=1), np.stack(variances, axis=1)
    middle = (chance * mean).sum(axis=1)
    spread = (chance * (variance + (mean - middle[:, None]) ** 2)).sum(axis=1)
    return middle, spread
