"""What to believe after some readings: odds of every fault, of slips, and of something else."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from idlewright.diagnosis.evidence import Sight, Weigher
from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.moods import Moods
from idlewright.diagnosis.outlandish import Outlandish
from idlewright.diagnosis.pairs import PairRows, PairWeigher, ln_total
from idlewright.diagnosis.pieces import ln_sum, ln_sum_first
from idlewright.diagnosis.prior import Prior
from idlewright.diagnosis.scenarios import LN_RIGHT, Scenario, weigh_scenarios
from idlewright.diagnosis.unlisted import Unlisted
from idlewright.diagnosis.visibility import visible_activity
from idlewright.diagnosis.world import Timeline, make_rows
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray

BROAD_SHARE = 0.25
"""Share of something else that no place in the circuit explains; the rest is placed."""
PAIRS_FROM = 0.1
"""Odds that no single listed fault explains all readings (something else, or a slip) from which two
faults at once are weighed; always after a repair."""
AS_GOOD_SHARE = 0.75
"""Under a fault no family names, a reading is as on a good car with this chance, else anything."""


Places = tuple[tuple[tuple[str, str], float], ...]
"""Places where something else would have to be, with their odds among all there is."""


@dataclass(frozen=True, slots=True)
class Case:
    """Everything seen in one job so far.

    Attributes:
        seen: readings that count, in order. times: index of each one's time. timeline: times and
            repairs; its last time is now.
    """

    seen: tuple[Seen, ...]
    times: tuple[int, ...]
    timeline: Timeline

    def without(self, position: int) -> Case:
        """The same without one reading."""
        return replace(
            self,
            seen=self.seen[:position] + self.seen[position + 1 :],
            times=self.times[:position] + self.times[position + 1 :],
        )

    def only(self, positions: Sequence[int]) -> Case:
        """The same with some of the readings."""
        return replace(
            self,
            seen=tuple(self.seen[k] for k in positions),
            times=tuple(self.times[k] for k in positions),
        )

    def first(self, count: int) -> Case:
        """The same with only the first readings."""
        return replace(self, seen=self.seen[:count], times=self.times[:count])


@dataclass(frozen=True, slots=True)
class Belief:
    """Odds after the readings.

    Attributes:
        sight: the readings as every row sees them. alone: log density of each on a good car.
        fault: probability of each fault in family order, (F,). good: nothing wrong now.
        other: something else. slip: odds that each reading is a slip, (n,). slip_kind: likeliest
            kind of each. scenarios: the evidence behind it. active: chance that each fault is
            active now given that it is there, (F,). places: where something else would be.
        pairs: two faults at once with their odds, likeliest first; pair_rows: behind them.
    """

    model: CompiledModel
    case: Case
    weigher: Weigher
    sight: Sight
    alone: tuple[float, ...]
    fault: FloatArray
    good: float
    other: float
    active: FloatArray
    slip: FloatArray
    slip_kind: tuple[str | None, ...]
    scenarios: tuple[Scenario, ...]
    ln_evidence: float
    places: Places = ()
    pairs: tuple[tuple[tuple[int, int], float], ...] = ()
    pair_rows: tuple[PairRows, ...] = ()

    @property
    def settled(self) -> bool:
        """The last look at the physics moved nothing that matters."""
        best = max(scenario.ln_total for scenario in self.scenarios)
        return all(s.weighed.settled for s in self.scenarios if s.ln_total > best - 3.0)


def believe(
    model: CompiledModel,
    case: Case,
    prior: Prior,
    *,
    passes: int = 1,
    slips: bool = True,
    unlisted: Unlisted | None = None,
) -> Belief:
    """Odds of every fault given a case.

    Args:
        model: compiled family and sheet. case: what was seen. prior: odds before.
        passes: looks at the physics. slips: weigh slips too. unlisted: generator of faults nobody
            named; None leaves only the broad rest.
    """
    visible = visible_activity(model, case.seen, case.times, case.timeline)
    sift = Moods(model, case.seen, case.times, case.timeline).sift
    rows = make_rows(model.cells, prior.ln_fault, case.timeline, visible, sift)
    weigher = Weigher(model, case.timeline, rows, passes)
    sight = weigher.sight(case.seen, case.times)
    ln_clean = len(case.seen) * LN_RIGHT
    scenarios, odd = weigh_scenarios(weigher, sight, slips=slips)
    alone = good_alone(weigher, sight)
    ln_other, places = _something_else(model, case, prior, alone, unlisted)
    ln_other += ln_clean
    rest, rest_alone, ln_rest = case, alone, ln_clean
    if odd.positions:
        # Something else may be behind what no listed car shows, or it is a slip there too.
        kept = [k for k in range(len(case.seen)) if k not in odd.positions]
        rest, rest_alone = case.only(kept), tuple(alone[k] for k in kept)
        ln_rest = len(kept) * LN_RIGHT + odd.ln_slips
        ln_else, _ = _something_else(model, rest, prior, rest_alone, unlisted)
        ln_other = float(np.logaddexp(ln_other, ln_else + ln_rest))
    basis = _Basis(model, case, weigher, sight, alone, tuple(scenarios), odd, ln_other, places)
    single = _summed(basis, ())
    if not (slips and case.seen):
        return single
    unexplained = single.other + float(single.slip.sum()) >= PAIRS_FROM
    weigher_of_pairs = PairWeigher(weigher, prior, _variants(basis))
    listed = weigher_of_pairs.weigh(
        case.seen, case.times, if_hopeful=not (unexplained or case.timeline.renewals)
    )
    pairs = _with_weight(listed, ln_clean)
    if odd.positions:
        pairs += _with_weight(weigher_of_pairs.weigh(rest.seen, rest.times), ln_rest)
    return _summed(basis, pairs) if pairs else single


def _with_weight(rows: Sequence[PairRows], ln_weight: float) -> tuple[PairRows, ...]:
    return tuple(replace(one, ln_weight=one.ln_weight + ln_weight) for one in rows)


@dataclass(frozen=True, slots=True)
class _Basis:
    """What odds are added up from; fields as in Belief. ln_other: log weight of something else."""

    model: CompiledModel
    case: Case
    weigher: Weigher
    sight: Sight
    alone: tuple[float, ...]
    scenarios: tuple[Scenario, ...]
    odd: Outlandish
    ln_other: float
    places: Places


def _something_else(
    model: CompiledModel,
    case: Case,
    prior: Prior,
    alone: Sequence[float],
    unlisted: Unlisted | None,
) -> tuple[float, Places]:
    """Log weight of something else, and the places it would have to be."""
    broad = broad_rest(prior, case.seen, alone)
    if unlisted is None or not case.seen:
        return broad, ()
    ln_placed = unlisted.weigh(model, case.seen, case.times, case.timeline) + prior.ln_else
    ln_placed = ln_placed + math.log1p(-BROAD_SHARE)
    total = float(np.logaddexp(ln_sum(ln_placed), broad + math.log(BROAD_SHARE)))
    share: dict[tuple[str, str], float] = {}
    for place, ln in zip(unlisted.places, ln_placed, strict=True):
        share[place] = share.get(place, 0.0) + math.exp(min(0.0, float(ln) - total))
    places = tuple(sorted(share.items(), key=lambda item: -item[1])[:5])
    return total, places


def broad_rest(prior: Prior, seen: Sequence[Seen], good: Sequence[float]) -> float:
    """Log weight of something else that nothing explains.

    Args:
        good: log density of each reading alone on a good car.
    """
    return prior.ln_else + sum(
        float(np.logaddexp(math.log(AS_GOOD_SHARE) + ln, math.log(1 - AS_GOOD_SHARE) + one.flat))
        for one, ln in zip(seen, good, strict=True)
    )


def good_alone(weigher: Weigher, sight: Sight) -> tuple[float, ...]:
    """Log density of each reading alone on a good car."""
    cells = weigher.model.cells
    good = np.flatnonzero(cells.fault[weigher.rows.cell] < 0)
    weight = cells.ln_prior[weigher.rows.cell[good]] - weigher.rows.ln_prior[good]
    which = np.unique(sight.looks.of[good])
    found = []
    for position, (one, time) in enumerate(zip(sight.seen, sight.times, strict=True)):
        prior = weigher.ln_prior([one], [time])
        parts = weigher.parts(sight, [position], among=which)
        found.append(ln_sum(weigher.ln_rows(sight, prior, parts)[good] + weight))
    return tuple(found)


def _variants(basis: _Basis) -> FloatArray:
    """Odds of the variants of the car (what its sheet leaves open) by single faults, (V,)."""
    cells, rows = basis.model.cells, basis.weigher.rows
    ln_row = ln_sum_first(np.stack([s.ln_weight + s.weighed.ln_row for s in basis.scenarios]))
    share = np.exp(ln_row - ln_row.max())
    odds = np.bincount(cells.variant[rows.cell], share, len(cells.good))
    found: FloatArray = odds / odds.sum()
    return found


def _summed(basis: _Basis, pairs: tuple[PairRows, ...]) -> Belief:
    """Add scenarios up into odds."""
    case, weigher, scenarios = basis.case, basis.weigher, basis.scenarios
    model, ln_other = basis.model, basis.ln_other
    totals = np.array([scenario.ln_total for scenario in scenarios])
    everything = float(np.logaddexp(ln_sum(totals), ln_other))
    everything = float(np.logaddexp(everything, ln_total(pairs)))
    alone, double = _pair_odds(model, pairs, everything)
    ln_row = ln_sum_first(np.stack([s.ln_weight + s.weighed.ln_row for s in scenarios]))
    share = np.exp(ln_row - everything)
    number = model.cells.fault[weigher.rows.cell]
    count = len(model.cells.faults)
    fault = np.bincount(number[number >= 0], share[number >= 0], count)
    now = weigher.rows.active[:, -1] & (number >= 0)
    active = np.bincount(number[now], share[now], count) / np.maximum(fault, 1e-300)
    slip = np.zeros(len(case.seen))
    kind: list[str | None] = [None] * len(case.seen)
    best = np.full(len(case.seen), -math.inf)
    for scenario, ln in zip(scenarios, totals, strict=True):
        if scenario.reading is not None:
            slip[scenario.reading] += math.exp(ln - everything)
            if ln > best[scenario.reading]:
                best[scenario.reading], kind[scenario.reading] = ln, scenario.kind
    other = float(math.exp(ln_other - everything))
    for position, of_what in zip(basis.odd.positions, basis.odd.kinds, strict=True):
        slip[position], kind[position] = 1.0 - other, of_what
    return Belief(
        model=model,
        case=case,
        weigher=weigher,
        sight=basis.sight,
        alone=basis.alone,
        fault=fault + alone,
        good=float(share[number < 0].sum()),
        other=other,
        active=np.minimum(active, 1.0),
        slip=np.minimum(slip, 1.0),
        slip_kind=tuple(kind),
        scenarios=scenarios,
        ln_evidence=everything,
        places=basis.places,
        pairs=double,
        pair_rows=pairs,
    )


def _pair_odds(
    model: CompiledModel, pairs: tuple[PairRows, ...], everything: float
) -> tuple[FloatArray, tuple[tuple[tuple[int, int], float], ...]]:
    """Odds added to single faults (the other was cured, or both were) and of pairs still there.

    A pair both of whose faults were cured counts for its first; its place in the odds is tiny.
    """
    alone = np.zeros(len(model.cells.faults))
    double: dict[tuple[int, int], float] = {}
    for part in pairs:
        for faults, on, ln in zip(part.cells.fault, part.on, part.ln_weight, strict=True):
            p = math.exp(ln - everything)
            if on.all():
                key = (int(faults[0]), int(faults[1]))
                double[key] = double.get(key, 0.0) + p
            else:
                alone[int(faults[1] if on[1] else faults[0])] += p
    return alone, tuple(sorted(double.items(), key=lambda item: -item[1]))
