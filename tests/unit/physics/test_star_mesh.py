"""Ports and networks by star-mesh elimination, against exact rational arithmetic."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from circuit_reference import Example, exact_port, exact_slopes, exact_volts, random_example
from idlewright.errors import BadInput
from idlewright.physics.star_mesh import compile_network, compile_port

Array = NDArray[np.float64]


def _volts(example: Example, zero: str) -> dict[str, float]:
    program = compile_network(example.ends, zero)
    found = program.node_volts(*example.columns)[:, 0]
    return dict(zip(program.nodes, found.tolist(), strict=True))


@pytest.mark.parametrize("block", range(6))
def test_one_grounded_source_keeps_relative_accuracy(block: int) -> None:
    """One source with its minus at the reference: every node to 1e-12 of itself, over 1e-3..1e9
    ohm and however small the voltage; 300 random networks against exact fractions.
    """
    for seed in range(50 * block, 50 * block + 50):
        example = random_example(seed, "one")
        exact = exact_volts(example, "n0")
        for node, found in _volts(example, "n0").items():
            wanted = exact[node]
            assert abs(Fraction(found) - wanted) <= Fraction(1e-12) * wanted, (seed, node)


@pytest.mark.parametrize("block", range(6))
def test_several_and_floating_sources_keep_accuracy_of_the_largest(block: int) -> None:
    """One to three sources anywhere, either way round: every node to 1e-12 of the largest source;
    300 random networks against exact fractions.
    """
    for seed in range(50 * block, 50 * block + 50):
        example = random_example(seed, "several")
        exact = exact_volts(example, "n0")
        largest = Fraction(max(map(abs, example.emf)))
        for node, found in _volts(example, "n0").items():
            assert abs(Fraction(found) - exact[node]) <= Fraction(1e-12) * largest, (seed, node)


@pytest.mark.parametrize("block", range(4))
def test_ports_are_exact(block: int) -> None:
    """Source resistance to 1e-12 of itself, volts to 1e-12 of the largest source, 200 networks."""
    for seed in range(50 * block, 50 * block + 50):
        example = random_example(seed, "several")
        volts, ohms = exact_port(example, "n1", "n3")
        port = compile_port(example.ends, "n1", "n3").solve(*example.columns)
        largest = Fraction(max(map(abs, example.emf)))
        assert abs(Fraction(port.ohms[0]) - ohms) <= Fraction(1e-12) * ohms, seed
        assert abs(Fraction(port.volts[0]) - volts) <= Fraction(1e-12) * largest, seed


@pytest.mark.parametrize("seed", range(24))
def test_sensitivities_are_exact(seed: int) -> None:
    """Slopes against exact rational ones, found from three exact solves each (no adjoint, no
    differences): by emf to 1e-12, ohms to 1e-12 of the port's, volts to 1e-12 of the largest
    source.
    """
    example = random_example(seed, "several")
    found = compile_port(example.ends, "n2", "n3").solve_with_sensitivity(*example.columns)
    largest = Fraction(max(map(abs, example.emf)))
    for branch in range(len(example.ends)):
        volts, ohms, by_emf = exact_slopes(example, "n2", "n3", branch)
        tiny = Fraction(1e-12)
        assert abs(Fraction(found.dvolts_dlnr[branch, 0]) - volts) <= tiny * largest
        assert abs(Fraction(found.dohms_dlnr[branch, 0]) - ohms) <= tiny * Fraction(found.ohms[0])
        assert abs(Fraction(found.dvolts_demf[branch, 0]) - by_emf) <= tiny


@pytest.mark.parametrize("seed", range(40))
def test_sensitivities_obey_the_two_port_identities(seed: int) -> None:
    """Scaling all resistances alike scales the port's ohms and leaves its volts; the volts are
    linear in the sources: sums of the slopes say so.
    """
    example = random_example(seed, "several")
    _, emf = example.columns
    port = compile_port(example.ends, "n0", "n3").solve_with_sensitivity(*example.columns)
    largest = np.abs(emf).max()
    assert port.dohms_dlnr.sum() == pytest.approx(port.ohms[0], rel=1e-12)
    assert abs(port.dvolts_dlnr.sum()) <= 1e-12 * largest
    assert (port.dvolts_demf * emf).sum() == pytest.approx(port.volts[0], abs=1e-12 * largest)
    assert np.all(port.dohms_dlnr >= 0.0)
    assert np.all(np.abs(port.dvolts_demf) <= 1.0 + 1e-14)


def test_sensitivity_survives_a_common_mode_of_twelve_decades() -> None:
    """A 1 mohm lead next to 1 Gohm: its current, as a share of the probe's, keeps its digits; as
    a difference of two node voltages it would keep four.
    """
    example = Example((("a", "x"), ("x", "b"), ("a", "x")), (1e3, 1e-9, 2e3), (0.0, 0.0, 0.0))
    found = compile_port(example.ends, "a", "b").solve_with_sensitivity(*example.columns)
    assert found.dvolts_demf[:, 0] == pytest.approx([1 / 3, 1.0, 2 / 3], rel=1e-15)


@pytest.mark.parametrize(
    ("reshape", "width"),
    [
        (lambda rows: np.repeat(rows, 5000, axis=1), 5000),
        (lambda rows: [row[0] for row in rows], 1),
        (lambda rows: [np.repeat(row, 3 if k % 2 else 1) for k, row in enumerate(rows)], 3),
        (lambda rows: np.broadcast_to(rows, (len(rows), 9)), 9),
        (lambda rows: np.asfortranarray(np.repeat(rows, 4, axis=1)), 4),
    ],
    ids=["chunks", "numbers", "mixed", "broadcast", "columns-first"],
)
def test_constant_rows_and_any_layout_give_the_same(
    reshape: Callable[[Array], Array], width: int
) -> None:
    """Rows of one number stand for all worlds, alone or among rows of many; the memory layout and
    the cutting into chunks do not change one bit.
    """
    example = random_example(11, "several")
    conductance, emf = example.columns
    network = compile_network(example.ends, "n0")
    port = compile_port(example.ends, "n1", "n2")
    once = network.node_volts(conductance, emf)
    slopes = port.solve_with_sensitivity(conductance, emf)
    many = network.node_volts(reshape(conductance), emf)
    rates = port.solve_with_sensitivity(reshape(conductance), emf)
    assert many.shape == (len(network.nodes), width)
    assert np.array_equal(many, np.repeat(once, width, axis=1))
    assert rates.ohms.shape == (width,)
    assert rates.dvolts_dlnr.shape == (len(example.ends), width)
    assert np.array_equal(rates.dvolts_dlnr, np.repeat(slopes.dvolts_dlnr, width, axis=1))
    assert np.array_equal(rates.dvolts_demf, np.repeat(slopes.dvolts_demf, width, axis=1))


def test_each_world_is_solved_by_itself() -> None:
    """9000 different worlds in chunks equal the same worlds one by one."""
    example = random_example(5, "several")
    conductance, emf = example.columns
    rng = np.random.default_rng(3)
    worlds = conductance * rng.lognormal(0.0, 1.0, (len(conductance), 9000))
    network = compile_network(example.ends, "n0")
    together = network.node_volts(worlds, emf)
    for world in (0, 1, 4095, 4096, 8191, 8999):
        alone = network.node_volts(worlds[:, [world]], emf)
        assert np.array_equal(together[:, [world]], alone)


def test_keep_chooses_and_orders() -> None:
    """Only the nodes asked for, in that order, repeats and the reference included."""
    example = random_example(2, "several")
    network = compile_network(example.ends, "n0")
    everything = dict(zip(network.nodes, network.node_volts(*example.columns), strict=True))
    kept = network.node_volts(*example.columns, keep=["n3", "n0", "n1", "n3"])
    assert np.array_equal(kept[0], everything["n3"])
    assert np.array_equal(kept[1], [0.0])
    assert np.array_equal(kept[2], everything["n1"])
    assert np.array_equal(kept[3], everything["n3"])


@pytest.mark.parametrize("seed", range(30))
def test_sweep_equals_exact_solves(seed: int) -> None:
    """A severity sweep of one branch, sources in it or not, equals an exact solve per resistance
    to 1e-12 of the largest source.
    """
    example = random_example(seed, "several")
    ohms = np.array([1e-3, 1.0, 47e3, 1e9])
    network = compile_network(example.ends, "n0")
    largest = Fraction(max(map(abs, example.emf)))
    branches = {0, len(example.ends) - 1, int(np.argmax(np.abs(example.emf)))}
    for branch in branches:
        swept = network.sweep(*example.columns, branch, ohms)
        for at, ohm in enumerate(ohms):
            conductance = [Fraction(g) for g in example.conductance]
            conductance[branch] = 1 / Fraction(ohm)
            exact = exact_volts(example, "n0", conductance=conductance)
            for row, node in enumerate(network.nodes):
                error = abs(Fraction(swept[row, at, 0]) - exact[node])
                assert error <= Fraction(1e-12) * largest, (seed, branch, node)


def test_sweep_over_worlds_equals_solving_each() -> None:
    """(nodes, resistances, worlds), also with a branch of zero conductance in some worlds."""
    example = random_example(9, "several")
    conductance, emf = example.columns
    rng = np.random.default_rng(4)
    worlds = conductance * rng.lognormal(0.0, 0.3, (len(conductance), 40))
    worlds[-2, ::7] = 0.0
    ohms = np.geomspace(1e-3, 1e9, 900)
    network = compile_network(example.ends, "n0")
    swept = network.sweep(worlds, emf, 1, ohms, keep=["n2", "n1"])
    assert swept.shape == (2, 900, 40)
    for at in (0, 450, 899):
        worlds[1] = 1.0 / ohms[at]
        solved = network.node_volts(worlds, emf, ["n2", "n1"])
        assert swept[:, at] == pytest.approx(solved, abs=1e-12 * np.abs(emf).max())


def test_sweep_of_the_only_path_keeps_its_voltage() -> None:
    """A bridge carries no current: the node beyond it stays at the volts before it, plus its
    source, whatever its resistance.
    """
    ends = (("a", "0"), ("b", "0"), ("c", "a"))
    program = compile_network(ends, "0")
    emf = np.array([[5.0], [0.0], [1.5]])
    swept = program.sweep(np.ones((3, 1)), emf, 2, np.array([1.0, 1e9]))
    assert swept[:, :, 0].tolist() == [[5.0, 5.0], [0.0, 0.0], [6.5, 6.5]]
    lone = program.sweep(np.ones((3, 1)), emf, 0, np.array([1.0, 1e9]), keep=["a", "c"])
    assert lone[:, :, 0].tolist() == [[5.0, 5.0], [6.5, 6.5]]


def test_zero_conductance_is_an_open_branch() -> None:
    """Exactly 0 S in some worlds equals leaving the branch out there, with no NaN anywhere."""
    ends = (("s", "0"), ("s", "x"), ("x", "0"), ("x", "y"), ("y", "0"))
    conductance = np.array(
        [[1e3] * 3, [1.0, 0.0, 1.0], [1.0] * 3, [2.0, 2.0, 0.0], [1.0, 1.0, 0.0]]
    )
    emf = np.array([[5.0], [0.0], [0.0], [0.0], [0.0]])
    volts = compile_network(ends, "0").node_volts(conductance, emf, ["x", "y"])
    assert volts[:, 1].tolist() == [0.0, 0.0]
    rest = Example((("s", "0"), ("s", "x"), ("x", "0")), (1e3, 1.0, 1.0), (5.0, 0.0, 0.0))
    assert volts[0, 2] == pytest.approx(float(exact_volts(rest, "0")["x"]), rel=1e-15)
    assert volts[1, 2] == 0.0  # held by nothing in that world
    assert np.isfinite(volts).all()


def test_a_port_without_a_path_is_open() -> None:
    """Not joined: inf ohm, 0 V, all slopes 0; by the topology or in the worlds where it is so."""
    far = compile_port((("a", "x"), ("b", "y")), "a", "b")
    found = far.solve_with_sensitivity(np.ones((2, 2)), np.ones((2, 1)))
    assert np.isinf(found.ohms).all()
    assert not found.volts.any()
    assert not found.dvolts_demf.any()
    missing = compile_port((("x", "y"),), "a", "b").solve(np.ones((1, 1)), np.ones((1, 1)))
    assert np.isinf(missing.ohms).all()
    some = compile_port((("a", "x"), ("x", "b")), "a", "b")
    slopes = some.solve_with_sensitivity(
        np.array([[1.0, 1.0, 0.0], [0.5, 0.0, 0.0]]), np.array([[3.0], [0.0]])
    )
    assert slopes.ohms.tolist() == [3.0, np.inf, np.inf]
    assert slopes.volts.tolist() == [3.0, 0.0, 0.0]
    assert slopes.dvolts_demf.tolist() == [[1.0, 0.0, 0.0], [1.0, 0.0, 0.0]]
    assert slopes.dohms_dlnr.tolist() == [[1.0, 0.0, 0.0], [2.0, 0.0, 0.0]]


def test_islands_and_dead_ends_do_not_matter_to_a_port() -> None:
    """A loop hanging on one node and an island with a source change neither port nor slopes."""
    ends = (("a", "b"), ("b", "l"), ("l", "m"), ("m", "b"), ("p", "q"), ("q", "r"))
    emf = np.array([[2.0], [0.0], [4.0], [0.0], [9.0], [0.0]])
    found = compile_port(ends, "a", "b").solve_with_sensitivity(np.full((6, 1), 0.25), emf)
    assert found.ohms.tolist() == [4.0]
    assert found.volts.tolist() == [2.0]
    assert found.dohms_dlnr[:, 0].tolist() == [4.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    assert not found.dvolts_dlnr.any()


def test_sign_of_source_and_port() -> None:
    """A source drives its first node positive; swapping the port's ends swaps the volts only."""
    ends = (("plus", "minus"), ("plus", "minus"))
    conductance, emf = np.array([[1.0], [1.0]]), np.array([[6.0], [0.0]])
    forward = compile_port(ends, "plus", "minus").solve_with_sensitivity(conductance, emf)
    backward = compile_port(ends, "minus", "plus").solve_with_sensitivity(conductance, emf)
    assert (forward.volts[0], forward.ohms[0]) == (3.0, 0.5)
    assert (backward.volts[0], backward.ohms[0]) == (-3.0, 0.5)
    assert forward.dvolts_demf[:, 0].tolist() == [0.5, 0.5]
    # More resistance in the source lowers the volts, more in the load raises them.
    assert forward.dvolts_dlnr[:, 0].tolist() == [-1.5, 1.5]
    assert np.array_equal(backward.dvolts_dlnr, -forward.dvolts_dlnr)
    assert np.array_equal(backward.dohms_dlnr, forward.dohms_dlnr)


def test_no_worlds_give_no_answers() -> None:
    """W = 0 is a batch like another."""
    port = compile_port((("a", "b"),), "a", "b").solve(np.ones((1, 0)), np.zeros((1, 1)))
    assert port.volts.shape == (0,)


@pytest.mark.parametrize(
    ("conductance", "emf", "word"),
    [
        (np.array([[1.0], [-1.0]]), np.zeros((2, 1)), "branch 1"),
        (np.array([[1.0], [np.nan]]), np.zeros((2, 1)), "branch 1"),
        (np.array([[np.inf], [1.0]]), np.zeros((2, 1)), "branch 0"),
        (np.ones((2, 1)), np.array([[0.0], [np.nan]]), "emf of branch 1"),
        (np.ones((3, 1)), np.zeros((2, 1)), "3 rows"),
        (np.ones((2, 3)), np.zeros((2, 4)), "worlds"),
        (np.ones(2), np.zeros((2, 1)), "dimension"),
    ],
)
def test_impossible_numbers_are_refused(conductance: Array, emf: Array, word: str) -> None:
    """Negative, NaN or infinite conductance, NaN emf, wrong shapes: BadInput naming the place."""
    program = compile_port((("a", "b"), ("a", "b")), "a", "b")
    with pytest.raises(BadInput, match=word):
        program.solve(conductance, emf)


def test_bad_rows_in_a_sequence_are_refused() -> None:
    """A NaN inside one row of a sequence of rows is found, whichever row it is in."""
    program = compile_port((("a", "b"), ("a", "b")), "a", "b")
    for at in (0, 1):
        rows = [np.ones(3), np.ones(3)]
        rows[at][1] = np.nan
        with pytest.raises(BadInput, match=f"branch {at} is nan in world 1"):
            program.solve(rows, np.zeros((2, 1)))


def test_topology_faults_are_refused() -> None:
    """A branch to itself, a port of one node, an absent reference, a floating or unknown node."""
    with pytest.raises(BadInput, match="itself"):
        compile_port((("a", "a"),), "a", "b")
    with pytest.raises(BadInput, match="both ends"):
        compile_port((("a", "b"),), "a", "a")
    with pytest.raises(BadInput, match="reference"):
        compile_network((("a", "b"),), "0")
    program = compile_network((("a", "0"), ("p", "q")), "0")
    assert program.floating == ("p", "q")
    ones, zeros = np.ones((2, 1)), np.zeros((2, 1))
    assert program.node_volts(ones, zeros, ["a"]).tolist() == [[0.0]]
    with pytest.raises(BadInput, match="'p' floats"):
        program.node_volts(ones, zeros, ["a", "p"])
    with pytest.raises(BadInput, match="no node 'z'"):
        program.node_volts(ones, zeros, ["z"])
    with pytest.raises(BadInput, match="no branch 7"):
        program.sweep(ones, zeros, 7, np.ones(1), ["a"])
    with pytest.raises(BadInput, match="swept"):
        program.sweep(ones, zeros, 0, np.array([0.0]), ["a"])
