"""The discrete twin of the bench: the product's sums against pyAgrum's exact inference.

Odds of a fault after some readings, and bits each check that is left would tell, on invented tables
of random numbers. Source: lazy propagation is exact (Madsen and Jensen, Artificial Intelligence 113
(1999) 203); the library is pyAgrum 3.3.1. Tolerance: 1e-9 of probability, and of a bit.
"""

from __future__ import annotations

import numpy as np
import pytest

from bench._twin import Twin, by_evidence, by_joint, by_ours, farthest, network

FAULTS, CHECKS = 7, 6


def invented(seed: int) -> Twin:
    """A twin of random tables: checks of 2 to 6 outcomes, some hardly telling, one not at all."""
    rng = np.random.default_rng(seed)
    tables = {
        f"check-{k}": rng.dirichlet(np.full(2 + k % 5, 10.0 ** (k - 2)), FAULTS)
        for k in range(CHECKS)
    }
    tables["check-5"][:] = tables["check-5"][0]
    wide = [table.shape[1] for table in tables.values()]
    first = np.cumsum([0, *wide[:-1]], dtype=np.intp)
    return Twin(rng.dirichlet(np.ones(FAULTS)), tables, np.hstack(list(tables.values())), first)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("count", [0, 1, 3])
def test_odds_and_bits_are_those_of_exact_inference(seed: int, count: int) -> None:
    """By every outcome as evidence and by joint targets; what tells nothing is worth nothing."""
    twin = invented(seed)
    seen = twin.drawn(seed, count)
    seen.pop("check-5", None)
    net = network(twin)
    ours = by_ours(twin, seen)
    assert len(ours[1]) == CHECKS - len(seen)
    assert farthest(ours, by_evidence(twin, net, seen)) < 1e-9
    assert farthest(ours, by_joint(twin, net, seen)) < 1e-9
    assert ours[1]["check-5"] == pytest.approx(0.0, abs=1e-12)
    assert max(ours[1].values()) > 1e-3
