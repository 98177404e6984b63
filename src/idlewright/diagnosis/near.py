"""What is worth a second look: rows near the whole, rows that rise, rows beside those looked at.

On the bank's straight lines the evidence of a row far out in its tolerances may be wrong by dozens
of nats, and for the same reason wrong for all rows of its fault. So at each level of tolerance one
look of every fault that is not hopeless is tried, and what it gains is granted to the others.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from idlewright.diagnosis.box import interval_moments
from idlewright.diagnosis.evidence import Part, Sight, Weigher
from idlewright.diagnosis.gaussian import Conditioned, inside_range
from idlewright.diagnosis.neighbours import beside
from idlewright.diagnosis.pieces import ln_sum
from idlewright.diagnosis.world import BoolArray
from idlewright.model.cells import IntArray
from idlewright.model.scalars import FloatArray

KEEP_NATS = 8.0
"""Rows this far below all rows together are left on the bank's lines."""
PROBED_NATS = 40.0
"""A fault this far below all rows together, at a level of tolerance, is not tried there."""


@dataclass(frozen=True)
class Draft:
    """Evidence before looking again.

    Attributes:
        prior: log prior of every row, odds words included, (R,). parts: on the bank's lines; their
            `ln` is brought up to date in place. ln_weight: of the whole scenario.
    """

    sight: Sight
    prior: FloatArray
    parts: list[Part]
    ln_weight: float = 0.0

    @cached_property
    def base(self) -> FloatArray:
        """Log prior of the sight's rows, with what of their severity is inside its range, (R,)."""
        base: FloatArray = self.prior[self.sight.row_ids] + self.sight.looks.edge
        return base

    @cached_property
    def heaviest(self) -> FloatArray:
        """Log prior of each look's heaviest row, (U,)."""
        heaviest = np.full(len(self.sight.looks.row), -np.inf)
        np.maximum.at(heaviest, self.sight.looks.of, self.base)
        return heaviest

    def by_part(self) -> FloatArray:
        """Log weight of each look's heaviest row under each part, as they stand, (parts, U)."""
        return np.stack([part.ln for part in self.parts]) + self.heaviest

    def whole(self) -> float:
        """Log weight of all rows together, as they stand."""
        top = float(self.base.max())
        share = np.bincount(self.sight.looks.of, np.exp(self.base - top), len(self.heaviest))
        with np.errstate(divide="ignore"):
            ln = np.log(share) + top
        return ln_sum(np.concatenate([ln + part.ln for part in self.parts]))

    def fault_of_look(self, weigher: Weigher) -> IntArray:
        """Fault of each look's example row; the last number is none, (U,)."""
        cells = weigher.model.cells
        fault = cells.fault[weigher.rows.cell[self.sight.row_ids[self.sight.looks.row]]]
        return np.where(fault < 0, len(cells.faults), fault)


@dataclass(frozen=True, slots=True)
class Fit:
    """Posterior of W looks.

    Attributes:
        result, slopes: conditioned, on lines of these slopes (W, m, K). z: mean, (W, K).
        u_mean, u_variance: of the severity, (W,). cut: mean of z with the severity inside its
            range, (W, K). moved: how far that is from where it was looked, (W,).
    """

    result: Conditioned
    slopes: FloatArray
    z: FloatArray
    u_mean: FloatArray
    u_variance: FloatArray
    cut: FloatArray
    moved: FloatArray

    def put(self, which: IntArray, newer: Fit) -> None:
        """Replace some looks by newer ones, in place."""
        for name in ("slopes", "z", "u_mean", "u_variance", "cut", "moved"):
            getattr(self, name)[which] = getattr(newer, name)
        for name in ("ln_z", "weight", "gain"):
            getattr(self.result, name)[which] = getattr(newer.result, name)


@dataclass(slots=True)
class Near:
    """Looks of one part worth a second one.

    Attributes:
        number: of the part in its draft. looks: (W,), each once, sorted. rows: the sight's rows
            that have one of them, (P,). example: a row of each look, among the sight's, (W,).
        ln_before: log evidence of the looks on the bank's lines, (W,). place: where to look,
            (W, K). fit: the looks there, once they were looked at.
    """

    draft: Draft
    number: int
    looks: IntArray
    rows: IntArray
    example: IntArray
    ln_before: FloatArray
    place: FloatArray
    fit: Fit | None = None

    @property
    def part(self) -> Part:
        """The part they belong to."""
        return self.draft.parts[self.number]

    @property
    def fitted(self) -> Fit:
        """What was found."""
        assert self.fit is not None
        return self.fit

    @property
    def sees(self) -> BoolArray:
        """Some factor sees the fault, by look, (W,)."""
        sees: BoolArray = self.draft.sight.looks.sees[self.looks]
        return sees

    @property
    def look_of_row(self) -> IntArray:
        """Which of the looks each of the rows has, (P,)."""
        return np.searchsorted(self.looks, self.draft.sight.looks.of[self.rows]).astype(np.int64)

    def ln_evidence(self) -> FloatArray:
        """Log evidence of the looks with the priors of level and combination, (W,)."""
        fit = self.fitted
        zero, whole = np.zeros(len(self.looks)), np.ones(len(self.looks))
        inside = inside_range(zero, whole, fit.u_mean, fit.u_variance)
        constant = self.part.ln_level + self.part.combination.ln_weight
        return fit.result.ln_z + np.where(self.sees, inside, 0.0) + constant

    def note(self) -> None:
        """Bring the draft's evidence up to date with what was found."""
        self.part.ln[self.looks] = self.ln_evidence()

    def ln_heaviest(self) -> FloatArray:
        """Log weight of each look's heaviest row in all scenarios together, (W,)."""
        return self.draft.heaviest[self.looks] + self.ln_evidence() + self.draft.ln_weight


@dataclass(frozen=True, slots=True)
class Floors:
    """The log weight from which on something matters, scenarios' weights included.

    Attributes:
        plain: the draft that is asked about by itself too. own: its floor. others: of the rest,
            since only together do they make the odds.
    """

    plain: Draft
    own: float
    others: float

    def of(self, draft: Draft) -> float:
        """Of one draft, its own weight taken off."""
        return (self.own if draft is self.plain else self.others) - draft.ln_weight


def floors_of(drafts: Sequence[Draft]) -> Floors:
    """Floors from all rows of each draft together; the first draft is the plain one."""
    weighted = [draft.whole() + draft.ln_weight for draft in drafts]
    return Floors(drafts[0], weighted[0] - KEEP_NATS, max(weighted) - KEEP_NATS)


def floors_found(near: Sequence[Near], plain: Draft) -> Floors:
    """Floors from the heaviest rows looked at."""
    heaviest = [(one, float(one.ln_heaviest().max())) for one in near]
    own = max((ln for one, ln in heaviest if one.draft is plain), default=-np.inf)
    return Floors(plain, own - KEEP_NATS, max(ln for _, ln in heaviest) - KEEP_NATS)


def worth_a_look(weigher: Weigher, draft: Draft, floor: float) -> Iterator[Near]:
    """What is above the floor; and at each level of tolerance the best of each other fault."""
    ln = draft.by_part()
    worth = ln > floor
    fault = draft.fault_of_look(weigher)
    for parts in _levels(draft):
        best_part = ln[parts].argmax(axis=0)
        best_ln = ln[parts][best_part, np.arange(len(fault))]
        order = np.lexsort((-best_ln, fault))
        best = order[np.unique(fault[order], return_index=True)[1]]
        best = best[best_ln[best] > floor + KEEP_NATS - PROBED_NATS]
        worth[parts[best_part[best]], best] = True
    yield from _near(weigher, draft, worth)


def risen(weigher: Weigher, near: Sequence[Near], floors: Floors) -> Iterator[Near]:
    """What comes above the floor with the gain of the best look of its fault at its level."""
    drafts = {id(one.draft): one.draft for one in near}
    for draft in drafts.values():
        floor = floors.of(draft)
        fault = draft.fault_of_look(weigher)
        ln = draft.by_part()
        worth = np.zeros(ln.shape, dtype=bool)
        mine = [one for one in near if one.draft is draft]
        for parts in _levels(draft):
            gain = np.zeros(len(weigher.model.cells.faults) + 1)
            for one in (one for one in mine if one.number in parts):
                now = one.ln_evidence()
                rise = now - one.ln_before
                rise[now + draft.heaviest[one.looks] <= floor] = 0.0
                np.maximum.at(gain, fault[one.looks], rise)
            worth[parts] = ln[parts] + gain[fault] > floor
        for one in mine:
            worth[one.number, one.looks] = False
        yield from _near(weigher, draft, worth)


def _levels(draft: Draft) -> list[IntArray]:
    """Numbers of the parts of each level of tolerance."""
    levels = np.array([part.level for part in draft.parts])
    return [np.flatnonzero(levels == level) for level in np.unique(levels)]


def _near(weigher: Weigher, draft: Draft, worth: BoolArray) -> Iterator[Near]:
    """What belongs to the looks marked, (parts, U)."""
    looks = draft.sight.looks
    for number in np.flatnonzero(worth.any(axis=1)):
        which = np.flatnonzero(worth[number])
        rows = np.flatnonzero(worth[number][looks.of])
        ln = draft.parts[number].ln[which]
        place = np.zeros((len(which), weigher.width))
        yield Near(draft, int(number), which, rows, looks.row[which], ln, place)


def beside_them(weigher: Weigher, near: Sequence[Near]) -> Iterator[Near]:
    """The looks of rows beside those looked at, each with the place where to look."""
    cells = weigher.model.cells
    taken: dict[tuple[int, int], list[IntArray]] = {}
    for one in near:
        taken.setdefault((id(one.draft), one.number), []).append(one.looks)
    for one in near:
        sight, looks = one.draft.sight, one.draft.sight.looks
        if not one.part.combination.factors:
            continue
        at = one.look_of_row
        ids = sight.row_ids[one.rows]
        cell = weigher.rows.cell[ids]
        centre, spread = cells.centre[cell], cells.spread[cell]
        u = np.where(one.sees[at], centre + spread * one.place[at, -1], _middle(centre, spread))
        ln = weigher.rows.ln_prior[ids] + looks.edge[one.rows] + one.ln_evidence()[at]
        ids, donor = beside(weigher.rows, cells, ids, u, ln)
        there = np.isin(ids, sight.row_ids)
        rows, donor = np.searchsorted(sight.row_ids, ids[there]), donor[there]
        known = taken[id(one.draft), one.number]
        fresh = ~np.isin(looks.of[rows], np.concatenate(known))
        rows, donor = rows[fresh], donor[fresh]
        if not len(rows):
            continue
        order = np.argsort(-ln[donor], kind="stable")
        rows, donor = rows[order], donor[order]
        which, first = np.unique(looks.of[rows], return_index=True)
        known.append(which)
        place = one.place[at[donor[first]]]
        own = weigher.rows.cell[sight.row_ids[rows[first]]]
        place[:, -1] = (u[donor[first]] - cells.centre[own]) / cells.spread[own]
        before = one.part.ln[which]
        yield Near(one.draft, one.number, which, np.sort(rows), rows[first], before, place)


def _middle(centre: FloatArray, spread: FloatArray) -> FloatArray:
    """Mean severity of cells that nothing was read about, inside the range, (R,)."""
    wide = np.where(spread > 0, spread, 1.0)
    _, pull, _ = interval_moments(centre, wide**2, 0.0, 1.0)
    middle: FloatArray = centre + np.where(spread > 0, wide**2 * pull, 0.0)
    return middle
