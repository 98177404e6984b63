"""What to believe after some readings: odds of every fault, of slips, and of something else."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from idlewright.diagnosis.evidence import Weigher
from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.pairs import PairRows, PairWeigher, ln_total
from idlewright.diagnosis.pieces import Weighed
from idlewright.diagnosis.prior import Prior
from idlewright.diagnosis.slips import SAYS, SLIP_CHANCE, ln_rest
from idlewright.diagnosis.unlisted import Unlisted
from idlewright.diagnosis.visibility import visible_activity
from idlewright.diagnosis.world import Timeline, make_rows
from idlewright.model.compiled import CompiledModel
from idlewright.model.scalars import FloatArray

SUSPICIOUS = 0.003
"""Quick odds of a slip above which its shapes are weighed in full."""
SHAPES_AT_MOST = 0.01
BROAD_SHARE = 0.25
"""Share of something else that no place in the circuit explains; the rest is placed."""
PAIRS_FROM = 0.03
"""Odds of something else from which two faults at once are weighed (always after a repair)."""
AS_GOOD_SHARE = 0.75
"""Under a fault no family names, a reading is as on a good car with this chance, else anything."""


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

    def first(self, count: int) -> Case:
        """The same with only the first readings."""
        return replace(self, seen=self.seen[:count], times=self.times[:count])


@dataclass(frozen=True, slots=True)
class Scenario:
    """The evidence if no reading, or exactly one, is a slip.

    Attributes:
        ln_weight: log prior and density that the rows' evidence does not hold. weighed: posterior.
        reading: position of the slip, or None. kind, says: what slip.
    """

    ln_weight: float
    weighed: Weighed
    reading: int | None = None
    kind: str | None = None
    says: str = ""

    @property
    def ln_total(self) -> float:
        """Log weight of the whole scenario."""
        return self.ln_weight + self.weighed.ln_total


@dataclass(frozen=True, slots=True)
class Belief:
    """Odds after the readings.

    Attributes:
        fault: probability of each fault in family order, (F,). good: nothing wrong now.
        other: something else. slip: odds that each reading is a slip, (n,). slip_kind: likeliest
            kind of each. scenarios: the evidence behind it. active: chance that each fault is
            active now given that it is there, (F,). places: where something else would be.
        pairs: two faults at once with their odds, likeliest first; pair_rows: behind them.
    """

    model: CompiledModel
    case: Case
    weigher: Weigher
    fault: FloatArray
    good: float
    other: float
    active: FloatArray
    slip: FloatArray
    slip_kind: tuple[str | None, ...]
    scenarios: tuple[Scenario, ...]
    ln_evidence: float
    places: tuple[tuple[tuple[str, str], float], ...] = ()
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
    rows = make_rows(model.cells, prior.ln_fault, case.timeline, visible)
    weigher = Weigher(model, case.timeline, rows, passes)
    base = weigher.weigh(case.seen, case.times)
    ln_clean = len(case.seen) * math.log1p(-SLIP_CHANCE)
    scenarios = [Scenario(ln_clean, base)]
    if slips and case.seen:
        scenarios += _slip_scenarios(weigher, case, scenarios[0].ln_total)
    ln_other, places = _something_else(model, case, prior, rows, unlisted)
    single = _summed(model, case, weigher, scenarios, ln_other + ln_clean, places, ())
    if not (slips and case.seen) or (single.other < PAIRS_FROM and not case.timeline.renewals):
        return single
    pairs = tuple(PairWeigher(weigher, prior).weigh(case.seen, case.times))
    pairs = tuple(replace(part, ln_weight=part.ln_weight + ln_clean) for part in pairs)
    return _summed(model, case, weigher, scenarios, ln_other + ln_clean, places, pairs)


def _slip_scenarios(weigher: Weigher, case: Case, clean: float) -> list[Scenario]:
    """Scenarios of one slip, for readings that look suspicious at a quick glance.

    A slip of known shape fits at most about 1 / SHAPES_AT_MOST better than the broad rest, so a
    reading whose broad slip is out of the question needs no shapes.
    """
    ln_clean = math.log1p(-SLIP_CHANCE)
    together, apart = weigher.leave_one_out(case.seen, case.times)
    found: list[Scenario] = []
    others = (len(case.seen) - 1) * ln_clean
    for position, one in enumerate(case.seen):
        quick = apart[position] + ln_rest() + one.flat - together - ln_clean
        if quick < math.log(SUSPICIOUS):
            continue
        rest = case.without(position)
        weighed = weigher.weigh(rest.seen, rest.times)
        broad = Scenario(
            others + ln_rest() + one.flat, weighed, position, "unknown", SAYS["unknown"]
        )
        if broad.ln_total - clean < math.log(SUSPICIOUS * SHAPES_AT_MOST):
            continue
        found.append(broad)
        for shape in one.slips:
            alone = replace(shape, ln_weight=0.0)
            swapped = list(case.seen)
            swapped[position] = replace(one, alternatives=(alone,), odds={}, base=1.0)
            weighed = weigher.weigh(swapped, case.times)
            found.append(
                Scenario(others + shape.ln_weight, weighed, position, shape.slip, shape.says)
            )
    return found


def _something_else(
    model: CompiledModel, case: Case, prior: Prior, rows: object, unlisted: Unlisted | None
) -> tuple[float, tuple[tuple[tuple[str, str], float], ...]]:
    """Log weight of something else, and the places it would have to be."""
    broad = prior.ln_else + sum(
        np.logaddexp(math.log(AS_GOOD_SHARE) + good, math.log(1 - AS_GOOD_SHARE) + one.flat)
        for one, good in zip(case.seen, _good_alone(model, case), strict=True)
    )
    if unlisted is None or not case.seen:
        return float(broad), ()
    ln_placed = unlisted.weigh(model, case.seen, case.times, case.timeline) + prior.ln_else
    ln_placed = ln_placed + math.log1p(-BROAD_SHARE)
    total = float(np.logaddexp(logsumexp(ln_placed), broad + math.log(BROAD_SHARE)))
    share: dict[tuple[str, str], float] = {}
    for place, ln in zip(unlisted.places, ln_placed, strict=True):
        share[place] = share.get(place, 0.0) + math.exp(min(0.0, float(ln) - total))
    places = tuple(sorted(share.items(), key=lambda item: -item[1])[:5])
    return total, places


def _good_alone(model: CompiledModel, case: Case) -> list[float]:
    """Log density of each reading alone on a good car."""
    ln_fault = np.full(len(model.cells.faults) + 1, -50.0)
    ln_fault[-1] = 0.0
    rows = make_rows(model.cells, ln_fault, case.timeline)
    good = rows.take(model.cells.fault[rows.cell] < 0)
    weigher = Weigher(model, case.timeline, good, passes=0)
    return [
        weigher.weigh([one], [time]).ln_total
        for one, time in zip(case.seen, case.times, strict=True)
    ]


def _summed(
    model: CompiledModel,
    case: Case,
    weigher: Weigher,
    scenarios: list[Scenario],
    ln_other: float,
    places: tuple[tuple[tuple[str, str], float], ...],
    pairs: tuple[PairRows, ...],
) -> Belief:
    """Add scenarios up into odds."""
    totals = np.array([scenario.ln_total for scenario in scenarios])
    everything = float(np.logaddexp(logsumexp(totals), ln_other))
    everything = float(np.logaddexp(everything, ln_total(pairs)))
    alone, double = _pair_odds(model, pairs, everything)
    ln_row = logsumexp(
        np.stack([s.ln_weight + s.weighed.ln_row for s in scenarios]), axis=0
    )
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
    return Belief(
        model=model,
        case=case,
        weigher=weigher,
        fault=fault + alone,
        good=float(share[number < 0].sum()),
        other=float(math.exp(ln_other - everything)),
        active=np.minimum(active, 1.0),
        slip=np.minimum(slip, 1.0),
        slip_kind=tuple(kind),
        scenarios=tuple(scenarios),
        ln_evidence=everything,
        places=places,
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


