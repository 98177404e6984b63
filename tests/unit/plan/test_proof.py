from __future__ import annotations

import itertools

import pytest

from idlewright.errors import BadInput
from idlewright.plan.proof import RatioTest, proof_tries


@pytest.mark.parametrize("p", [0.001, 0.03, 0.17, 0.5, 0.9, 0.95, 0.999])
@pytest.mark.parametrize("miss", [0.2, 0.05, 0.01])
def test_proof_tries_is_the_least_number(p, miss):
    """n clean tries miss the fault with at most the accepted chance; n - 1 with more."""
    n = proof_tries(p, miss)
    assert (1 - p) ** n <= miss * (1 + 1e-6)
    assert n == 1 or (1 - p) ** (n - 1) > miss * (1 - 1e-6)


def test_whole_numbers_stay_whole():
    """Half the tries and a chance of 1/8: three tries, not four."""
    assert proof_tries(0.5, 0.125) == 3


@pytest.mark.parametrize(("p", "miss"), [(0.0, 0.05), (1.1, 0.05), (0.5, 0.0), (0.5, 1.0)])
def test_a_fault_never_seen_cannot_be_proved_gone(p, miss):
    """Shares and chances outside their range are refused."""
    with pytest.raises(BadInput):
        proof_tries(p, miss)


def test_ratio_test_against_every_sequence():
    """Exact recursion agrees with adding up all sequences of up to 14 tries, as far as they end."""
    test = RatioTest(0.1, 0.6, 0.1, 0.1)
    not_fixed = undecided = 0.0
    open_ways = {(): 1.0}
    for _ in range(14):
        longer = {}
        for way, chance in open_ways.items():
            for bad, share in ((0, 0.7), (1, 0.3)):
                tries = (*way, bad)
                said = test.decide(tries.count(0), tries.count(1))
                if said == "not fixed":
                    not_fixed += chance * share
                elif said == "go on":
                    longer[tries] = chance * share
        open_ways = longer
    undecided = sum(open_ways.values())
    found, _ = test.behaviour(0.3)
    assert not_fixed <= found <= not_fixed + undecided
    assert undecided < 0.05


@pytest.mark.parametrize("bad", [(0.4, 0.1, 0.05, 0.05), (0.0, 0.4, 0.05, 0.05),
                                 (0.1, 0.4, 0.0, 0.05), (0.1, 0.4, 0.6, 0.6)])
def test_impossible_ratio_tests_are_refused(bad):
    """Chances in the wrong order or out of range raise BadInput."""
    with pytest.raises(BadInput):
        RatioTest(*bad)


def test_errors_stay_near_what_was_asked():
    """True errors of Wald's test add up to at most the sum asked for (his own inequality)."""
    for fixed, faulty in itertools.product((0.05, 0.1), (0.4, 0.6)):
        test = RatioTest(fixed, faulty, 0.05, 0.1)
        wrongly_not, _ = test.behaviour(fixed)
        not_fixed, _ = test.behaviour(faulty)
        assert wrongly_not + (1 - not_fixed) <= 0.15 + 1e-9
