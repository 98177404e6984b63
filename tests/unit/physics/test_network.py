"""Networks of named branches: what they refuse, all at once, and what they hand on."""

from __future__ import annotations

import math

import pytest

from idlewright.errors import BadInput
from idlewright.physics.network import Branch, Network, build_network


def _divider() -> Network:
    return build_network(
        [Branch("supply", "top", "0", 1.0, 6.0), Branch("upper", "top", "tap", 2.0),
         Branch("lower", "tap", "0", 3.0)],
        "0",
    )  # fmt: skip


def test_a_divider_is_solved_by_name() -> None:
    """6 V over 1 + 2 + 3 ohm: 5 V and 3 V, by node name, all or those asked for."""
    network = _divider()
    assert network.nodes == ("top", "tap")
    assert network.node_volts() == pytest.approx({"top": 5.0, "tap": 3.0}, rel=1e-15)
    assert network.node_volts(["tap"]) == pytest.approx({"tap": 3.0}, rel=1e-15)


def test_rows_follow_the_branches() -> None:
    """Ends, conductances and sources come in the order given; a name finds its row."""
    network = _divider()
    assert network.ends == (("top", "0"), ("top", "tap"), ("tap", "0"))
    assert network.conductance[:, 0].tolist() == [1.0, 0.5, 1.0 / 3.0]
    assert network.emf[:, 0].tolist() == [6.0, 0.0, 0.0]
    assert network.index("lower") == 2
    with pytest.raises(BadInput, match=r"'no-such'.*supply, upper, lower"):
        network.index("no-such")


def test_a_port_sees_the_circuit_behind_it() -> None:
    """From tap to reference: 3 V behind 1.5 ohm; an unknown node is refused."""
    network = _divider()
    port = network.port("tap", "0").solve(network.conductance, network.emf)
    assert port.volts[0] == pytest.approx(3.0, rel=1e-15)
    assert port.ohms[0] == pytest.approx(1.5, rel=1e-15)
    with pytest.raises(BadInput, match="'nowhere'"):
        network.port("tap", "nowhere")


@pytest.mark.parametrize("ohm", [0.0, -1.0, math.nan, math.inf])
def test_an_impossible_resistance_is_refused(ohm: float) -> None:
    """Zero, negative, NaN, infinite: BadInput with the branch as key and a remedy."""
    with pytest.raises(BadInput) as caught:
        build_network([Branch("bad", "a", "0", ohm)], "0")
    (problem,) = caught.value.problems
    assert problem.key == "bad"
    assert "small resistance" in problem.remedy


def test_everything_wrong_is_said_at_once() -> None:
    """A repeated name, a bad source, a branch to itself and floating nodes come in one error."""
    branches = [
        Branch("feed", "a", "0", 1.0, math.nan),
        Branch("feed", "a", "0", 1.0),
        Branch("loop", "a", "a", 1.0),
        Branch("far", "p", "q", 1.0),
    ]
    with pytest.raises(BadInput) as caught:
        build_network(branches, "0")
    says = [problem.says for problem in caught.value.problems]
    assert says == [
        "the source of 'feed' is nan V",
        "'loop' goes from node 'a' to itself",
        "2 branches are named 'feed'",
        "node 'p' floats: no branch leads from it to '0'",
        "node 'q' floats: no branch leads from it to '0'",
    ]


@pytest.mark.parametrize("branches", [[], [Branch("r", "a", "b", 1.0)]])
def test_an_absent_reference_is_refused(branches: list[Branch]) -> None:
    """No branch at the reference node, or no branch at all: one sentence about the reference."""
    with pytest.raises(BadInput, match="reference node 'gnd'"):
        build_network(branches, "gnd")
