"""Circuits with known answers: textbook results, and ngspice."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest

from bench.circuit import DEFAULT
from circuit_reference import Example, exact_port, exact_volts, ngspice_volts, random_example
from idlewright.physics.network import Branch, Network, build_network
from idlewright.physics.star_mesh import compile_network, compile_port


def _port(network: Network, a: str, b: str) -> tuple[float, float]:
    port = network.port(a, b).solve(network.conductance, network.emf)
    return float(port.volts[0]), float(port.ohms[0])


def _ideal(network: Network, a: str, b: str, volts: float) -> dict[str, float]:
    """Node voltages with an ideal source from b to a, by superposition: the network is passive.

    A resistance in series with the source scales all voltages alike, so a 1 ohm source is
    solved for and scaled to the volts wanted; exact, unlike a very small resistance.
    """
    fed = build_network([*network.branches, Branch("source", a, b, 1.0, volts)], b)
    found = fed.node_volts()
    return {node: value * volts / found[a] for node, value in found.items()}


# ------------------------------------------------------------------------- textbook circuits


def test_unbalanced_bridge() -> None:
    """The classic five-resistor bridge (from memory as a problem; worked by hand nodal analysis):
    7/5 ohm, taps at 40/7 and 30/7 V on 10 V, 50/7 A in, 10/7 A across from left to right.
    """
    bridge = build_network(
        [
            Branch("left_up", "in", "left", 1.0),
            Branch("left_down", "left", "0", 2.0),
            Branch("right_up", "in", "right", 2.0),
            Branch("right_down", "right", "0", 1.0),
            Branch("cross", "left", "right", 1.0),
        ],
        "0",
    )
    assert _port(bridge, "in", "0")[1] == pytest.approx(7 / 5, abs=1e-9)
    volts = _ideal(bridge, "in", "0", 10.0)
    assert volts["left"] == pytest.approx(40 / 7, abs=1e-9)
    assert volts["right"] == pytest.approx(30 / 7, abs=1e-9)
    assert 10.0 / _port(bridge, "in", "0")[1] == pytest.approx(50 / 7, abs=1e-9)
    assert (volts["left"] - volts["right"]) / 1.0 == pytest.approx(10 / 7, abs=1e-9)


def test_cube_of_twelve_resistors() -> None:
    """The symmetry puzzle (from memory): 7/12, 3/4, 5/6 ohm over edge, face and body diagonal."""
    corners = [f"{at:03b}" for at in range(8)]
    edges = [
        (one, other)
        for one, other in combinations(corners, 2)
        if sum(x != y for x, y in zip(one, other, strict=True)) == 1
    ]
    assert len(edges) == 12
    for far, ohms in (("001", 7 / 12), ("011", 3 / 4), ("111", 5 / 6)):
        found = compile_port(edges, "000", far).solve(np.ones((12, 1)), np.zeros((12, 1)))
        assert found.ohms[0] == pytest.approx(ohms, abs=1e-12)


@pytest.mark.parametrize("sections", [1, 2, 5, 10, 20])
def test_ladder_counts_in_fibonacci_numbers(sections: int) -> None:
    """n sections of 1 ohm in series, 1 ohm across: F(2n+1)/F(2n) ohm (textbook, from memory)."""
    fibonacci = [0, 1]
    while len(fibonacci) <= 2 * sections + 1:
        fibonacci.append(fibonacci[-1] + fibonacci[-2])
    ends = [(f"n{at}", f"n{at + 1}") for at in range(sections)]
    ends += [(f"n{at + 1}", "0") for at in range(sections)]
    count = len(ends)
    found = compile_port(ends, "n0", "0").solve(np.ones((count, 1)), np.zeros((count, 1)))
    wanted = fibonacci[2 * sections + 1] / fibonacci[2 * sections]
    assert found.ohms[0] == pytest.approx(wanted, abs=1e-12)
    if sections == 20:
        assert found.ohms[0] == pytest.approx(1.6180339887, abs=1e-10)


def test_ladder_converter_gives_its_code_in_volts() -> None:
    """R-2R ladder of four bits on 16 V (textbook, from memory): the open output is the code."""
    ends = [("b0", "0"), ("b0", "b1"), ("b1", "b2"), ("b2", "b3")]
    ends += [(f"b{bit}", "0") for bit in range(4)]
    conductance = np.array([[0.5], [1.0], [1.0], [1.0], [0.5], [0.5], [0.5], [0.5]])
    codes = np.arange(16)
    emf = np.zeros((8, 16))
    emf[4:] = 16.0 * ((codes >> np.arange(4)[:, None]) & 1)
    volts = compile_network(ends, "0").node_volts(conductance, emf, ["b3"])
    assert volts[0] == pytest.approx(codes, abs=1e-12)


def test_delta_and_wye() -> None:
    """Three 30 ohm in a delta: 20 ohm between corners, as a wye of 10 ohm arms (textbook); and
    200 random deltas equal the wyes of the textbook formula.
    """
    delta, wye = [("a", "b"), ("b", "c"), ("c", "a")], [("a", "s"), ("b", "s"), ("c", "s")]
    ohms = np.random.default_rng(1).lognormal(3.0, 4.0, (3, 200))
    ohms[:, 0] = 30.0
    ab, bc, ca = ohms
    arms = np.stack((ab * ca, ab * bc, bc * ca)) / ohms.sum(axis=0)
    zeros = np.zeros((3, 1))
    for one, other in delta:
        mesh = compile_port(delta, one, other).solve(1.0 / ohms, zeros).ohms
        star = compile_port(wye, one, other).solve(1.0 / arms, zeros).ohms
        assert mesh[0] == pytest.approx(20.0, abs=1e-12)
        assert mesh == pytest.approx(star, rel=1e-13)


@pytest.mark.parametrize("detector", [1e-3, 50.0, 1e9])
def test_balanced_bridge_shows_nothing(detector: float) -> None:
    """Wheatstone bridge in balance, 100/200 and 150/300 ohm on 10 V (textbook): both taps at
    20/3 V, nothing through the detector, whatever it is.
    """
    bridge = build_network(
        [
            Branch("r1", "in", "left", 100.0),
            Branch("r2", "left", "0", 200.0),
            Branch("r3", "in", "right", 150.0),
            Branch("r4", "right", "0", 300.0),
            Branch("detector", "left", "right", detector),
        ],
        "0",
    )
    volts = _ideal(bridge, "in", "0", 10.0)
    assert volts["left"] == pytest.approx(20 / 3, abs=1e-12)
    assert volts["right"] == pytest.approx(20 / 3, abs=1e-12)


@pytest.mark.parametrize(("changed", "sign"), [("lower", 1.0), ("upper", -1.0)])
def test_quarter_bridge_is_not_linear(changed: str, sign: float) -> None:
    """Strain-gauge bridge (textbook, from memory), one arm of 120 ohm up by 0.2 %, 5 V: exactly
    V x / (4 + 2 x) = 2.4975025 mV, not the linear 2.5 mV.
    """
    arm = 120.0 * 1.002
    bridge = build_network(
        [
            Branch("a", "in", "left", arm if changed == "upper" else 120.0),
            Branch("b", "left", "0", arm if changed == "lower" else 120.0),
            Branch("c", "in", "right", 120.0),
            Branch("d", "right", "0", 120.0),
        ],
        "0",
    )
    volts = _ideal(bridge, "in", "0", 5.0)
    assert volts["left"] - volts["right"] == pytest.approx(sign * 2.4975025e-3, abs=1e-9)


# ------------------------------------------------------------ potentiometers and voltmeters


def _wiper(share: np.ndarray, load_ratio: float) -> np.ndarray:
    """Wiper volts per volt of a 1 ohm track, loaded by 1/load_ratio ohm to its ground end."""
    ends = [("top", "0"), ("top", "wiper"), ("wiper", "0"), ("wiper", "0")]
    top = np.full_like(share, 1e12)  # an ideal supply: its resistance scales out below
    conductance = np.stack((top, 1.0 / (1.0 - share), 1.0 / share, np.full_like(share, load_ratio)))
    emf = np.array([[1.0], [0.0], [0.0], [0.0]])
    wiper, supply = compile_network(ends, "0").node_volts(conductance, emf, ["wiper", "top"])
    return wiper / supply


def test_loaded_potentiometer() -> None:
    """v/V = k/(1 + k (1 - k) Rp/RL), from the divider: half way with RL = Rp, 2/5 of the supply;
    5 kohm and a 10 Mohm meter on 5 V: 2.4996875391 and 0.4999775010 V.
    """
    assert 5.0 * _wiper(np.array([0.5]), 1.0)[0] == pytest.approx(2.0, abs=1e-12)
    loaded = 5.0 * _wiper(np.array([0.5, 0.1]), 5e3 / 10e6)
    assert loaded == pytest.approx([2.4996875391, 0.4999775010], abs=1e-9)


@pytest.mark.parametrize(
    ("ratio", "worst", "where"), [(0.01, 0.0014782, 0.6669), (0.1, 0.014493, 0.6691)]
)
def test_worst_loading_of_a_potentiometer(ratio: float, worst: float, where: float) -> None:
    """Greatest error k - v/V (handbook; proved symbolically): towards 4a/27 at k = 2/3."""
    share = np.linspace(0.6, 0.75, 30001)
    error = share - _wiper(share, ratio)
    at = int(np.argmax(error))
    assert error[at] == pytest.approx(worst, rel=5e-5)
    assert share[at] == pytest.approx(where, abs=1e-4)
    if ratio <= 0.01:
        assert error[at] == pytest.approx(4.0 * ratio / 27.0, rel=0.01)
        assert share[at] == pytest.approx(2.0 / 3.0, rel=0.01)


def test_a_voltmeter_loads_what_it_measures() -> None:
    """10 Mohm meter on the lower of two 10 Mohm on 10 V (textbook): 10/3 V, not 5; the true value
    comes back by 1 + R_th/R_m with R_th = 5 Mohm.
    """
    divider = build_network(
        [Branch("supply", "top", "0", 1e-3, 10.0), Branch("upper", "top", "tap", 10e6),
         Branch("lower", "tap", "0", 10e6)],
        "0",
    )  # fmt: skip
    volts, ohms = _port(divider, "tap", "0")
    shown = volts * 10e6 / (10e6 + ohms)
    assert shown == pytest.approx(10 / 3, abs=1e-9)
    assert ohms == pytest.approx(5e6, rel=1e-9)
    assert shown * (1.0 + ohms / 10e6) == pytest.approx(5.0, abs=1e-9)


def test_battery_with_internal_resistance() -> None:
    """9 V behind 2 ohm (textbook): 8 V and 0.5 A into 16 ohm; greatest power into 2 ohm, 10.125 W,
    half of it lost inside.
    """
    loads = np.array([16.0, 2.0, 1.99, 2.01])
    conductance = np.stack((np.full(4, 0.5), 1.0 / loads))
    emf = np.array([[9.0], [0.0]])
    volts = compile_network([("top", "0"), ("top", "0")], "0").node_volts(conductance, emf)[0]
    assert volts[0] == pytest.approx(8.0, abs=1e-12)
    assert volts[0] / 16.0 == pytest.approx(0.5, abs=1e-12)
    power = volts**2 / loads
    assert power[1] == pytest.approx(10.125, abs=1e-12)
    assert power[1] > max(power[2:])
    assert power[1] / (9.0 * volts[1] / loads[1]) == pytest.approx(0.5, abs=1e-12)


def test_two_batteries_on_one_load() -> None:
    """Millman's theorem: 12.6 V/0.02 ohm and 12.0 V/0.05 ohm on 0.5 ohm: 145/12 V; the first gives
    25.8333 A, the second takes 1.66667 A, the load 24.16667 A.
    """
    network = build_network(
        [Branch("one", "bus", "0", 0.02, 12.6), Branch("two", "bus", "0", 0.05, 12.0),
         Branch("load", "bus", "0", 0.5)],
        "0",
    )  # fmt: skip
    bus = network.node_volts()["bus"]
    assert bus == pytest.approx(145 / 12, abs=1e-12)
    assert (12.6 - bus) / 0.02 == pytest.approx(25.8333, abs=1e-4)
    assert (12.0 - bus) / 0.05 == pytest.approx(-1.66667, abs=1e-4)
    assert bus / 0.5 == pytest.approx(24.16667, abs=1e-4)


# --------------------------------------------------------------------------- throttle sensor


def _sensor(
    share: float = 0.1,
    ground: float = 1e-6,
    supply: float = 1e-6,
    wiper: float = 1e-6,
    load: float = 1e6,
) -> dict[str, float]:
    """5 V, 5 kohm track, `share` of it below the wiper; resistances of the leads; signal load."""
    network = build_network(
        [
            Branch("source", "five", "0", 1e-6, 5.0),
            Branch("supply_lead", "five", "top", supply),
            Branch("above", "top", "slider", 5e3 * (1.0 - share)),
            Branch("below", "slider", "low", 5e3 * share),
            Branch("contact", "slider", "signal", wiper),
            Branch("ground_lead", "low", "0", ground),
            Branch("input", "signal", "0", load),
        ],
        "0",
    )
    return network.node_volts()


def test_throttle_sensor_healthy_and_with_poor_leads() -> None:
    """Signal to computer ground, derived from the divider: healthy; 1 kohm in the ground lead reads
    high and a meter on the sensor's own ground hides it; 1 kohm in the supply lead reads low.
    """
    assert _sensor()["signal"] == pytest.approx(0.4997751, abs=1e-7)
    poor = _sensor(ground=1e3)
    assert poor["signal"] == pytest.approx(1.2485953, abs=1e-7)
    assert poor["low"] == pytest.approx(0.8323969, abs=1e-7)
    assert poor["signal"] - poor["low"] == pytest.approx(0.4161984, abs=1e-7)
    feed = _sensor(supply=1e3)
    assert feed["signal"] == pytest.approx(0.4164758, abs=1e-7)
    assert feed["top"] == pytest.approx(4.1666320, abs=1e-7)
    assert feed["signal"] / feed["top"] == pytest.approx(0.0999550, abs=1e-7)


def test_a_worn_wiper_shows_on_the_computer_more_than_on_a_meter() -> None:
    """100 kohm of wiper contact half way (from the divider): 9.1 % low into 1 Mohm, 1.0 % into
    10 Mohm.
    """
    assert _sensor(0.5)["signal"] == pytest.approx(2.4968789, abs=1e-7)
    assert _sensor(0.5, wiper=1e5)["signal"] == pytest.approx(2.2701476, abs=1e-7)
    assert _sensor(0.5, load=10e6)["signal"] == pytest.approx(2.4996875, abs=1e-7)
    assert _sensor(0.5, load=10e6, wiper=1e5)["signal"] == pytest.approx(2.4749412, abs=1e-7)


def test_an_open_ground_lead_sends_the_signal_to_the_supply() -> None:
    """Ground lead of 1 Gohm (from the divider): 4.9775785 V."""
    assert _sensor(ground=1e9)["signal"] == pytest.approx(4.9775785, abs=1e-6)


def test_leads_of_an_ohmmeter_add() -> None:
    """10 ohm through two leads of 0.2 ohm (textbook): 10.4 ohm shown, 10 after zeroing."""
    ends = [("red", "x"), ("x", "y"), ("y", "black")]
    conductance = 1.0 / np.array([[0.2, 0.2], [10.0, 1e-300], [0.2, 0.2]])
    shown = compile_port(ends, "red", "black").solve(conductance, np.zeros((3, 1))).ohms
    assert shown == pytest.approx([10.4, 0.4], abs=1e-12)
    assert shown[0] - shown[1] == pytest.approx(10.0, abs=1e-12)


# ----------------------------------------------------------------------------------- ngspice


def _as_example(branches: tuple[Branch, ...]) -> tuple[Example, list[float]]:
    ohms = [branch.ohm for branch in branches]
    example = Example(
        tuple((branch.first, branch.second) for branch in branches),
        tuple(1.0 / ohm for ohm in ohms),
        tuple(branch.volt for branch in branches),
    )
    return example, ohms


FAULTS = {
    "healthy": {},
    "ground lead poor": {"ret_wire": 1e3},
    "ground lead open": {"ret_wire": 1e9},
    "supply lead poor": {"ref_mate": 1e3},
    "wiper open": {"wiper": 1e9},
    "signal leaks to ground": {"sig_leak": 10e3},
    "signal bridged to reference": {"sig_bridge": 1e-3},
    "computer ground poor": {"ecu_ground": 2.0},
    "reference shorted at the other sensor": {"map_high": 1e-3, "map_low": 1e-3},
    "motor winding open": {"motor": 1e9},
}


@pytest.mark.needs_program("ngspice")
@pytest.mark.parametrize("fault", FAULTS)
def test_car_circuit_against_ngspice(fault: str) -> None:
    """An invented car of 24 nodes, healthy and with one fault of 1e-3..1e9 ohm: every node within
    1e-6 of ngspice 39 (measured: 4e-9 or better), and within 1e-12 of the exact rational answer.
    """
    changed = FAULTS[fault]
    assert not set(changed) - {branch.name for branch in DEFAULT}
    branches = tuple(
        Branch(part.name, part.first, part.second, changed.get(part.name, part.ohm), part.volt)
        for part in DEFAULT
    )
    example, ohms = _as_example(branches)
    ours = build_network(branches, "0").node_volts()
    theirs = ngspice_volts(example, "0", ohms)
    exact = exact_volts(example, "0")
    assert len(ours) == 24
    assert min(map(abs, ours.values())) > 1e-6
    for node, volts in ours.items():
        assert theirs[node] == pytest.approx(volts, rel=1e-6)
        assert abs(Fraction(volts) - exact[node]) <= Fraction(1e-12) * abs(exact[node])


@pytest.mark.parametrize("seed", range(10))
def test_car_circuit_with_wild_resistances_is_exact(seed: int) -> None:
    """The same car with every resistance anywhere in 1e-3..1e9 ohm, where solvers that subtract
    (ngspice, factored matrices) lose up to 3e-4 V: 1e-12 of the largest source from exact.
    """
    ohms = 10.0 ** np.random.default_rng(seed).uniform(-3.0, 9.0, len(DEFAULT))
    branches = tuple(
        Branch(part.name, part.first, part.second, float(ohm), part.volt)
        for part, ohm in zip(DEFAULT, ohms, strict=True)
    )
    example, _ = _as_example(branches)
    exact = exact_volts(example, "0")
    for node, volts in build_network(branches, "0").node_volts().items():
        assert abs(Fraction(volts) - exact[node]) <= Fraction(1e-12) * Fraction(13.9)


@pytest.mark.needs_program("ngspice")
@pytest.mark.parametrize("seed", range(20))
def test_random_networks_against_ngspice(seed: int) -> None:
    """Networks of 1 ohm .. 10 Mohm on one source of up to 15 V: ngspice within 1e-10 V (measured:
    1.2e-11), and the power of the resistors equals that of the source to 1e-9 (Tellegen).
    """
    wild = random_example(seed, "one")
    ohms = [float(10.0 ** (7.0 * (np.log10(1.0 / g) + 3.0) / 12.0)) for g in wild.conductance]
    example = Example(wild.ends, tuple(1.0 / ohm for ohm in ohms), wild.emf)
    program = compile_network(example.ends, "n0")
    found = dict(zip(program.nodes, program.node_volts(*example.columns)[:, 0], strict=True))
    theirs = ngspice_volts(example, "n0", ohms)
    for node, volts in found.items():
        assert theirs[node] == pytest.approx(volts, abs=1e-10)
    found["n0"] = 0.0
    across = np.array([found[one] - found[other] for one, other in example.ends])
    conductance, emf = (column[:, 0] for column in example.columns)
    current = conductance * (across - emf)
    burnt = np.sum((across - emf) * current)
    given = -np.sum(emf * current)
    assert burnt == pytest.approx(given, rel=1e-9)


def test_a_meter_is_a_branch_like_any_other() -> None:
    """Loading by a meter from the port's volts and ohms equals solving with the meter connected,
    on the car circuit, to 1e-12.
    """
    example, _ = _as_example(DEFAULT)
    bare = Example(example.ends[:-2], example.conductance[:-2], example.emf[:-2])
    volts, ohms = exact_port(bare, "sigw", "ecug")
    port = compile_port(bare.ends, "sigw", "ecug").solve(*bare.columns)
    assert port.volts[0] == pytest.approx(float(volts), rel=1e-12)
    assert port.ohms[0] == pytest.approx(float(ohms), rel=1e-12)
    loaded = Example((*bare.ends, ("sigw", "ecug")), (*bare.conductance, 1e-7), (*bare.emf, 0.0))
    both = exact_volts(loaded, "ecug")["sigw"]
    assert port.volts[0] * 1e7 / (1e7 + port.ohms[0]) == pytest.approx(float(both), rel=1e-12)
