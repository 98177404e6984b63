"""Look again at the physics where the readings put what matters.

All scenarios of a job go through here together: each latent is then solved once for all the cells,
levels and scenarios that ask for it, instead of a hundred times for a few.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from idlewright.diagnosis.evidence import Weigher
from idlewright.diagnosis.gaussian import condition, cut_at_range
from idlewright.diagnosis.looks import gather
from idlewright.diagnosis.near import (
    Draft,
    Fit,
    Floors,
    Near,
    beside_them,
    floors_found,
    floors_of,
    risen,
    worth_a_look,
)
from idlewright.diagnosis.pieces import Piece, Posterior, Weighed, ln_sum
from idlewright.diagnosis.visits import Visits
from idlewright.model.cells import IntArray
from idlewright.model.scalars import FloatArray

GIVEN_UP_NATS = 12.0
"""Looks this much further out after their first look are not looked at again."""
SETTLED, SETTLED_NATS = 0.3, 0.1
"""A look that moved z and the log evidence by no more than this has settled."""
LONGEST_STEP = 3.0
"""A look is no further from the one before, in deviations of any tolerance or of the severity.

A joint of a good car has a few ohms or a few hundred; on a line it would have to be a million.
"""
MATTERS_NATS = 6.0
"""Whether rows further below all together have settled is not asked."""
MOST_LOOKS = 8


def look_again(weigher: Weigher, drafts: Sequence[Draft]) -> list[Weighed]:
    """Re-linearise what matters, at its own posterior; the first draft is the plain one."""
    floors = floors_of(drafts)
    near = [one for draft in drafts for one in worth_a_look(weigher, draft, floors.of(draft))]
    _start(weigher, near)
    if weigher.passes:
        _looks(weigher, near, floors.plain)
        floors = floors_of(drafts)
        more = list(risen(weigher, near, floors))
        _start(weigher, more)
        _looks(weigher, more, floors.plain)
        near += more
        more = list(beside_them(weigher, near))
        _looks(weigher, more, floors.plain)
        near += more
    return [_weighed(weigher, draft, near) for draft in drafts]


def _start(weigher: Weigher, near: Sequence[Near]) -> None:
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
        one.place = _towards(one.place, one.fit.cut)
        one.note()


def _fit(
    weigher: Weigher, one: Near, which: IntArray, mean: FloatArray, slopes: FloatArray
) -> Fit:
    """Some of the part's looks conditioned on lines, (w,)."""
    sight, cells = one.draft.sight, weigher.model.cells
    seen = weigher.observed(sight, one.part.combination.factors)
    result = condition(mean, slopes @ np.swapaxes(slopes, 1, 2), seen)
    z = (result.weight[:, None] @ slopes)[:, 0] if slopes.shape[1] else 0.0 * one.place[which]
    by_u = slopes[:, :, -1]
    left = 1.0 - ((by_u[:, None] @ result.gain)[:, 0] * by_u).sum(axis=1)
    cell = weigher.rows.cell[sight.row_ids[one.example[which]]]
    centre, spread = cells.centre[cell], cells.spread[cell]
    seen_spread = np.where(one.sees[which], spread, 0.0)
    cut = cut_at_range(z, slopes, result.gain, centre, seen_spread)
    return Fit(
        result=result,
        slopes=slopes,
        z=z,
        u_mean=centre + spread * z[:, -1],
        u_variance=spread**2 * np.maximum(left, 1e-12),
        cut=cut,
        moved=np.abs(cut - one.place[which]).max(axis=1),
    )


def _looks(weigher: Weigher, near: Sequence[Near], plain: Draft) -> None:
    """Look again at the physics, as often as asked, then at what has not settled.

    Precise readings far out in a tolerance can move a row by ten nats a look, and not by the same
    for every fault.
    """
    again = {
        k: np.arange(len(one.looks)) for k, one in enumerate(near) if one.part.combination.factors
    }
    for look in range(max(weigher.passes, MOST_LOOKS)):
        if not again:
            break
        visits = Visits(weigher)
        for k, which in again.items():
            _ask(weigher, visits, near[k], which)
        for (k, which), lines in zip(again.items(), visits.lines(), strict=True):
            one, newer = near[k], _fit(weigher, near[k], which, *lines)
            if one.fit is None or look == 0:
                one.fit = newer
            else:
                change = np.abs(newer.result.ln_z - one.fit.result.ln_z[which])
                np.maximum(newer.moved, change * (SETTLED / SETTLED_NATS), out=newer.moved)
                one.fit.put(which, newer)
            one.place[which] = _towards(one.place[which], newer.cut)
        if look + 1 >= weigher.passes:
            slack = GIVEN_UP_NATS if look == 0 else 0.0
            again = _unsettled(near, again, floors_found(near, plain), slack)
    for one in near:
        one.note()


def _towards(place: FloatArray, goal: FloatArray) -> FloatArray:
    """Where to look next, (W, K): the goal, or a longest step on the way there."""
    step = goal - place
    furthest = np.abs(step).max(axis=1, keepdims=True)
    part: FloatArray = np.minimum(1.0, LONGEST_STEP / np.maximum(furthest, 1e-12))
    return place + step * part


def _ask(weigher: Weigher, visits: Visits, one: Near, which: IntArray) -> None:
    factors, chosen = one.draft.sight.factors, one.part.combination.factors
    rows = weigher.rows.take(one.draft.sight.row_ids[one.example[which]])
    latents = [factors.latents[i] for i in chosen]
    times = [factors.times[i] for i in chosen]
    visits.ask(rows, one.sees[which], one.place[which], one.part.level, latents, times)


def _unsettled(
    near: Sequence[Near], again: Iterable[int], floors: Floors, slack: float
) -> dict[int, IntArray]:
    """Looks that still move, and matter or may by as much as slack come to, by part."""
    found = {}
    for k in again:
        one = near[k]
        matters = one.ln_heaviest() > floors.of(one.draft) + one.draft.ln_weight - slack
        which = np.flatnonzero((one.fitted.moved >= SETTLED) & matters)
        if len(which):
            found[k] = which
    return found


def _weighed(weigher: Weigher, draft: Draft, near: Sequence[Near]) -> Weighed:
    mine = [one for one in near if one.draft is draft]
    ln_row = weigher.ln_rows(draft.sight, draft.prior, draft.parts)
    whole = ln_sum(ln_row)
    pieces, settled = [], True
    for one in mine:
        piece = _piece(weigher, one)
        pieces.append(piece)
        if one.part.combination.factors and weigher.passes:
            moved = one.fitted.moved[piece.at]
            settled &= bool(np.all(moved[piece.ln_weight > whole - MATTERS_NATS] < SETTLED))
    return Weighed(weigher.rows, ln_row, tuple(pieces), settled, weigher.passes)


def _piece(weigher: Weigher, one: Near) -> Piece:
    """The rows of one part with the posterior of their looks."""
    sight, cells, fit = one.draft.sight, weigher.model.cells, one.fitted
    at = one.look_of_row
    ids = sight.row_ids[one.rows]
    cell = weigher.rows.cell[ids]
    sees = one.sees[at]
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
