"""Odds from worlds drawn near the readings: exact weights whatever the proposal, true physics.

Severity u is drawn from a piecewise constant density that adapts to where the readings put it.
Then, for every draw, the directions of the tolerances that the readings do not see are drawn from
the prior, and in the others Gauss-Newton steps onto the readings are taken *for that draw*, so that
precise readings (a thin curved sheet of worlds) are followed. The weight of a draw is
prior x likelihood / density it was drawn from. Source of the scheme: importance sampling; the
randomised Gauss-Newton start is from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp, ndtri
from scipy.stats import qmc

from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.world import Timeline
from idlewright.model.compiled import CompiledModel

from .brute import LEVELS, Answer, effective_size, summed
from .car import Car, Hypothesis, hypotheses
from .law import Law, laws, ln_normal_between

KEEP_ROUGH = 60.0
KEEP = 9.0
FIRST_INTERVALS = 16
FIRST_STEPS = 4
LONGEST_STEP = 2.0
ROUNDS = 14
MOST_MASS = 1.0 / 24.0
BLUR = 0.4
NARROW, WIDE, WIDE_SHARE = 1.05, 1.8, 0.15


@dataclass
class Nodes:
    """Intervals of severity of some items, each with the point its draws start from.

    Attributes:
        item: (W,). low, high: ends of u. z: (W, size). ln_z: rough log evidence at the middle.
    """

    item: np.ndarray
    low: np.ndarray
    high: np.ndarray
    z: np.ndarray
    ln_z: np.ndarray

    def take(self, which: np.ndarray) -> Nodes:
        """Some of the nodes."""
        return Nodes(*(a[which] for a in (self.item, self.low, self.high, self.z, self.ln_z)))

    @property
    def middle(self) -> np.ndarray:
        """Middle of each interval."""
        return 0.5 * (self.low + self.high)

    @property
    def ln_mass(self) -> np.ndarray:
        """Rough log mass of each interval."""
        return self.ln_z + np.log(self.high - self.low)


def joined(parts: Sequence[Nodes]) -> Nodes:
    """Several lots of nodes as one."""
    return Nodes(
        *(
            np.concatenate([getattr(p, name) for p in parts])
            for name in ("item", "low", "high", "z", "ln_z")
        )
    )


class Search:
    """One law's items: (hypothesis, level of tolerance)."""

    def __init__(self, car: Car, law: Law, items: list[tuple[Hypothesis, int]]) -> None:
        self.car = car
        self.law = law
        self.cell = np.array([h.cell for h, _ in items])
        self.good = np.array([h.good for h, _ in items])
        self.active = np.array([h.active for h, _ in items])
        self.level = np.array([LEVELS[level][0] for _, level in items])
        self.ln_prior = np.array([h.ln_prior + math.log(LEVELS[k][1]) for h, k in items])
        self.best_prior = self.ln_prior
        self.ranged = np.array([h.ranged for h, _ in items])
        self.precision = np.linalg.inv(law.covariance) if law.count else np.empty((0, 0))

    def look(
        self, item: np.ndarray, z: np.ndarray, u: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Latents and derivatives of worlds of some items."""
        return self.car.look(
            self.law, self.cell[item], self.good[item], self.active[item], self.level[item], z, u
        )

    def twins(self) -> np.ndarray:
        """For each item the first item that shows the same at the same level, itself included.

        Most faults do not touch what was read; they are as likely as the good car, exactly.
        """
        middle = (np.arange(FIRST_INTERVALS) + 0.5) / FIRST_INTERVALS
        item = np.repeat(np.arange(len(self.cell)), FIRST_INTERVALS)
        u = np.tile(middle, len(self.cell))
        x, slope, by_u = self.look(item, np.zeros((len(item), self.car.size)), u)
        blind = ~by_u.reshape(len(self.cell), -1).any(axis=1)
        known: dict[tuple[object, ...], int] = {}
        twin = np.arange(len(self.cell))
        for k in np.flatnonzero(blind | ~self.ranged):
            row = k * FIRST_INTERVALS
            mark = (self.level[k], x[row].tobytes(), slope[row].tobytes())
            twin[k] = known.setdefault(mark, int(k))
        return twin

    def first(self, twin: np.ndarray) -> Nodes:
        """Equal intervals of every item without an earlier twin, tolerances at their middle."""
        count = np.where(self.ranged, FIRST_INTERVALS, 1)
        count[twin != np.arange(len(twin))] = 0
        item = np.repeat(np.arange(len(count)), count)
        k = np.concatenate([np.arange(c) for c in count])
        low, high = k / count[item], (k + 1) / count[item]
        nodes = Nodes(item, low, high, np.zeros((len(item), self.car.size)), np.zeros(len(item)))
        return self.settle(nodes, FIRST_STEPS)

    def settle(self, nodes: Nodes, steps: int) -> Nodes:
        """Rough evidence at each node after some Gauss-Newton steps of its start.

        Severity counts as a coordinate as wide as the interval, so that a coarse interval is not
        given up because its middle misses a precise reading.
        """
        z = nodes.z.copy()
        spread = np.where(self.ranged[nodes.item], BLUR * (nodes.high - nodes.low), 0.0)
        for step in range(steps + 1):
            x, slope, by_u = self.look(nodes.item, z, nodes.middle)
            offset = x - np.einsum("wmk,wk->wm", slope, z)
            both = np.concatenate([slope, (by_u * spread[:, None])[:, :, None]], axis=2)
            weight, ln_z = self.pull(offset, both)
            if step < steps:
                # In a curve that rises like an exponential an unbounded step overshoots for ever.
                goal = np.clip(np.einsum("wmk,wm->wk", slope, weight), -7.0, 7.0)
                z += np.clip(goal - z, -LONGEST_STEP, LONGEST_STEP)
        return Nodes(nodes.item, nodes.low, nodes.high, z, ln_z)

    def rough(self, nodes: Nodes) -> np.ndarray:
        """Log of each item's rough mass times prior, its twins' priors included, (I,)."""
        total = np.full(len(self.cell), -np.inf)
        np.logaddexp.at(total, nodes.item, nodes.ln_mass)
        return total + np.where(np.isfinite(total), self.best_prior, 0.0)

    def pull(self, offset: np.ndarray, slope: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """E z = slope' weight, and rough ln evidence, if x = offset + slope z."""
        n, law = self.law.count, self.law
        kernel = slope @ np.swapaxes(slope, 1, 2)
        noisy = kernel.copy()
        noisy[:, :n, :n] += law.covariance
        ln_z = np.full(len(offset), law.ln_weight)
        if not law.latents:
            return offset, ln_z
        target = np.zeros_like(offset)
        target[:, :n] = law.y - offset[:, :n]
        if n:
            inverse = np.linalg.inv(noisy[:, :n, :n])
            ln_z -= 0.5 * np.einsum("wi,wij,wj->w", target[:, :n], inverse, target[:, :n])
            ln_z -= 0.5 * np.linalg.slogdet(noisy[:, :n, :n])[1] + 0.5 * n * math.log(2 * math.pi)
        if n == len(law.latents):
            return np.einsum("wij,wj->wi", inverse, target), ln_z
        mean, cov = offset[:, n:], kernel[:, n:, n:]
        if n:
            through = kernel[:, n:, :n] @ inverse
            mean = mean + np.einsum("wij,wj->wi", through, target[:, :n])
            cov = cov - through @ kernel[:, :n, n:]
        tau, nu, ln_box = box_sites(mean, cov, law)
        variance = 1.0 / np.maximum(tau, 1e-9)
        box = np.arange(n, len(law.latents))
        noisy[:, box, box] += variance
        target[:, n:] = nu * variance - offset[:, n:]
        return np.linalg.solve(noisy, target[:, :, None])[:, :, 0], ln_z + ln_box

    def refine(self, nodes: Nodes) -> Nodes:
        """Cut the intervals that hold much of their item's mass, and their neighbours."""
        for round_ in range(ROUNDS if len(nodes.item) else 0):
            mass = nodes.ln_mass
            best = np.full(len(self.cell), -np.inf)
            np.maximum.at(best, nodes.item, mass)
            total = np.full(len(self.cell), -np.inf)
            np.logaddexp.at(total, nodes.item, mass)
            total_weighed = total + self.best_prior
            overall = logsumexp(total_weighed)
            heavy = mass - total[nodes.item] > math.log(MOST_MASS)
            top = mass >= best[nodes.item]
            top &= heavy
            beside = np.roll(top, 1) | np.roll(top, -1)
            cut = (heavy | beside) & self.ranged[nodes.item]
            cut &= total_weighed[nodes.item] > overall - KEEP - (25.0 if round_ < 4 else 6.0)
            cut &= nodes.high - nodes.low > 1e-7
            if not cut.any():
                break
            old = nodes.take(cut)
            middle = old.middle
            halves = joined(
                [
                    Nodes(old.item, old.low, middle, old.z, old.ln_z),
                    Nodes(old.item, middle, old.high, old.z, old.ln_z),
                ]
            )
            nodes = joined([nodes.take(~cut), self.settle(halves, 2)])
            order = np.lexsort((nodes.low, nodes.item))
            nodes = nodes.take(order)
        return nodes

    def weigh(self, nodes: Nodes, item: int, points: np.ndarray) -> np.ndarray:
        """Log weights of draws of one item, (D,), from unit-cube points (D, 2 + m + size)."""
        own = nodes.take(nodes.item == item)
        share = np.exp(own.ln_mass - own.ln_mass.max())
        share = share / share.sum()
        width = own.high - own.low
        share = 0.98 * share + 0.02 * width
        edge = np.concatenate([[0.0], np.cumsum(share)])
        place = points[:, 0] * edge[-1]
        chosen = np.clip(np.searchsorted(edge, place, side="right") - 1, 0, len(share) - 1)
        within = np.clip((place - edge[chosen]) / share[chosen], 0.0, 1.0)
        u = own.low[chosen] + within * width[chosen]
        ln_q = np.log(share[chosen] / width[chosen])
        if not self.law.latents:
            return np.full(len(points), self.law.ln_weight)
        m = min(len(self.law.latents), self.car.size)
        _, at_nodes, _ = self.look(own.item, own.z, own.middle)
        axes = np.stack([np.linalg.qr(s.T)[0] for s in at_nodes])[chosen]
        normal = ndtri(np.clip(points[:, 2:], 1e-12, 1 - 1e-12))
        prior_z = normal[:, m:]
        aside = prior_z - np.einsum("wkm,wm->wk", axes, np.einsum("wkm,wk->wm", axes, prior_z))
        a = np.einsum("wkm,wk->wm", axes, own.z[chosen])
        which = np.full(len(u), item)
        for _ in range(2 if len(points) > 100 else 1):
            z = aside + np.einsum("wkm,wm->wk", axes, a)
            x, slope, _ = self.look(which, z, u)
            along = slope @ axes
            a, root = self.step(x - np.einsum("wmj,wj->wm", along, a), along)
        scale = np.where(points[:, 1] < WIDE_SHARE, WIDE, NARROW)
        t = normal[:, :m]
        jump = np.linalg.solve(np.swapaxes(root, 1, 2), (scale[:, None] * t)[:, :, None])[:, :, 0]
        drawn = a + jump
        squared = (scale**2) * (t**2).sum(axis=1)
        ln_det = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
        ln_q += ln_det + np.logaddexp(
            math.log(WIDE_SHARE) - 0.5 * squared / WIDE**2 - m * math.log(WIDE),
            math.log(1 - WIDE_SHARE) - 0.5 * squared / NARROW**2 - m * math.log(NARROW),
        )
        z = aside + np.einsum("wkm,wm->wk", axes, drawn)
        x, _, _ = self.look(which, z, u)
        # The factors (2 pi)^(-m/2) of prior and proposal cancel.
        return -0.5 * (drawn**2).sum(axis=1) + self.law.ln_likelihood(x) - ln_q

    def step(self, offset: np.ndarray, along: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean of a and Cholesky root of its precision, a ~ N(0, I), x = offset + along a."""
        n, law = self.law.count, self.law
        precision = np.tile(np.eye(along.shape[2]), (len(along), 1, 1))
        right = np.zeros((len(along), along.shape[2]))
        if n:
            seen = np.swapaxes(along[:, :n], 1, 2) @ self.precision
            precision += seen @ along[:, :n]
            right += np.einsum("wjn,wn->wj", seen, law.y - offset[:, :n])
        if n < len(law.latents):
            cov = np.linalg.inv(precision)
            boxes = along[:, n:]
            mean = offset[:, n:] + np.einsum("wbj,wjk,wk->wb", boxes, cov, right)
            tau, nu, _ = box_sites(mean, boxes @ cov @ np.swapaxes(boxes, 1, 2), law)
            precision += np.swapaxes(boxes, 1, 2) @ (tau[:, :, None] * boxes)
            right += np.einsum("wbj,wb->wj", boxes, nu - tau * offset[:, n:])
        root = np.linalg.cholesky(precision)
        return np.linalg.solve(precision, right[:, :, None])[:, :, 0], root


def box_sites(
    mean: np.ndarray, cov: np.ndarray, law: Law
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gaussian stand-ins of boxes, exp(nu x - tau x^2 / 2), and a rough ln probability.

    Three sweeps of moment matching, one box after another; only a proposal hangs on it.
    """
    width, count = mean.shape
    tau, nu = np.zeros((width, count)), np.zeros((width, count))
    mean, cov = mean.copy(), cov.copy() + 1e-9 * np.eye(count)
    ln_total = np.zeros(width)
    for sweep in range(3):
        for i in range(count):
            v = cov[:, i, i]
            free_v = 1.0 / np.maximum(1.0 / v - tau[:, i], 1e-10)
            free_m = free_v * (mean[:, i] / v - nu[:, i])
            total_v = free_v + law.blur[i] ** 2
            sd = np.sqrt(total_v)
            low, high = (law.low[i] - free_m) / sd, (law.high[i] - free_m) / sd
            ln_z = ln_normal_between(low, high)
            if sweep == 0:
                ln_total += ln_z
            at_low = np.exp(-0.5 * low**2 - ln_z) / math.sqrt(2 * math.pi)
            at_high = np.exp(-0.5 * high**2 - ln_z) / math.sqrt(2 * math.pi)
            g = (at_low - at_high) / sd
            ends = np.where(np.isfinite(low), low, 0.0) * at_low
            ends = ends - np.where(np.isfinite(high), high, 0.0) * at_high
            h = np.clip(ends / total_v - g**2, -(1 - 1e-6) / total_v, 0.0)
            room = 1.0 + free_v * h
            new_tau, new_nu = -h / room, (g - h * free_m) / room
            d_tau, d_nu = new_tau - tau[:, i], new_nu - nu[:, i]
            scale = 1.0 + d_tau * v
            column = cov[:, :, i].copy()
            mean += ((d_nu - d_tau * mean[:, i]) / scale)[:, None] * column
            cov -= (d_tau / scale)[:, None, None] * column[:, :, None] * column[:, None, :]
            tau[:, i], nu[:, i] = new_tau, new_nu
    return np.maximum(tau, 0.0), nu, ln_total


def gauss_newton(
    model: CompiledModel,
    ln_fault: np.ndarray,
    seen: Sequence[Seen],
    times: Sequence[int],
    timeline: Timeline,
    draws: int = 512,
    seed: int = 20240501,
) -> Answer:
    """Odds by exact weights of `draws` worlds for every hypothesis, level and law that matters."""
    car = Car(model, timeline)
    every = [(h, k) for h in hypotheses(car, ln_fault, seen, times) for k in range(len(LEVELS))]
    searches = [Search(car, law, every) for law in laws(car.model, seen, times)]
    twins = [search.twins() for search in searches]
    for search, twin in zip(searches, twins, strict=True):
        search.best_prior = np.full(len(every), -np.inf)
        np.logaddexp.at(search.best_prior, twin, search.ln_prior)
    starts = [search.first(twin) for search, twin in zip(searches, twins, strict=True)]
    best = max(float(s.rough(nodes).max()) for s, nodes in zip(searches, starts, strict=True))
    found = []
    for search, nodes in zip(searches, starts, strict=True):
        near = search.rough(nodes) > best - KEEP_ROUGH
        found.append(search.refine(search.settle(nodes.take(near[nodes.item]), 2)))
    rough = [s.rough(nodes) for s, nodes in zip(searches, found, strict=True)]
    total = float(logsumexp(np.concatenate(rough)))
    items = []
    for search, twin, nodes, mass in zip(searches, twins, found, rough, strict=True):
        width = 2 + min(len(search.law.latents), car.size) + car.size
        points = qmc.Sobol(width, seed=seed).random(draws)
        for item in np.flatnonzero(mass > total - KEEP):
            few = draws // max(1, 2 ** int(min(3.0, (total - 3.0 - mass[item]) / 1.5 + 1)))
            used = points[: few if mass[item] < total - 3.0 else draws]
            ln = search.weigh(nodes, int(item), used)
            ln_z = float(logsumexp(ln)) - math.log(len(used))
            size = effective_size(ln) * draws / len(used)
            for k in np.flatnonzero(twin == item):
                items.append((every[k][0], ln_z + search.ln_prior[k], size))
    return summed(items, len(model.cells.faults))
