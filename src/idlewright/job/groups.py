"""Faults that no check tells apart and the same repair cures are one suspect."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.belief import Belief
from idlewright.job.case import noise_of
from idlewright.model.compiled import CompiledModel
from idlewright.model.forms import Form, form_of_check
from idlewright.model.latents import from_scale, spread_on_scale
from idlewright.model.scalars import FloatArray
from idlewright.physics.meter import ORDINARY_METER

ALIKE = 0.25
"""Two faults are alike if no check's mean differs by more than this many standard deviations."""


@dataclass(frozen=True, slots=True)
class Group:
    """Faults shown as one suspect: numbers in the family."""

    faults: tuple[int, ...]


def groups_of(model: CompiledModel, forms: Mapping[str, Form]) -> tuple[Group, ...]:
    """Partition of the family's faults into suspects."""
    faults = model.cells.faults
    repairs = model.family.repairs.values()
    cures = [sorted((r.id, r.cures[f.id]) for r in repairs if f.id in r.cures) for f in faults]
    looks = _looks(model, forms)
    middle, spread = _signatures(model, forms)
    left = list(range(len(faults)))
    found = []
    while left:
        first = left.pop(0)
        same = [
            k
            for k in left
            if cures[k] == cures[first]
            and faults[k].intermittent == faults[first].intermittent
            and looks[k] == looks[first]
            and bool(np.all(np.abs(middle[k] - middle[first]) < ALIKE * spread))
        ]
        left = [k for k in left if k not in same]
        found.append(Group((first, *same)))
    return tuple(found)


def _looks(
    model: CompiledModel, forms: Mapping[str, Form]
) -> list[tuple[tuple[str, str, float], ...]]:
    """Check, word and odds of every word that speaks for each fault, (F,)."""
    return [
        tuple(
            (check, word, odds[fault.id])
            for check, form in forms.items()
            for word, odds in form.odds.items()
            if fault.id in odds
        )
        for fault in model.cells.faults
    ]


def _signatures(model: CompiledModel, forms: Mapping[str, Form]) -> tuple[np.ndarray, np.ndarray]:
    """Mean of every latent at mild, middle and severe, (F, 3 n), and its spread, (3 n,)."""
    columns, spreads = [], []
    cells = model.cells
    usual = (cells.variant == 0) & (cells.centre >= 0) & (cells.centre <= 1)
    rows = [np.flatnonzero((cells.fault == k) & usual) for k in range(len(cells.faults))]
    picks = np.array([[own[0], own[len(own) // 2], own[-1]] for own in rows])
    good = cells.good[:1]
    for form in forms.values():
        for latent in form.latents():
            bank = model.rows(model.number_of(latent))
            mean, slopes = bank.at(good)
            value = float(from_scale(latent.scale, mean[0]))
            noise = noise_of(ORDINARY_METER, form.function, value, None)
            own = noise.own + noise.step / 3.46
            sd = (
                np.sqrt(
                    (slopes[0].astype(float) ** 2).sum()
                    + float(spread_on_scale(latent.scale, value, own)) ** 2
                )
                + 1e-9
            )
            columns.append(bank.x[picks])
            spreads.append(np.full(3, sd))
    return np.concatenate(columns, axis=1), np.concatenate(spreads)


def all_forms(model: CompiledModel) -> dict[str, Form]:
    """The form of every check of the model's family, with a usual meter."""
    family = model.family
    return {check.id: form_of_check(family, check, 10e6) for check in family.checks.values()}


def grouped(
    fault: FloatArray, good: float, other: float, groups: tuple[Group, ...]
) -> FloatArray:
    """Odds of each group, then nothing wrong, then something else, (G + 2,), of odds by fault."""
    inside = [float(fault[list(group.faults)].sum()) for group in groups]
    return np.array([*inside, good, other])


def probabilities(belief: Belief, groups: tuple[Group, ...]) -> np.ndarray:
    """Probability of each group, then nothing wrong, then something else, (G + 2,)."""
    return grouped(belief.fault, belief.good, belief.other, groups)
