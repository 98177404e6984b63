"""Speed of the circuit floor against ngspice, side by side, same circuit, same nodes kept.

ngspice sweeps one resistor by `.dc`, or changes parts by `alter` and solves by `op` in a loop.
Against that, per solve:

* one part: node voltages of worlds in which only that resistor differs - the job `.dc` does;
* mixed: node voltages of worlds in which every resistance differs - more than `.dc` can do, and
  for `alter` a change of every part before each `op`;
* sweep: the severity sweep of that resistor.

Both sides are CPU time of the process that does the work, median of several repeats; ngspice's own
start is taken out by timing few points and many. Cold is the first call in the life of a program,
compiling included; steady the median of later calls. Also: a port with the sensitivities to all
branches, in batches of 1500 worlds.
"""

from __future__ import annotations

import resource
import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from idlewright.physics.network import Branch, Network, build_network
from idlewright.physics.star_mesh import NetworkProgram

BARS = {
    "one part vs .dc": 30.0,
    "one part vs alter+op": 1000.0,
    "mixed vs alter all+op": 1000.0,
    "sweep vs .dc": 100.0,
}
"""ngspice's time over ours, at least, where both do the same job. Mixed worlds are also shown
against `.dc` and against `alter` of one part, which do less; those ratios have no bar.
"""

DEFAULT_ZERO = "0"
DEFAULT_SWEPT = "sig_pin"
DEFAULT_METERED = ("tps_s", "0")
FROM_OHM, TO_OHM = 0.1, 100.0
DEFAULT = (
    # An invented car of 24 nodes against the engine block: supply, computer, throttle sensor and
    # pressure sensor sharing reference and return, idle motor, leaks and a meter.
    Branch("battery", "bat", "batn", 0.02, 12.6),
    Branch("strap", "batn", "0", 0.003),
    Branch("key_switch", "bat", "key", 0.034),
    Branch("other_loads", "key", "0", 6.0),
    Branch("alternator", "bat", "0", 0.05, 13.9),
    Branch("ecu_feed", "key", "ecu12", 0.08),
    Branch("ecu_load", "ecu12", "ecug", 60.0),
    Branch("ecu_ground", "ecug", "0", 0.015),
    Branch("regulator", "ref", "ecug", 0.4, 5.0),
    Branch("ref_pin", "ref", "refw", 0.02),
    Branch("ref_wire", "refw", "refs", 0.15),
    Branch("ref_mate", "refs", "tps_p", 0.01),
    Branch("track_high", "tps_p", "wipe", 4400.0),
    Branch("track_low", "wipe", "tps_n", 600.0),
    Branch("wiper", "wipe", "tps_s", 50.0),
    Branch("sig_mate", "tps_s", "sigw", 0.01),
    Branch("sig_wire", "sigw", "sige", 0.2),
    Branch("sig_pin", "sige", "sigi", 0.02),
    Branch("sig_pull", "sigi", "ref", 220e3),
    Branch("sig_input", "sigi", "ecug", 1e6),
    Branch("sig_bridge", "sigw", "refs", 1e9),
    Branch("sig_leak", "sigw", "0", 1e9),
    Branch("ret_mate", "tps_n", "retm", 0.01),
    Branch("ret_wire", "retm", "rets", 0.18),
    Branch("ret_pin", "rets", "ecug", 0.02),
    Branch("ret_leak", "retm", "0", 1e9),
    Branch("map_ref", "refs", "map_p", 0.12),
    Branch("map_high", "map_p", "map_s", 2000.0),
    Branch("map_low", "map_s", "map_n", 1000.0),
    Branch("map_return", "map_n", "rets", 0.14),
    Branch("map_wire", "map_s", "map_i", 0.25),
    Branch("map_input", "map_i", "ecug", 1e6),
    Branch("map_pull", "map_i", "ref", 470e3),
    Branch("map_leak", "map_s", "0", 1e9),
    Branch("drive_high", "ecu12", "mot_p", 0.9),
    Branch("drive_low", "mot_n", "ecug", 0.7),
    Branch("motor", "mot_p", "mot_m", 24.0),
    Branch("brush", "mot_m", "mot_n", 6.0),
    Branch("motor_leak", "mot_m", "0", 1e9),
    Branch("wiper_leak", "wipe", "0", 1e9),
    Branch("sig_screen", "sige", "0", 50e6),
    Branch("ref_leak", "refw", "0", 1e9),
    Branch("meter", "tps_s", "0", 10e6),
    Branch("map_screen", "map_i", "0", 50e6),
)


def run(
    branches: Sequence[Branch] = DEFAULT,
    zero: str = DEFAULT_ZERO,
    swept: str = DEFAULT_SWEPT,
    metered: tuple[str, str] = DEFAULT_METERED,
    *,
    worlds: int = 8000,
    points: int = 40001,
    repeats: int = 7,
) -> dict[str, object]:
    """Measure everything once: figures, ratios, bars, machine and versions.

    Args:
        branches: the circuit.
        zero: its reference node.
        swept: name of the resistor that `.dc` and the severity sweep vary.
        metered: the two nodes of the port.
        worlds: worlds per call of ours.
        points: points of the sweeps; the `alter` loops have a fortieth of them.
        repeats: repeats of each measurement.
    """
    network = build_network(branches, zero)
    ours = _our_times(network, network.index(swept), worlds, points, repeats)
    ours |= _port_times(network, metered, repeats)
    theirs = _ngspice_times(network, swept, points, repeats)
    found: dict[str, object] = {
        "nodes": len(network.nodes),
        "branches": len(network.branches),
        "us per solve": {name: 1e6 * seconds for name, seconds in (ours | theirs).items()},
        "bars": BARS if theirs else {},
        "machine": {"numpy": np.__version__, "ngspice": _ngspice_version()},
    }
    if theirs:
        found["ratios"] = _ratios(ours, theirs)
        found["worst relative difference from ngspice"] = _worst_difference(network, swept)
    return found


def _ratios(ours: dict[str, float], theirs: dict[str, float]) -> dict[str, float]:
    pairs = [
        ("one part", ".dc"),
        ("mixed", ".dc"),
        ("one part", "alter+op"),
        ("mixed", "alter+op"),
        ("mixed", "alter all+op"),
        ("sweep", ".dc"),
    ]
    steady = {f"{job} vs {way}": theirs[way] / ours[job] for job, way in pairs}
    return steady | {
        f"{job} cold vs {way}": theirs[way] / ours[f"{job} cold"] for job, way in pairs
    }


def _cpu_seconds(act: Callable[[], object]) -> float:
    start = time.process_time()
    act()
    return time.process_time() - start


def _median(act: Callable[[], object], repeats: int) -> float:
    return statistics.median(_cpu_seconds(act) for _ in range(repeats))


def _mixed_worlds(network: Network, worlds: int) -> NDArray[np.float64]:
    """(E, W): tolerances on every part, and in each world up to two faults of 1e-3..1e9 ohm."""
    rng = np.random.default_rng(20260101)
    ohms = 1.0 / network.conductance * rng.lognormal(0.0, 0.05, (len(network.branches), worlds))
    for _ in range(2):
        part = rng.integers(len(network.branches), size=worlds)
        ohms[part, np.arange(worlds)] = 10.0 ** rng.uniform(-3.0, 9.0, worlds)
    return np.ascontiguousarray(1.0 / ohms)


def _our_times(
    network: Network, branch: int, worlds: int, points: int, repeats: int
) -> dict[str, float]:
    """Seconds per solve of our programs, each cold and steady."""
    emf, nominal = network.emf, network.conductance
    mixed = _mixed_worlds(network, worlds)
    ohms = np.linspace(FROM_OHM, TO_OHM, points)
    one_part: list[NDArray[np.float64]] = list(nominal)
    one_part[branch] = 1.0 / np.linspace(FROM_OHM, TO_OHM, worlds)
    jobs: tuple[tuple[str, int, Callable[[NetworkProgram], object]], ...] = (
        ("one part", worlds, lambda program: program.node_volts(one_part, emf)),
        ("mixed", worlds, lambda program: program.node_volts(mixed, emf)),
        ("sweep", points, lambda program: program.sweep(nominal, emf, branch, ohms)),
    )
    times = {}
    for name, solves, job in jobs:
        act = partial(job, network.program())
        times[f"{name} cold"] = _cpu_seconds(act) / solves
        times[name] = _median(act, repeats * 5) / solves
    return times


def _port_times(
    network: Network, metered: tuple[str, str], repeats: int, worlds: int = 1500
) -> dict[str, float]:
    """Seconds per world of port solves, without and with sensitivities to all branches."""
    conductance, emf = _mixed_worlds(network, worlds), network.emf
    port = network.port(*metered)
    times = {}
    for name, act in (("port", port.solve), ("port, all slopes", port.solve_with_sensitivity)):
        solve = partial(act, conductance, emf)
        times[f"{name} cold"] = _cpu_seconds(solve) / worlds
        times[name] = _median(solve, repeats * 20) / worlds
    return times


# ------------------------------------------------------------------------------------- ngspice


def _ngspice_version() -> str:
    if shutil.which("ngspice") is None:
        return "not installed"
    said = subprocess.run(["ngspice", "--version"], capture_output=True, text=True, check=False)
    words = [line for line in said.stdout.splitlines() if "ngspice-" in line]
    return words[0].strip("* ").split()[0] if words else "unknown"


def deck(network: Network, control: Sequence[str]) -> str:
    """A netlist of the network with a control block; node k of the network is `n<k+1>`."""
    name = {node: f"n{at + 1}" for at, node in enumerate(network.nodes)}
    name[network.zero] = "0"
    lines = ["circuit"]
    for at, branch in enumerate(network.branches):
        first, second = name[branch.first], name[branch.second]
        if branch.volt:
            lines.append(f"v{at} {first} m{at} dc {branch.volt!r}")
            first = f"m{at}"
        lines.append(f"r{at} {first} {second} {branch.ohm!r}")
    return "\n".join([*lines, ".control", *control, "quit 0", ".endc", ".end", ""])


def _saved(network: Network) -> str:
    return "save " + " ".join(f"v(n{at + 1})" for at in range(len(network.nodes)))


def _dc_deck(network: Network, swept: str, points: int) -> str:
    step = (TO_OHM - FROM_OHM) / (points - 1)
    dc = f"dc r{network.index(swept)} {FROM_OHM} {TO_OHM} {step!r}"
    return deck(network, [_saved(network), dc])


def _alter_deck(network: Network, altered: Sequence[int], points: int) -> str:
    """A loop that alters the resistors of these branches, each by a factor, before each `op`."""
    factor = (TO_OHM / FROM_OHM) ** (1.0 / points)
    changes = [
        f"alter r{at} = {network.branches[at].ohm!r} * scale" for at in altered
    ]  # one number computed per part, as a loop over given worlds would look one up
    loop = [
        "let scale = 1",
        "let count = 0",
        f"while count < {points}",
        *changes,
        "op",
        "destroy",  # or the results of all solves pile up
        "setplot const",
        f"let scale = scale * {factor!r}",
        "let count = count + 1",
        "end",
    ]
    return deck(network, [_saved(network), "setplot const", *loop])


def _run_ngspice(text: str) -> tuple[float, str]:
    """CPU seconds of one batch run, and what it printed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "deck.cir")
        path.write_text(text, encoding="ascii")
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(
            ["ngspice", "-b", str(path)], capture_output=True, text=True, check=False, cwd=folder
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    said = done.stdout + done.stderr
    if "rror" in said or "singular" in said:
        raise RuntimeError(f"ngspice did not solve the circuit: {said[-500:]}")
    seconds = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return seconds, said


def _ngspice_times(network: Network, swept: str, points: int, repeats: int) -> dict[str, float]:
    """Seconds per solve inside ngspice, its start taken out; {} when it is not installed."""
    if shutil.which("ngspice") is None:
        return {}
    few, looped = 11, max(22, points // 40)
    one, every = [network.index(swept)], range(len(network.branches))
    ways: tuple[tuple[str, Callable[[int], str], int], ...] = (
        (".dc", lambda count: _dc_deck(network, swept, count), points),
        ("alter+op", lambda count: _alter_deck(network, one, count), looped),
        ("alter all+op", lambda count: _alter_deck(network, every, count), looped),
    )
    times = {}
    for name, make, many in ways:
        short, full = make(few), make(many)
        start = statistics.median(_run_ngspice(short)[0] for _ in range(repeats))
        whole = statistics.median(_run_ngspice(full)[0] for _ in range(repeats))
        times[name] = (whole - start) / (many - few)
    return times


def _worst_difference(network: Network, swept: str) -> float:
    """Greatest relative difference of node volts over a short `.dc` sweep, where |V| > 1 uV."""
    points = 101
    text = _dc_deck(network, swept, points)
    shown = "\n".join(f"print v(n{at + 1})" for at in range(len(network.nodes)))
    text = text.replace("\nquit 0", f"\nset numdgt=12\nset width=80\n{shown}\nquit 0")
    theirs = _printed_columns(_run_ngspice(text)[1], points)
    ohms = np.linspace(FROM_OHM, TO_OHM, points)
    ours = network.program().sweep(network.conductance, network.emf, network.index(swept), ohms)
    ours = ours[:, :, 0]
    shown_well = np.abs(ours) > 1e-6
    return float(np.max(np.abs(theirs - ours)[shown_well] / np.abs(ours)[shown_well]))


def _printed_columns(said: str, points: int) -> NDArray[np.float64]:
    """(nodes, points) from ngspice's tables of index, sweep value, number."""
    numbers = [
        float(words[2])
        for words in (line.split() for line in said.splitlines())
        if len(words) == 3 and words[0].isdigit()
    ]
    return np.array(numbers).reshape(-1, points)
