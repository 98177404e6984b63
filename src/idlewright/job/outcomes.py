"""What each check would answer in every way the car may still be: outcome tables for the plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.belief import AS_GOOD_SHARE, BROAD_SHARE, Belief
from idlewright.diagnosis.pairs import PairRows
from idlewright.diagnosis.pieces import Piece
from idlewright.diagnosis.predictive import predict_pairs, predict_pieces
from idlewright.diagnosis.world import BoolArray
from idlewright.family.kinds import Check, Fault
from idlewright.job.case import noise_of, word_odds
from idlewright.model.cells import IntArray
from idlewright.model.forms import Form, Mode
from idlewright.model.latents import from_scale, noise_in_unit, spread_on_scale
from idlewright.model.scalars import FloatArray
from idlewright.physics.meter import ORDINARY_METER, Meter
from idlewright.physics.normal import log_ndtr, ndtr

MOST_ROWS = 200
"""About how many rows stand for all ways."""
MASS_KEPT = 0.998
"""Suspects that together hold the rest of the odds are left out."""
BINS = 8
FAINTEST = -1e9
"""Log odds below which all ways are alike."""
ODD_SHARE = BROAD_SHARE * (1.0 - AS_GOOD_SHARE)
"""Under something else a check shows anything at all with this chance, else what a good car shows:
as the evidence has it. Were it larger, every check would seem to tell something else from the rest,
and looks that tell nothing would seem worth their minute."""
MOST_PAIRS = 6
PAIR_FROM = 0.01


@dataclass(frozen=True, slots=True)
class Ways:
    """The ways the car may be that matter, H of them; the last is something else.

    Attributes:
        fault: number in the family, -1 nothing wrong, F something else, pairs beyond (pair_code),
            (H,). active: now, (H,). weight: sums to 1, (H,). mean, variance: of latents `numbers`,
            (H, n), working scale (something else: the mixture of the others, much wider).
    """

    fault: np.ndarray[tuple[int], np.dtype[np.int64]]
    active: np.ndarray[tuple[int], np.dtype[np.bool_]]
    weight: FloatArray
    numbers: tuple[int, ...]
    mean: FloatArray
    variance: FloatArray


def ways_of(belief: Belief, numbers: Sequence[int]) -> Ways:
    """Rows that stand for a belief, with what they predict for latents now."""
    model = belief.model
    now = len(belief.case.timeline.times) - 1
    heavy = _telling_rows(belief)
    single = predict_pieces(belief.weigher, [part for part, _ in heavy], numbers, now)
    rows = belief.weigher.rows.take(np.concatenate([part.row for part, _ in heavy]))
    fault, active = [model.cells.fault[rows.cell]], [rows.active[:, now]]
    kept, mean, variance = [np.concatenate([w for _, w in heavy])], [single[0]], [single[1]]
    two = _pairs_now(belief, numbers)
    if two is not None:
        fault.append(two.code)
        active.append(np.ones(len(two.code), dtype=bool))
        kept.append(two.odds)
        mean.append(two.mean)
        variance.append(two.variance)
    inside = np.concatenate(kept)
    share = inside / inside.sum() if inside.any() else np.full(len(inside), 1.0 / len(inside))
    inside = share * (1.0 - belief.other)
    means, variances = np.concatenate(mean), np.concatenate(variance)
    middle = share @ means
    spread = share @ (variances + (means - middle) ** 2)
    return Ways(
        fault=np.append(np.concatenate(fault), len(model.cells.faults)),
        active=np.append(np.concatenate(active), True),
        weight=np.append(inside, belief.other),
        numbers=tuple(numbers),
        mean=np.vstack([means, middle]),
        variance=np.vstack([variances, 4.0 * spread + 1e-6]),
    )


def _telling_rows(belief: Belief) -> list[tuple[Piece, FloatArray]]:
    """Parts of pieces whose rows stand for all, and the odds that each of their rows stands for.

    Every suspect that matters keeps its odds: its rows, from mild to bad, are cut into strata of
    about equal odds, and the middle row of each stands for it. The heaviest rows alone would
    leave out whole suspects wherever many are left.
    """
    pieces = [
        (piece, scenario.ln_weight + piece.ln_weight)
        for scenario in belief.scenarios
        for piece in scenario.weighed.pieces
    ]
    rows = np.concatenate([piece.row for piece, _ in pieces])
    ln = np.maximum(np.concatenate([own for _, own in pieces]), FAINTEST)
    # Beside each other: where nothing listed is possible any more, all their odds are zero.
    weight = np.exp(ln - ln.max())
    severity = np.concatenate([piece.u_mean for piece, _ in pieces])
    known = belief.weigher.rows
    suspect, active = belief.model.cells.fault[known.cell[rows]] + 1, known.active[rows, -1]
    chosen, stands_for = _strata(weight / weight.sum(), suspect, active, severity)
    stands_for *= max(0.0, 1.0 - belief.other - sum(odds for _, odds in belief.pairs))
    found, start = [], 0
    for piece, own in pieces:
        here = (chosen >= start) & (chosen < start + len(own))
        if here.any():
            found.append((piece.take(chosen[here] - start), stands_for[here]))
        start += len(own)
    return found


def _strata(
    weight: FloatArray, suspect: IntArray, active: BoolArray, severity: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Rows that stand for all, ascending, and the weight of what each stands for.

    Args:
        weight: (N,). suspect: numbers from 0, (N,). active: (N,). severity: (N,).
    """
    order = np.lexsort((severity, active, suspect))
    own, mass = suspect[order], weight[order]
    total = np.bincount(own, mass)
    heavy = np.argsort(-total, kind="stable")
    matters = np.zeros(len(total), dtype=bool)
    matters[heavy[: int(np.searchsorted(np.cumsum(total[heavy]), MASS_KEPT * mass.sum())) + 1]] = 1
    root = np.sqrt(np.where(matters, total, 0.0))
    strata = np.maximum(1, np.rint(MOST_ROWS * root / root.sum())).astype(np.intp)
    before = np.cumsum(total) - total
    kept = np.flatnonzero(matters[own] & (mass > 0.0))
    of = own[kept]
    # How far along its suspect the middle of each row lies, in strata.
    along = (np.cumsum(mass) - mass / 2.0)[kept] - before[of]
    along *= strata[of] / total[of]
    stratum = np.clip(along.astype(np.intp), 0, strata[of] - 1)
    label = of * (MOST_ROWS + 1) + stratum
    off_middle = np.abs(along - stratum - 0.5)
    best = np.lexsort((off_middle, label))
    _, first, back = np.unique(label[best], return_index=True, return_inverse=True)
    stands_for: FloatArray = np.bincount(back.reshape(-1), mass[kept][best]).astype(float)
    chosen = order[kept[best[first]]]
    ascending = np.argsort(chosen)
    return chosen[ascending], stands_for[ascending]


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Two faults at once: codes in `Ways.fault`, odds, (Q,); mean, variance of latents, (Q, n)."""

    code: np.ndarray[tuple[int], np.dtype[np.int64]]
    odds: FloatArray
    mean: FloatArray
    variance: FloatArray


def pair_code(count: int, position: int) -> int:
    """Number in `Ways.fault` of the belief's pair at a position; `count` faults are listed."""
    return count + 1 + position


def _pairs_now(belief: Belief, numbers: Sequence[int]) -> _Pairs | None:
    """The pairs worth planning for, with what they predict now."""
    worth = [pair for pair in belief.pairs[:MOST_PAIRS] if pair[1] >= PAIR_FROM]
    if not worth:
        return None
    now = len(belief.case.timeline.times) - 1
    rows = [_heaviest(belief.pair_rows, faults) for faults, _ in worth]
    mean, variance = predict_pairs(belief.weigher, rows, numbers, now)
    count = len(belief.model.cells.faults)
    code = np.array([pair_code(count, position) for position in range(len(worth))])
    return _Pairs(code, np.array([odds for _, odds in worth]), mean, variance)


def _heaviest(rows: Sequence[PairRows], faults: tuple[int, int]) -> tuple[PairRows, int]:
    """The heaviest row of a pair still there, and the part it is in."""
    best: tuple[float, PairRows, int] | None = None
    for part in rows:
        own = np.flatnonzero((part.cells.fault == faults).all(axis=1) & part.on.all(axis=1))
        for row in own:
            if best is None or part.ln_weight[row] > best[0]:
                best = (float(part.ln_weight[row]), part, int(row))
    assert best is not None
    return best[1], best[2]


class Answers:
    """Outcome tables of checks over the ways the car may be.

    Args:
        belief: its model and faults. ways: what matters. meter: whose noise to expect.
    """

    def __init__(self, belief: Belief, ways: Ways, meter: Meter = ORDINARY_METER) -> None:
        self._model = belief.model
        self._ways = ways
        self._meter = meter
        self._pairs = belief.pairs[:MOST_PAIRS]
        self._column = {number: k for k, number in enumerate(ways.numbers)}
        self._at = {fault.id: k for k, fault in enumerate(self._model.cells.faults)}
        self._shows = np.where(ways.active, ways.fault, -1)
        good = ways.weight[:-1] * (ways.fault[:-1] < 0)
        if not good.any():
            good = ways.weight[:-1]
        self._as_good = good / max(float(good.sum()), 1e-12)

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The family's faults in order."""
        return self._model.cells.faults

    def top(self, form: Form) -> float:
        """Largest number the meter shows for this form, in its unit."""
        return noise_of(self._meter, form.function, 0.0, None).top

    def table(self, check: Check, form: Form) -> FloatArray:
        """Chance of each outcome in each way, (H, O)."""
        if form.modes and check.read != "word":
            table = self._numbers(check, form)
        elif form.words:
            table = self._words(form)
        else:
            table = self._odds(form)
        table = table.copy()
        as_good = self._as_good @ table[:-1]
        table[-1] = (1.0 - ODD_SHARE) * as_good + ODD_SHARE / table.shape[1]
        table = np.maximum(table, 1e-9)
        normal: FloatArray = table / table.sum(axis=1, keepdims=True)
        return normal

    def modes(self, modes: Sequence[Mode]) -> FloatArray:
        """Chance of each mode in each way, (H, M), by its boxes one at a time."""
        ln = np.zeros((len(self._ways.weight), len(modes)))
        if len(modes) == 1:
            return np.exp(ln)
        for k, mode in enumerate(modes):
            for box in mode.boxes:
                column = self._column[self._model.number_of(box.latent)]
                sd = np.sqrt(self._ways.variance[:, column] + box.blur**2)
                low = (box.low - self._ways.mean[:, column]) / sd
                high = (box.high - self._ways.mean[:, column]) / sd
                ln[:, k] += _ln_inside(low, high)
        chance = np.exp(ln - ln.max(axis=1, keepdims=True))
        normal: FloatArray = chance / chance.sum(axis=1, keepdims=True)
        return normal

    def number(self, mode: Mode, form: Form) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of what a meter would show in one mode, working scale, (H,) each."""
        assert mode.number is not None
        column = self._column[self._model.number_of(mode.number)]
        mean, variance = self._ways.mean[:, column], self._ways.variance[:, column]
        middle = float(self._ways.weight @ mean)
        value = float(from_scale(form.scale, np.array([middle]))[0])
        noise = noise_of(self._meter, form.function, value, None)
        extra = noise_in_unit(form.scale, form.noise, value)
        own = noise.own**2 + extra**2 + noise.step**2 / 12.0 + (noise.gain * value) ** 2
        return mean, variance + float(spread_on_scale(form.scale, value, math.sqrt(own))) ** 2

    def _numbers(self, check: Check, form: Form) -> FloatArray:
        chance = self.modes(form.modes)
        drawn = [self.number(mode, form) for mode in form.modes if mode.number is not None]
        edges = _edges(self._ways.weight, chance, drawn)
        table = np.zeros((len(self._ways.weight), len(edges) + 1))
        for k, (mean, variance) in enumerate(drawn):
            sd = np.sqrt(variance)
            below = ndtr((edges[None, :] - mean[:, None]) / sd[:, None])
            below *= chance[:, k : k + 1]
            table[:, :-1] += below
            table[:, 1:] -= below
            table[:, -1] += chance[:, k]
        return table

    def _words(self, form: Form) -> FloatArray:
        columns = [np.exp(self._ln_word(modes)) for modes in form.words.values()]
        table = np.stack(columns, axis=1) + 1e-6
        normal: FloatArray = table / table.sum(axis=1, keepdims=True)
        return normal

    def _ln_word(self, modes: Sequence[Mode]) -> FloatArray:
        total = np.full(len(self._ways.weight), -math.inf)
        for mode in modes:
            ln = np.zeros(len(self._ways.weight))
            for box in mode.boxes:
                column = self._column[self._model.number_of(box.latent)]
                sd = np.sqrt(self._ways.variance[:, column] + box.blur**2)
                low = (box.low - self._ways.mean[:, column]) / sd
                high = (box.high - self._ways.mean[:, column]) / sd
                ln = ln + _ln_inside(low, high)
            total = np.logaddexp(total, ln)
        return total

    def _odds(self, form: Form) -> FloatArray:
        columns = []
        for word in form.odds:
            odds, base = word_odds(form, word)
            chance = np.full(len(self._at) + 2 + len(self._pairs), base)
            for fault, own in odds.items():
                chance[self._at[fault]] = own
            for position, (faults, _) in enumerate(self._pairs):
                two = [chance[fault] for fault in faults]
                code = pair_code(len(self._at), position)
                chance[code] = max(two) if base < 0.5 else min(two)
            columns.append(chance[self._shows])
        return np.stack(columns, axis=1)


def _ln_inside(low: FloatArray, high: FloatArray) -> FloatArray:
    """ln(Phi(high) - Phi(low)), floored."""
    upper = np.where(low > 0, -low, high)
    lower = np.where(low > 0, -high, low)
    top = log_ndtr(upper)
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = top + np.log1p(-np.exp(np.minimum(log_ndtr(lower) - top, 0.0)))
    return np.where(np.isfinite(inside), np.maximum(inside, -40.0), -40.0)


def _edges(
    weight: FloatArray, chance: FloatArray, drawn: Sequence[tuple[FloatArray, FloatArray]]
) -> FloatArray:
    """Cuts that split what is expected into BINS parts of about equal chance."""
    points, shares = [], []
    for k, (mean, variance) in enumerate(drawn):
        sd = np.sqrt(variance)
        for step, part in ((-1.2, 0.25), (0.0, 0.5), (1.2, 0.25)):
            points.append(mean[:-1] + step * sd[:-1])
            shares.append(part * weight[:-1] * chance[:-1, k])
    flat, mass = np.concatenate(points), np.concatenate(shares)
    order = np.argsort(flat)
    cumulative = np.cumsum(mass[order]) / max(mass.sum(), 1e-300)
    targets = np.arange(1, BINS) / BINS
    found = flat[order][np.minimum(np.searchsorted(cumulative, targets), len(order) - 1)]
    rising: FloatArray = found[np.append(True, found[1:] > found[:-1])]
    return rising
