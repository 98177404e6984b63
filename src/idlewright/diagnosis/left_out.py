"""Which readings the others would do better without: a quick glance before slips are weighed."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.combinations import Combination, combinations
from idlewright.diagnosis.evidence import LEVELS, Sight, Weigher
from idlewright.diagnosis.gaussian import evidence_of_block, posterior
from idlewright.diagnosis.pieces import ln_sum
from idlewright.model.scalars import FloatArray

MOST_MODES = 3
"""Combinations of modes looked at."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Quick log evidence, prior of the rows included.

    Attributes:
        together: of everything. apart: of everything but each reading, (n,).
        by_look_together: of each look by everything, (U,). by_look: by everything but each
            reading, (n, U).
    """

    together: float
    apart: FloatArray
    by_look_together: FloatArray
    by_look: FloatArray


def leave_one_out(weigher: Weigher, sight: Sight) -> LeftOut:
    """Quick evidence of everything, and of everything but each reading.

    Physics on the bank's lines, the MOST_MODES most hopeful combinations of modes, and the other
    words' EP sites kept: good enough to tell which readings deserve a full look, and to re-weigh by
    an unlikely slip, not for the odds of a likely one.
    """
    looks = sight.looks
    variance = 4.0 * np.einsum("iiu->iu", looks.kernel[:-1, :-1])
    prior = weigher.ln_prior(sight.seen, sight.times) + looks.edge
    heavy = _by_look(sight, prior)
    together = np.full(len(looks.row), -np.inf)
    apart = np.full((len(sight.seen), len(looks.row)), -np.inf)
    hopeful = combinations(sight.factors.of, sight.factors.items, looks.mean[:-1], variance)
    counted: list[set[tuple[int, ...]]] = [set() for _ in sight.seen]
    for chosen in hopeful[:MOST_MODES]:
        rests = [_rest_of(sight, chosen, position) for position in range(len(sight.seen))]
        blocks, own_ln = _blocks(sight, chosen)
        numbers = len(weigher.observed(sight, chosen.factors).y)
        for level, ln_level in LEVELS:
            fit = _fit(weigher, sight, chosen, level)
            ln = heavy + fit.ln_z + (ln_level + chosen.ln_weight)
            together = np.logaddexp(together, ln + fit.inside(weigher, sight, []))
            by_row = np.moveaxis(fit.gain, 2, 0)
            for position, block in enumerate(blocks):
                if rests[position] in counted[position]:
                    continue  # without its own modes the combination was met before
                added = evidence_of_block(fit.pull.T, by_row, block, numbers)
                left = ln - added - own_ln[position] + fit.inside(weigher, sight, block)
                apart[position] = np.logaddexp(apart[position], left)
        for known, rest in zip(counted, rests, strict=True):
            known.add(rest)
    for position, one in enumerate(sight.seen):
        if not one.alternatives:
            alone = weigher.ln_prior([one], [sight.times[position]]) - weigher.rows.ln_prior
            apart[position] = together + _by_look(sight, prior - alone) - heavy
    without = np.array([ln_sum(ln) for ln in apart])
    return LeftOut(ln_sum(together), without, together, apart)


def _rest_of(sight: Sight, chosen: Combination, position: int) -> tuple[int, ...]:
    """A combination without the alternative of one reading."""
    if not sight.factors.of[position]:
        return chosen.picked
    own = sum(bool(options) for options in sight.factors.of[:position])
    return (*chosen.picked[:own], *chosen.picked[own + 1 :])


def _by_look(sight: Sight, ln: FloatArray) -> FloatArray:
    """Log weight of each look's rows together, (U,), of log weights by row, (R,)."""
    top = float(ln.max())
    count = len(sight.looks.row)
    total = np.bincount(sight.looks.of, np.exp(ln - top), count)
    return top + np.log(np.maximum(total, 1e-300))


def _blocks(sight: Sight, chosen: Combination) -> tuple[list[list[int]], list[float]]:
    """For each reading its own factors' positions, and the log weight of the alternative picked."""
    able = [options for options in sight.factors.of if options]
    picked = {id(options): options[k] for options, k in zip(able, chosen.picked, strict=True)}
    used = Counter(i for option in picked.values() for i in option.factors)
    blocks, own_ln = [], []
    for options in sight.factors.of:
        option = picked.get(id(options)) if options else None
        own = [i for i in option.factors if used[i] == 1] if option else []
        blocks.append([chosen.factors.index(i) for i in own])
        own_ln.append(option.ln_weight if option else 0.0)
    return blocks, own_ln


@dataclass(frozen=True, slots=True)
class _Fit:
    """Every look conditioned on some factors.

    Attributes:
        ln_z: log evidence, the ends of severities not counted, (U,). pull: (m, U), gain: (m, m, U),
            as in Conditioned. by_u: covariance of the factors with the severity, (m, U).
    """

    ln_z: FloatArray
    pull: FloatArray
    gain: FloatArray
    by_u: FloatArray

    def inside(self, weigher: Weigher, sight: Sight, without: list[int]) -> FloatArray:
        """Log share of each look's severity inside its range, by all factors but some, (U,).

        A factor that is left out no longer holds the severity: a look that it alone brought inside
        must not keep that credit.
        """
        along = np.einsum("iju,ju->iu", self.gain, self.by_u)
        mean = (self.by_u * self.pull).sum(axis=0)
        left = 1.0 - (self.by_u * along).sum(axis=0)
        if without:
            block = np.moveaxis(self.gain[np.ix_(without, without)], 2, 0)
            block = block + 1e-12 * np.eye(len(without))
            part = np.linalg.solve(block, along[without].T[:, :, None])[:, :, 0].T
            mean = mean - (part * self.pull[without]).sum(axis=0)
            left = left + (part * along[without]).sum(axis=0)
        return weigher.inside(sight, np.arange(len(sight.looks.row)), mean, left)


def _fit(weigher: Weigher, sight: Sight, chosen: Combination, level: float) -> _Fit:
    looks = sight.looks
    everyone = np.arange(len(looks.row))
    kernel = looks.widened(chosen.factors, level, everyone)
    mean = looks.means(chosen.factors, everyone)[:-1]
    result = posterior(mean, kernel[:-1, :-1], weigher.observed(sight, chosen.factors))
    return _Fit(result.ln_z, result.weight, result.gain, kernel[-1, :-1])
