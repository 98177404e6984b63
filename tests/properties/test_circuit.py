"""Laws every resistive circuit obeys, over generated circuits of 1e-3 to 1e9 ohm."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from circuit_reference import Example
from idlewright.physics.star_mesh import compile_network, compile_port


@st.composite
def circuits(draw: st.DrawFn) -> Example:
    """A connected circuit of 3 to 9 nodes with sources of either sign on some branches."""
    count = draw(st.integers(3, 9))
    names = [f"n{at}" for at in range(count)]
    ends = [(names[at], names[draw(st.integers(0, at - 1))]) for at in range(1, count)]
    for _ in range(draw(st.integers(0, 8))):
        one = draw(st.integers(0, count - 2))
        other = draw(st.integers(one + 1, count - 1))
        ends.append((names[one], names[other]))
    decades = st.floats(-3.0, 9.0)
    volts = st.one_of(st.just(0.0), st.floats(-15.0, 15.0))
    conductance = tuple(10.0 ** -draw(decades) for _ in ends)
    return Example(tuple(ends), conductance, tuple(draw(volts) for _ in ends))


def _solve(example: Example, zero: str = "n0") -> dict[str, float]:
    program = compile_network(example.ends, zero)
    found = program.node_volts(*example.columns)[:, 0]
    return {zero: 0.0, **dict(zip(program.nodes, found.tolist(), strict=True))}


def _scale(example: Example) -> float:
    return sum(map(abs, example.emf))


@settings(max_examples=150, derandomize=True)
@given(circuits())
def test_currents_of_a_node_sum_to_zero(example: Example) -> None:
    """Kirchhoff's current law, to the rounding of the largest current a source could push."""
    volts = _solve(example)
    conductance, emf = (column[:, 0] for column in example.columns)
    across = np.array([volts[one] - volts[other] for one, other in example.ends])
    current = conductance * (across - emf)
    for node in example.nodes:
        ways = np.array([(one == node) - (other == node) for one, other in example.ends])
        touching = conductance[ways != 0].sum()
        assert abs((ways * current).sum()) <= 1e-12 * touching * max(_scale(example), 1e-300)


@settings(max_examples=150, derandomize=True)
@given(circuits())
def test_voltages_are_bounded_by_the_sources(example: Example) -> None:
    """Finite, and no node further from another than all sources in a row."""
    volts = list(_solve(example).values())
    assert np.isfinite(volts).all()
    assert max(volts) - min(volts) <= _scale(example) * (1.0 + 1e-12)


@settings(max_examples=150, derandomize=True)
@given(circuits())
def test_powers_balance(example: Example) -> None:
    """Tellegen: what the sources give the resistances take, seen at a port by its slopes: the sum
    of R h^2 over all branches is the port's resistance, the sum of R i h is zero.
    """
    port = compile_port(example.ends, "n0", "n2").solve_with_sensitivity(*example.columns)
    assert abs(port.dohms_dlnr.sum() - port.ohms[0]) <= 1e-12 * port.ohms[0]
    assert abs(port.dvolts_dlnr.sum()) <= 1e-12 * _scale(example)


@settings(max_examples=150, derandomize=True)
@given(circuits())
def test_reciprocity(example: Example) -> None:
    """The volts one port gets from a source in the other equal, as shares, the other way round."""
    first = compile_port((*example.ends, ("n1", "n2")), "n0", "n1")
    second = compile_port((*example.ends, ("n0", "n1")), "n1", "n2")
    # A probe branch of 1 ohm across each port in turn; the transfer is d V(port) / d e(probe).
    conductance = np.append(np.array(example.conductance), 1.0)[:, None]
    dead = np.zeros_like(conductance)
    forward, backward = first.solve_with_sensitivity, second.solve_with_sensitivity
    one, other = forward(conductance, dead), backward(conductance, dead)
    # With the probe's own resistance the transfers compare as transfer resistances:
    # V(0,1) per ampere in (1,2), each corrected for the probe's loading of its own port.
    bare_01 = compile_port(example.ends, "n0", "n1").solve(*example.columns).ohms[0]
    bare_12 = compile_port(example.ends, "n1", "n2").solve(*example.columns).ohms[0]
    there = one.dvolts_demf[-1, 0] * (1.0 + bare_12)
    back = other.dvolts_demf[-1, 0] * (1.0 + bare_01)
    assert abs(there - back) <= 1e-12 * max(bare_01, bare_12, 1.0)


@settings(max_examples=100, derandomize=True)
@given(circuits(), st.floats(1e-3, 1e3))
def test_scaling_all_resistances_changes_no_voltage(example: Example, factor: float) -> None:
    """Only ratios of resistances matter to voltages."""
    scaled = Example(example.ends, tuple(g * factor for g in example.conductance), example.emf)
    before, after = _solve(example), _solve(scaled)
    for node, volts in before.items():
        assert abs(after[node] - volts) <= 1e-12 * max(_scale(example), 1e-300)


@settings(max_examples=100, derandomize=True)
@given(circuits())
def test_superposition(example: Example) -> None:
    """The voltages of all sources are the sum of the voltages of each alone."""
    conductance, emf = example.columns
    program = compile_network(example.ends, "n0")
    alone = program.node_volts(conductance, np.diag(emf[:, 0]))
    together = program.node_volts(conductance, emf)[:, 0]
    assert np.all(np.abs(alone.sum(axis=1) - together) <= 1e-12 * max(_scale(example), 1e-300))


@settings(max_examples=100, derandomize=True)
@given(circuits(), st.integers(0, 7), st.floats(-3.0, 9.0))
def test_sweep_equals_solving_again(example: Example, at: int, decade: float) -> None:
    """A severity sweep gives what a solve with that one resistance gives."""
    branch = at % len(example.ends)
    conductance, emf = example.columns
    program = compile_network(example.ends, "n0")
    swept = program.sweep(conductance, emf, branch, np.array([10.0**decade]))[:, 0, 0]
    changed = conductance.copy()
    changed[branch] = 10.0**-decade
    solved = program.node_volts(changed, emf)[:, 0]
    assert np.all(np.abs(swept - solved) <= 1e-12 * max(_scale(example), 1e-300))
