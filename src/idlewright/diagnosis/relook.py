"""Look again at the physics where the readings put what matters.

All scenarios of a job go through here together: each latent is then solved once for all the cells,
levels and scenarios that ask for it, instead of a hundred times for a few.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.diagnosis.box import interval_moments
from idlewright.diagnosis.evidence import Part, Sight, Weigher
from idlewright.diagnosis.gaussian import Conditioned, condition, cut_at_range, inside_range
from idlewright.diagnosis.looks import gather
from idlewright.diagnosis.neighbours import beside
from idlewright.diagnosis.pieces import Piece, Posterior, Weighed, ln_sum
from idlewright.diagnosis.visits import Visits
from idlewright.diagnosis.world import BoolArray
from idlewright.model.cells import IntArray
from idlewright.model.scalars import FloatArray

KEEP_NATS = 10.0
"""Rows this far below all rows together are left on the bank's lines."""
GIVEN_UP_NATS = 6.0
"""Looks this much further out after their first look are not looked at again."""
SETTLED, SETTLED_NATS = 0.3, 0.1
"""A look that moved z and the log evidence by no more than this has settled."""
MOST_LOOKS = 8


@dataclass(frozen=True, slots=True)
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


@dataclass(slots=True)
class _Near:
    """Rows of one part worth looking at again, and their looks.

    Attributes:
        rows: positions among the sight's rows, (P,). looks: (W,), each once. example: a row of
            each look, among the sight's. heavy: log prior of each look's heaviest row, with the
            scenario's weight, (W,). place: where to look, (W, K).
        fit: the looks there, once they were looked at.
    """

    draft: Draft
    part: Part
    rows: IntArray
    looks: IntArray
    example: IntArray
    heavy: FloatArray
    place: FloatArray
    fit: _Fit | None = None

    @property
    def fitted(self) -> _Fit:
        """What was found."""
        assert self.fit is not None
        return self.fit


@dataclass(frozen=True, slots=True)
class _Fit:
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

    def put(self, which: IntArray, newer: _Fit) -> None:
        """Replace some looks by newer ones, in place."""
        change = np.abs(newer.result.ln_z - self.result.ln_z[which])
        np.maximum(newer.moved, change * (SETTLED / SETTLED_NATS), out=newer.moved)
        for name in ("slopes", "z", "u_mean", "u_variance", "cut", "moved"):
            getattr(self, name)[which] = getattr(newer, name)
        for name in ("ln_z", "weight", "gain"):
            getattr(self.result, name)[which] = getattr(newer.result, name)


def look_again(weigher: Weigher, drafts: Sequence[Draft]) -> list[Weighed]:
    """Re-linearise what matters, at its own posterior; the first draft is the plain one.

    What matters is within KEEP_NATS of the whole: of its own rows together in the first draft; of
    the rows of all drafts in the others, since only together do they make the odds.
    """
    best = [_whole(draft) for draft in drafts]
    overall = max(ln + draft.ln_weight for ln, draft in zip(best, drafts, strict=True))
    near: list[_Near] = []
    for number, draft in enumerate(drafts):
        floor = best[number] if number == 0 else overall - draft.ln_weight
        near += _near(weigher, draft, floor - KEEP_NATS)
    _start(weigher, near)
    if weigher.passes:
        _looks(weigher, near, drafts[0])
        more = _beside(weigher, near)
        _looks(weigher, more, drafts[0])
        near += more
    for one in near:
        one.part.ln[one.looks] = _ln_evidence(one)
    return [_weighed(weigher, draft, ln, near) for draft, ln in zip(drafts, best, strict=True)]


def _heaviest(draft: Draft) -> FloatArray:
    """Log prior of each look's heaviest row, (U,)."""
    looks = draft.sight.looks
    heaviest = np.full(len(looks.row), -np.inf)
    np.maximum.at(heaviest, looks.of, draft.prior[draft.sight.row_ids] + looks.edge)
    return heaviest


def _whole(draft: Draft) -> float:
    """Log weight of all rows of a draft together."""
    looks = draft.sight.looks
    base = draft.prior[draft.sight.row_ids] + looks.edge
    top = float(base.max())
    share = np.bincount(looks.of, np.exp(base - top), len(looks.row))
    with np.errstate(divide="ignore"):
        ln = np.log(share) + top
    return ln_sum(np.concatenate([ln + part.ln for part in draft.parts]))


def _near(weigher: Weigher, draft: Draft, floor: float) -> Iterator[_Near]:
    looks = draft.sight.looks
    base = draft.prior[draft.sight.row_ids] + looks.edge
    heaviest = _heaviest(draft)
    for part in draft.parts:
        rows = np.flatnonzero(base + part.ln[looks.of] > floor)
        if len(rows):
            which = np.unique(looks.of[rows])
            place = np.zeros((len(which), weigher.width))
            heavy = heaviest[which] + draft.ln_weight
            yield _Near(draft, part, rows, which, looks.row[which], heavy, place)


def _start(weigher: Weigher, near: Sequence[_Near]) -> None:
    """Posterior on the bank's lines, which says where to look."""
    for one in near:
        factors = one.draft.sight.factors
        chosen = one.part.combination.factors
        latents = [factors.latents[i] for i in chosen]
        times = [factors.times[i] for i in chosen]
        rows = weigher.rows.take(one.draft.sight.row_ids[one.example])
        sources = {time: weigher.sources(rows, time) for time in set(times)}
        lines = gather(weigher.model, weigher.columns, latents, times, sources, len(rows))
        lines[1][:, :, :-1] *= one.part.level
        every = np.arange(len(one.looks))
        one.fit = _fit(weigher, one, every, *lines)
        one.place = one.fit.cut.copy()


def _fit(
    weigher: Weigher, one: _Near, which: IntArray, mean: FloatArray, slopes: FloatArray
) -> _Fit:
    """Some of the part's looks conditioned on lines, (w,)."""
    sight, cells = one.draft.sight, weigher.model.cells
    seen = weigher.observed(sight, one.part.combination.factors)
    result = condition(mean, slopes @ np.swapaxes(slopes, 1, 2), seen)
    z = (result.weight[:, None] @ slopes)[:, 0] if slopes.shape[1] else 0.0 * one.place[which]
    by_u = slopes[:, :, -1]
    left = 1.0 - ((by_u[:, None] @ result.gain)[:, 0] * by_u).sum(axis=1)
    cell = weigher.rows.cell[sight.row_ids[one.example[which]]]
    centre, spread = cells.centre[cell], cells.spread[cell]
    seen_spread = np.where(_sees(one)[which], spread, 0.0)
    cut = cut_at_range(z, slopes, result.gain, centre, seen_spread)
    return _Fit(
        result=result,
        slopes=slopes,
        z=z,
        u_mean=centre + spread * z[:, -1],
        u_variance=spread**2 * np.maximum(left, 1e-12),
        cut=cut,
        moved=np.abs(cut - one.place[which]).max(axis=1),
    )


def _sees(one: _Near) -> BoolArray:
    sees: BoolArray = one.draft.sight.looks.sees[one.looks]
    return sees


def _looks(weigher: Weigher, near: Sequence[_Near], plain: Draft) -> None:
    """Look again at the physics, as often as asked, then at what has not settled.

    Precise readings far out in a tolerance can move a row by ten nats a look, and not by the same
    for every fault.
    """
    again = {
        k: np.arange(len(one.looks)) for k, one in enumerate(near) if one.part.combination.factors
    }
    for look in range(max(weigher.passes, MOST_LOOKS)):
        visits = Visits(weigher)
        for k, which in again.items():
            _ask(weigher, visits, near[k], which)
        for (k, which), lines in zip(again.items(), visits.lines(), strict=True):
            one, newer = near[k], _fit(weigher, near[k], which, *lines)
            if one.fit is None or look == 0:
                one.fit = newer
            else:
                one.fit.put(which, newer)
            one.place[which] = newer.cut
        if look + 1 >= weigher.passes:
            again = _unsettled(near, again, plain, GIVEN_UP_NATS if look == 0 else 0.0)
        if not again:
            return


def _ask(weigher: Weigher, visits: Visits, one: _Near, which: IntArray) -> None:
    factors, chosen = one.draft.sight.factors, one.part.combination.factors
    rows = weigher.rows.take(one.draft.sight.row_ids[one.example[which]])
    latents = [factors.latents[i] for i in chosen]
    times = [factors.times[i] for i in chosen]
    visits.ask(rows, _sees(one)[which], one.place[which], one.part.level, latents, times)


def _unsettled(
    near: Sequence[_Near], again: Mapping[int, IntArray], plain: Draft, slack: float
) -> dict[int, IntArray]:
    """Looks that still move, and matter or may by as much as slack come to, by part."""
    weight = {k: near[k].heavy + _ln_evidence(near[k]) for k in again}
    top = max((float(ln.max()) for ln in weight.values()), default=0.0)
    own = [float(ln.max()) for k, ln in weight.items() if near[k].draft is plain]
    found = {}
    for k, ln in weight.items():
        floor = (max(own) if near[k].draft is plain else top) - KEEP_NATS
        moves = near[k].fitted.moved >= SETTLED
        which = np.flatnonzero(moves & (ln > floor - slack))
        if len(which):
            found[k] = which
    return found


def _beside(weigher: Weigher, near: Sequence[_Near]) -> list[_Near]:
    """The looks of rows beside those looked at, each with the place where to look."""
    found = []
    cells = weigher.model.cells
    for one in near:
        sight, looks = one.draft.sight, one.draft.sight.looks
        if not one.part.combination.factors:
            continue
        at = _look_of(one)
        ids = sight.row_ids[one.rows]
        cell = weigher.rows.cell[ids]
        centre, spread = cells.centre[cell], cells.spread[cell]
        u = np.where(_sees(one)[at], centre + spread * one.place[at, -1], _middle(centre, spread))
        ln = weigher.rows.ln_prior[ids] + looks.edge[one.rows] + _ln_evidence(one)[at]
        ids, donor = beside(weigher.rows, cells, ids, u, ln)
        there = np.isin(ids, sight.row_ids)
        rows, donor = np.searchsorted(sight.row_ids, ids[there]), donor[there]
        fresh = ~np.isin(looks.of[rows], one.looks)
        rows, donor = rows[fresh], donor[fresh]
        if not len(rows):
            continue
        order = np.argsort(-ln[donor], kind="stable")
        rows, donor = rows[order], donor[order]
        which, first = np.unique(looks.of[rows], return_index=True)
        place = one.place[at[donor[first]]]
        heavy = _heaviest(one.draft)[which] + one.draft.ln_weight
        own = weigher.rows.cell[sight.row_ids[rows[first]]]
        place[:, -1] = (u[donor[first]] - cells.centre[own]) / cells.spread[own]
        rows, first = np.sort(rows), rows[first]
        found.append(_Near(one.draft, one.part, rows, which, first, heavy, place))
    return found


def _middle(centre: FloatArray, spread: FloatArray) -> FloatArray:
    """Mean severity of cells that nothing was read about, inside the range, (R,)."""
    wide = np.where(spread > 0, spread, 1.0)
    _, pull, _ = interval_moments(centre, wide**2, 0.0, 1.0)
    middle: FloatArray = centre + np.where(spread > 0, wide**2 * pull, 0.0)
    return middle


def _look_of(one: _Near) -> IntArray:
    """Which of the part's looks each of its rows has, (P,)."""
    return np.searchsorted(one.looks, one.draft.sight.looks.of[one.rows]).astype(np.int64)


def _ln_evidence(one: _Near) -> FloatArray:
    """Log evidence of the looks with the priors of level and combination, (W,)."""
    fit = one.fitted
    zero, whole = np.zeros(len(one.looks)), np.ones(len(one.looks))
    inside = inside_range(zero, whole, fit.u_mean, fit.u_variance)
    constant = one.part.ln_level + one.part.combination.ln_weight
    return fit.result.ln_z + np.where(_sees(one), inside, 0.0) + constant


def _weighed(weigher: Weigher, draft: Draft, best: float, near: Sequence[_Near]) -> Weighed:
    mine = [one for one in near if one.draft is draft]
    pieces, settled = [], True
    for one in mine:
        piece = _piece(weigher, one)
        pieces.append(piece)
        if one.part.combination.factors and weigher.passes:
            moved = one.fitted.moved[piece.at]
            settled &= bool(np.all(moved[piece.ln_weight > best - 6.0] < SETTLED))
    ln_row = weigher.ln_rows(draft.sight, draft.prior, draft.parts)
    return Weighed(weigher.rows, ln_row, tuple(pieces), settled, weigher.passes)


def _piece(weigher: Weigher, one: _Near) -> Piece:
    """The rows of one part with the posterior of their looks."""
    sight, cells, fit = one.draft.sight, weigher.model.cells, one.fitted
    at = _look_of(one)
    ids = sight.row_ids[one.rows]
    cell = weigher.rows.cell[ids]
    sees = _sees(one)[at]
    ln = one.draft.prior[ids] + sight.looks.edge[one.rows] + one.part.ln[one.looks][at]
    return Piece(
        row=ids,
        level=one.part.level,
        ln_weight=ln,
        u_mean=np.where(sees, fit.u_mean[at], cells.centre[cell]),
        u_variance=np.where(sees, fit.u_variance[at], cells.spread[cell] ** 2),
        posterior=Posterior(fit.z, fit.slopes, fit.result.gain),
        at=at,
    )
