"""How each reading moved the odds: the same weighing with the readings that came before it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from idlewright.diagnosis.belief import Belief, Case, believe
from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.predictive import predict_latents
from idlewright.diagnosis.prior import Prior
from idlewright.job.groups import Group, probabilities
from idlewright.model.scalars import FloatArray

SMALLEST = 1e-9


@dataclass(frozen=True, slots=True)
class Moves:
    """Odds after each reading, (n + 1, G + 2), and each reading's surprise, (n,).

    The surprise is the predictive tail probability of a reading before it entered: of a number
    both tails, of a word its own chance with all less likely ones.
    """

    odds: FloatArray
    surprise: FloatArray


def moves(belief: Belief, prior: Prior, groups: tuple[Group, ...]) -> Moves:
    """History of a belief. A reading that is now taken for a slip counts in none of it."""
    case = belief.case
    odds = []
    surprise = np.ones(len(case.seen))
    kept = [k for k in range(len(case.seen)) if belief.slip[k] < 0.5]
    before: list[int] = []
    state = _partial(belief, case, prior, before)
    odds.append(probabilities(state, groups))
    for k, one in enumerate(case.seen):
        surprise[k] = _surprise(state, one, case.times[k])
        if k in kept:
            before = [*before, k]
            last = k == len(case.seen) - 1 and len(kept) == len(case.seen)
            state = belief if last else _partial(belief, case, prior, before)
        odds.append(probabilities(state, groups))
    odds[-1] = probabilities(belief, groups)
    return Moves(np.array(odds), surprise)


def _partial(belief: Belief, case: Case, prior: Prior, which: list[int]) -> Belief:
    part = Case(
        tuple(case.seen[k] for k in which), tuple(case.times[k] for k in which), case.timeline
    )
    return believe(belief.model, part, prior, passes=0, slips=False)


def _surprise(belief: Belief, one: Seen, time: int) -> float:
    """Predictive tail probability of a reading under the belief before it."""
    single = next((a for a in one.alternatives if len(a.numbers) == 1), None)
    if single is None or not belief.scenarios:
        return _word_surprise(belief, one, time)
    factor = single.numbers[0]
    number = belief.model.number_of(factor.latent)
    below = above = 0.0
    for piece in belief.scenarios[0].weighed.pieces:
        mean, variance = predict_latents(belief.weigher, piece, [number], time)
        sd = np.sqrt(variance[:, 0] + factor.variance + factor.gain**2)
        weight = np.exp(belief.scenarios[0].ln_weight + piece.ln_weight - belief.ln_evidence)
        at = ndtr((factor.y - mean[:, 0]) / sd)
        below += float(weight @ at)
        above += float(weight @ (1.0 - at))
    total = max(below + above, 1e-300)
    return float(min(1.0, 2.0 * min(below, above) / total))


def _word_surprise(belief: Belief, one: Seen, time: int) -> float:
    """Chance of a word under the belief before it (ratio of evidence with and without)."""
    weigher = belief.weigher
    case = belief.case
    together = weigher.weigh((*case.seen, one), (*case.times, time)).ln_total
    alone = weigher.weigh(case.seen, case.times).ln_total if case.seen else 0.0
    if not case.seen:
        alone = float(np.logaddexp.reduce(weigher.rows.ln_prior))
    return float(min(1.0, math.exp(min(0.0, together - alone))))


def decibans(before: float, after: float) -> float:
    """Change of log-odds in decibans, with both kept off 0 and 1."""
    b = min(max(before, SMALLEST), 1.0 - SMALLEST)
    a = min(max(after, SMALLEST), 1.0 - SMALLEST)
    return 10.0 * (math.log10(a / (1.0 - a)) - math.log10(b / (1.0 - b)))
