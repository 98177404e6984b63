"""Which pairs of faults could matter: screened by adding the effects of single faults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.combinations import Factors, Option, densities, observe
from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.gaussian import inside_range
from idlewright.diagnosis.prior import Prior
from idlewright.model.cells import IntArray
from idlewright.model.compiled import CompiledModel
from idlewright.model.forms import Box
from idlewright.model.scalars import FloatArray

COARSE = (0.15, 0.5, 0.85)
KEPT = 40
REACH = 0.17
"""Half the way between two COARSE severities: how far a straight line is trusted."""
LEAST_INSIDE = -60.0
LEAST_CHANCE = 1e-9


@dataclass(frozen=True, slots=True)
class Hopes:
    """What a screen found.

    Attributes:
        pairs: of faults' numbers, most hopeful first. better: how much likelier the best pair is
            than the best single fault, prior odds included, in nats.
    """

    pairs: tuple[tuple[int, int], ...]
    better: float


class PairScreen:
    """The most hopeful pairs of one job, by straight lines through single faults' cells.

    Args:
        model: compiled family and sheet. variant: of the car. prior: of the job.
        factors: of its readings. seen: the readings. news: whether each one's word says something
            new. ln_second: log chance of a second fault.
    """

    def __init__(
        self,
        model: CompiledModel,
        variant: int,
        prior: Prior,
        factors: Factors,
        seen: Sequence[Seen],
        news: Sequence[bool],
        ln_second: float,
    ) -> None:
        self._model = model
        self._prior = prior
        self._factors = factors
        self._words = [one for one, new in zip(seen, news, strict=True) if new]
        self._ln_second = ln_second
        self._variant = variant
        good = np.array([model.cells.good[self._variant]])
        mean, tolerance = model.bank_at(factors.latents, good)
        self._good = mean[0]
        self._kernel = 4.0 * tolerance[0] @ tolerance[0].T

    def best(self) -> Hopes:
        """Pairs worth weighing, at most KEPT."""
        picks, owner = self._coarse()
        banks = [self._model.rows(number) for number in self._factors.latents]
        effect = np.stack([bank.x[picks] for bank in banks], axis=1) - self._good
        reach = REACH / np.maximum(self._model.cells.spread[picks], 1e-9)
        slope = np.stack([bank.by_severity(picks) for bank in banks], axis=1) * reach[:, None]
        words = self._said(owner)
        keep = (np.abs(effect).max(axis=1) > 1e-9) | (words.max(axis=0) > words.min())
        keep[0] = True  # the good car: a pair of it with a fault is that fault alone
        effect, slope, owner, words = effect[keep], slope[keep], owner[keep], words[:, keep]
        ln = np.where(owner < 0, 0.0, self._prior.ln_fault[owner])
        score = ln[:, None] + ln[None, :]
        score += self._numbers(effect, slope) + self._boxes(effect, slope)
        for options in self._factors.of:
            if len(options) > 1:
                alone = self._in_its_best_way(options, effect, slope)
                score += np.maximum(alone[:, None], alone[None, :])
        for one, row in zip(self._words, words[:-1], strict=True):
            decides = np.maximum if one.base < 0.5 else np.minimum
            score += decides(row[:, None], row[None, :])
        single = float(score[0, 1:].max(initial=-np.inf))
        score[(owner[:, None] >= owner[None, :]) | (owner[:, None] < 0)] = -np.inf
        pairs = _best(score, owner)
        return Hopes(pairs, float(score.max()) + self._ln_second - single if pairs else -np.inf)

    def _coarse(self) -> tuple[IntArray, IntArray]:
        """The good car, then cells near the COARSE severities of every fault; whose (-1: none)."""
        cells = self._model.cells
        picks, owner = [int(cells.good[self._variant])], [-1]
        for number in range(len(cells.faults)):
            own = np.flatnonzero((cells.fault == number) & (cells.variant == self._variant))
            wanted = COARSE if cells.spread[own[0]] > 0 else (0.0,)
            chosen = {int(own[np.argmin(np.abs(cells.centre[own] - u))]) for u in wanted}
            picks += sorted(chosen)
            owner += [number] * len(chosen)
        return np.array(picks), np.array(owner)

    def _said(self, owner: IntArray) -> FloatArray:
        """Log chance of every word seen under each row's fault alone, (words + 1, R).

        The last row is all zero: where no word was seen, none tells rows apart.
        """
        names = [self._model.cells.faults[f].id if f >= 0 else "" for f in owner]
        table = [[one.odds.get(name, one.base) for name in names] for one in self._words]
        ln: FloatArray = np.log(np.maximum([*table, [1.0] * len(names)], LEAST_CHANCE))
        return ln

    def _plain(self, *, boxes: bool) -> list[int]:
        """Factors, numbers or boxes, of the readings that can come about in one way only."""
        used = dict.fromkeys(
            i for options in self._factors.of if len(options) == 1 for i in options[0].factors
        )
        return [i for i in used if isinstance(self._factors.items[i], Box) is boxes]

    def _numbers(self, effect: FloatArray, slope: FloatArray) -> FloatArray:
        """Log evidence of pairs by plain numbers, (R, R).

        Two severities move the numbers beside the tolerances: a correction of rank two to a
        covariance that all pairs share.
        """
        numbers = self._plain(boxes=False)
        if not numbers:
            return np.zeros((len(effect), len(effect)))
        observed = observe([self._factors.items[i] for i in numbers])
        inverse = np.linalg.inv(self._kernel[np.ix_(numbers, numbers)] + observed.noise)
        e, s = effect[:, numbers], slope[:, numbers]
        residual = observed.y - self._good[numbers]
        through = e @ inverse
        linear = through @ residual - 0.5 * np.einsum("ri,ri->r", through, e)
        score = linear[:, None] + linear[None, :] - through @ e.T
        moved, joint = through @ s.T, s @ inverse @ s.T
        own = s @ inverse @ residual - np.diag(moved)
        first = own[:, None] - moved.T  # s_a' M (residual - e_a - e_b)
        second = own[None, :] - moved
        width = 1.0 + np.diag(joint)
        det = width[:, None] * width[None, :] - joint**2
        gain = width[None, :] * first**2 + width[:, None] * second**2 - 2.0 * joint * first * second
        better: FloatArray = score + 0.5 * gain / det - 0.5 * np.log(det)
        return better

    def _boxes(self, effect: FloatArray, slope: FloatArray) -> FloatArray:
        """Log evidence of pairs by plain boxes, one at a time, (R, R)."""
        score = np.zeros((len(effect), len(effect)))
        for i in self._plain(boxes=True):
            box = self._factors.items[i]
            assert isinstance(box, Box)
            # Most faults do not touch it: each different effect is worked out once.
            known, back = np.unique(
                np.stack([effect[:, i], slope[:, i]]).round(9), axis=1, return_inverse=True
            )
            x = (self._good[i] + known[0][:, None] + known[0][None, :]).ravel()
            own = self._kernel[i, i] + box.blur**2 + 1e-9
            spread = (own + known[1][:, None] ** 2 + known[1][None, :] ** 2).ravel()
            low, high = np.full(x.size, box.low), np.full(x.size, box.high)
            inside = np.maximum(inside_range(low, high, x, spread), LEAST_INSIDE)
            score += inside.reshape(len(known[0]), -1)[np.ix_(back, back)]
        return score

    def _in_its_best_way(
        self, options: Sequence[Option], effect: FloatArray, slope: FloatArray
    ) -> FloatArray:
        """Log density of a reading that can come about in several ways, each fault alone, (R,)."""
        mean = (self._good + effect).T
        variance = np.diag(self._kernel)[:, None] + slope.T**2
        ways = [densities(option, self._factors.items, mean, variance) for option in options]
        best: FloatArray = np.maximum(np.max(ways, axis=0), LEAST_INSIDE)
        return best


def _best(score: FloatArray, owner: IntArray) -> tuple[tuple[int, int], ...]:
    """Pairs of owners in order of their best score, at most KEPT of them."""
    count = min(score.size, 40 * KEPT)
    flat = np.argpartition(-score.ravel(), count - 1)[:count]
    flat = flat[np.argsort(-score.ravel()[flat], kind="stable")]
    found: dict[tuple[int, int], None] = {}
    for position in flat:
        a, b = divmod(int(position), score.shape[1])
        if np.isfinite(score[a, b]):
            found.setdefault((int(owner[a]), int(owner[b])))
        if len(found) >= KEPT:
            break
    return tuple(found)
