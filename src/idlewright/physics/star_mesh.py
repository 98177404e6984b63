"""Resistive circuits solved for many worlds at once, each topology compiled once.

Two programs: a *port* is what a meter or a motor sees between two nodes (open-circuit volts and
source resistance, and how both depend on every branch); a *network* gives node voltages.

Conventions. A branch is an ordered pair of nodes. Its electromotive force is positive when it
drives its first node positive; its current counts from the first node to the second. Arrays are
(E, W): E branches in the order given at compile time, W worlds; an (E, 1) array, or one row of
one number in a sequence of rows, holds for all worlds. Conductance in S, 0 = no connection in that
world. Errors: `idlewright.errors.BadInput`.

Method and accuracy: `elimination`; arithmetic on many worlds: `tape`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.errors import BadInput, Problem
from idlewright.physics.elimination import Ends, Pair, Reduction, neighbours, reachable
from idlewright.physics.severity import between, check_ohms
from idlewright.physics.tape import Recorder, Row, Signed, Term, aligned
from idlewright.physics.tapes import Tapes
from idlewright.physics.worlds import Rows, Worlds, check_worlds

_NO_PATH_OHM = 1e300
"""No network of resistances has more; a port above it is not connected in that world."""


@dataclass(frozen=True, slots=True)
class Port:
    """What two nodes look like from outside: volts a-b with nothing connected (V), source
    resistance (ohm; inf where no path joins a and b, the volts being 0 there). Both (W,).
    """

    volts: Row
    ohms: Row


@dataclass(frozen=True, slots=True)
class PortSensitivity:
    """A port and its derivatives. (W,) and (E, W); all derivatives are 0 where `ohms` is inf.

    Attributes:
        volts: open-circuit volts, a against b (V).
        ohms: source resistance (ohm).
        dvolts_dlnr: change of volts per relative change of each branch's resistance (V).
        dohms_dlnr: change of ohms per relative change of each branch's resistance (ohm).
        dvolts_demf: change of volts per volt of each branch's electromotive force (1).
    """

    volts: Row
    ohms: Row
    dvolts_dlnr: NDArray[np.float64]
    dohms_dlnr: NDArray[np.float64]
    dvolts_demf: NDArray[np.float64]


class PortProgram:
    """A topology seen from two of its nodes. Made by `compile_port`; safe to use from threads."""

    def __init__(self, branches: tuple[Ends, ...], a: str, b: str) -> None:
        self.branches = branches
        self.a = a
        self.b = b
        self.connected = b in reachable(neighbours(branches), a)
        self._tapes = Tapes(self._record)

    def solve(self, conductance: Rows, emf: Rows) -> Port:
        """Open-circuit volts and source resistance in each world.

        Args:
            conductance: (E, W), S, finite, >= 0.
            emf: (E, W), V, finite.

        Raises:
            BadInput: wrong shape, or a number that is negative, NaN or infinite.
        """
        worlds = check_worlds(conductance, emf, len(self.branches))
        result = self.run(worlds, sensitive=False)
        return Port(result[0], result[1])

    def solve_with_sensitivity(self, conductance: Rows, emf: Rows) -> PortSensitivity:
        """The same, and the derivatives by every branch's resistance and electromotive force.

        By the adjoint identity (Tellegen's theorem): with i_k the branch currents at open circuit
        and h_k those for 1 A into a and out of b with all sources dead,
        dV/dln R_k = R_k i_k h_k, dR/dln R_k = R_k h_k^2, dV/de_k = h_k.

        Args and errors: as `solve`.
        """
        count = len(self.branches)
        result = self.run(check_worlds(conductance, emf, count), sensitive=True)
        rates = result[2:].reshape(3, count, result.shape[1])
        return PortSensitivity(result[0], result[1], rates[0], rates[1], rates[2])

    def run(self, worlds: Worlds, sensitive: bool) -> NDArray[np.float64]:
        """The same for inputs already checked: (2, W), or (2 + 3 E, W) with sensitivities.

        Rows: volts, ohms, then the derivatives in the order of `PortSensitivity`.
        """
        count = len(self.branches)
        out = aligned(2 + 3 * count * sensitive, worlds.width)
        if not self.connected:
            out[:] = 0.0
            out[1] = np.inf
            return out
        self._tapes.run(worlds, sensitive, out)
        no_path = out[1] > _NO_PATH_OHM
        if no_path.any():
            out[:, no_path] = 0.0
            out[1, no_path] = np.inf
        return out

    def _record(self, tape: Recorder, worlds: Worlds, sensitive: bool) -> list[int | None]:
        reduction = Reduction(tape, self.branches, (self.a, self.b), worlds.driven)
        pair = reduction.between(self.a, self.b)
        assert pair is not None  # a and b are connected
        total = pair.conductance(tape)
        volts = tape.over(pair.drive(tape, towards=self.b), total)
        asked = [_output(tape, volts), tape.divide(tape.one, total)]
        return asked + self._sensitivities(tape, reduction, pair) if sensitive else asked

    def _sensitivities(self, tape: Recorder, reduction: Reduction, pair: Pair) -> list[int | None]:
        unit = Signed(tape.one, 1 if pair.first == self.a else -1)
        count = len(self.branches)
        asked: list[int | None] = [None] * (3 * count)
        for branch, flow in reduction.branch_flows(pair, unit):
            if flow.probe is not None and flow.volts is not None:
                asked[branch] = _output(tape, tape.product(flow.own, flow.volts))
                asked[count + branch] = tape.multiply(flow.probe.value, flow.volts.value)
                asked[2 * count + branch] = tape.positive(flow.probe)
        return asked


class NetworkProgram:
    """A topology with a reference node. Made by `compile_network`; safe to use from threads.

    Attributes:
        branches: end nodes of each branch.
        zero: the node all voltages are against.
        nodes: all other nodes, in order of first appearance.
        floating: those of them without a path to `zero`.
    """

    def __init__(self, branches: tuple[Ends, ...], zero: str) -> None:
        self.branches = branches
        self.zero = zero
        near = neighbours(branches)
        reached = reachable(near, zero)
        self.nodes = tuple(node for node in near if node != zero)
        self.floating = tuple(node for node in self.nodes if node not in reached)
        self._tapes = Tapes(self._record)
        self._apart: dict[int, _Severed] = {}

    def node_volts(
        self, conductance: Rows, emf: Rows, keep: Sequence[str] | None = None
    ) -> NDArray[np.float64]:
        """Node voltages against `zero`, V, (len(keep), W).

        With all sources between `zero` and another node, driving one way, every value is accurate
        to about 1e-15 of itself; otherwise to about 1e-15 of the largest electromotive force.
        A node cut off from `zero` by conductances of exactly 0 in some world is held, there, by
        nothing; it is given as if its island were tied to `zero` by a vanishing conductance.

        Args:
            conductance: (E, W), S, finite, >= 0.
            emf: (E, W), V, finite.
            keep: nodes wanted, in this order; what none of them needs is not computed. None = all
                `nodes`.

        Raises:
            BadInput: wrong shape or number; a node unknown or floating.
        """
        wanted = self._check_keep(keep)
        return self.run(check_worlds(conductance, emf, len(self.branches)), wanted)

    def run(self, worlds: Worlds, wanted: tuple[str, ...]) -> NDArray[np.float64]:
        """The same for inputs already checked and nodes that do not float."""
        out = aligned(len(wanted), worlds.width)
        self._tapes.run(worlds, wanted, out)
        return out

    def _record(self, tape: Recorder, worlds: Worlds, wanted: tuple[str, ...]) -> list[int | None]:
        reduction = Reduction(tape, self.branches, (self.zero,), worlds.driven)
        volts = reduction.node_volts(self.zero)
        return [_output(tape, volts[node]) for node in wanted]

    def sweep(
        self,
        conductance: Rows,
        emf: Rows,
        branch: int,
        ohms: NDArray[np.float64],
        keep: Sequence[str] | None = None,
    ) -> NDArray[np.float64]:
        """Node voltages for many resistances of one branch, V, (len(keep), S, W).

        Any node voltage is bilinear in one conductance g (superposition and Thevenin's theorem):
        v(g) = (v_open + g R v_short) / (1 + g R), with v_open and v_short the voltage with that
        branch taken out and with its resistance shorted, R the resistance its two ends see. Exact;
        three solves whatever S is.

        Args:
            conductance, emf, keep: as `node_volts`; what conductance says of the branch is not
                used, but must be a possible number.
            branch: index of the branch.
            ohms: (S,), ohm, finite, > 0.

        Raises:
            BadInput: as `node_volts`; `branch` or `ohms` out of range.
        """
        wanted = self._check_keep(keep)
        series = check_ohms(ohms)
        if not 0 <= branch < len(self.branches):
            raise BadInput(
                Problem(
                    says=f"there is no branch {branch} to sweep",
                    expected=f"an index from 0 to {len(self.branches) - 1}",
                )
            )
        worlds = check_worlds(conductance, emf, len(self.branches))
        if branch not in self._apart:
            self._apart[branch] = _Severed(self, branch)
        return self._apart[branch].sweep(worlds, series, wanted)

    def _check_keep(self, keep: Sequence[str] | None) -> tuple[str, ...]:
        wanted = self.nodes if keep is None else tuple(keep)
        known = {*self.nodes, self.zero}
        problems = [
            Problem(says=f"there is no node {node!r} in this network", key=node)
            for node in wanted
            if node not in known
        ]
        problems += [
            Problem(
                says=f"node {node!r} floats: no branch leads from it to {self.zero!r}",
                expected="a path, however poor, to the reference node",
                remedy="add the meter or the insulation that ties it down, or do not ask for it",
                key=node,
            )
            for node in wanted
            if node in self.floating
        ]
        if problems:
            raise BadInput(problems)
        return wanted


class _Severed:
    """A network with one branch taken out, and with that branch's resistance shorted."""

    def __init__(self, whole: NetworkProgram, branch: int) -> None:
        first, second = whole.branches[branch]
        self._branch = branch
        self._count = len(whole.branches)
        self._ends = whole.branches
        self._others = [k for k in range(self._count) if k != branch]
        rest = tuple(whole.branches[k] for k in self._others)
        self._port = PortProgram(rest, first, second)
        self._open = NetworkProgram(rest, whole.zero)
        self._gone, self._stays = (second, first) if second != whole.zero else (first, second)
        moved = {k: (self._put(one), self._put(other)) for k, (one, other) in self._kept_ends()}
        self._moved = [k for k, (one, other) in moved.items() if one != other]
        self._short = NetworkProgram(tuple(moved[k] for k in self._moved), whole.zero)

    def _kept_ends(self) -> list[tuple[int, Ends]]:
        return [(k, self._ends[k]) for k in self._others]

    def _put(self, node: str) -> str:
        return self._stays if node == self._gone else node

    def sweep(self, worlds: Worlds, ohms: Row, wanted: tuple[str, ...]) -> NDArray[np.float64]:
        """As `NetworkProgram.sweep`, all arguments checked."""
        short = self._short_volts(worlds, wanted)
        if not self._port.connected:  # a bridge carries no current, whatever its resistance
            return np.repeat(short[:, None, :], ohms.size, axis=1)
        rest = worlds.only(self._others)
        source = self._port.run(rest, sensitive=False)[1]
        return between(self._open.run(rest, wanted), short, source, ohms)

    def _short_volts(self, worlds: Worlds, wanted: tuple[str, ...]) -> NDArray[np.float64]:
        """Node volts with the branch's resistance shorted; its electromotive force stays.

        The vanished node is at the volts of the one it joined, plus or minus that force, so each
        branch that ended there carries the force instead.
        """
        own = worlds.rows[self._count + self._branch]
        step = -own if self._gone == self._ends[self._branch][1] else own
        forces: dict[int, Row] = {}
        if worlds.driven[self._branch]:
            for k, ends in self._kept_ends():
                if self._gone in ends:  # V(gone) = V(stays) + step
                    force = worlds.rows[self._count + k]
                    forces[k] = force - step if ends[0] == self._gone else force + step
        kept = tuple(self._put(node) for node in wanted)
        volts = self._short.run(worlds.only(self._moved, forces), kept)
        if worlds.driven[self._branch]:
            volts += np.array([[node == self._gone] for node in wanted]) * step
        return volts


def compile_port(branches: Sequence[Ends], a: str, b: str) -> PortProgram:
    """Compile a topology seen between nodes a and b.

    Parts with no path to a or b are left out; a and b not joined give inf ohm.

    Args:
        branches: end nodes of each branch, in the order of the rows to come.
        a: the port's positive node (red probe).
        b: its negative node (black probe).

    Raises:
        BadInput: a is b; a branch ends where it starts.
    """
    if a == b:
        raise BadInput(
            Problem(says=f"both ends of the port are at node {a!r}", expected="two different nodes")
        )
    return PortProgram(_check_ends(branches), a, b)


def compile_network(branches: Sequence[Ends], zero: str) -> NetworkProgram:
    """Compile a topology whose node voltages count against node `zero`.

    Raises:
        BadInput: no branch ends at `zero`; a branch ends where it starts.
    """
    ends = _check_ends(branches)
    if not any(zero in pair for pair in ends):
        raise BadInput(
            Problem(
                says=f"no branch ends at the reference node {zero!r}",
                expected="at least one path to the node all voltages are against",
            )
        )
    return NetworkProgram(ends, zero)


def _check_ends(branches: Sequence[Ends]) -> tuple[Ends, ...]:
    problems = [
        Problem(
            says=f"branch {at} goes from node {first!r} to itself",
            expected="two different nodes",
        )
        for at, (first, second) in enumerate(branches)
        if first == second
    ]
    if problems:
        raise BadInput(problems)
    return tuple((first, second) for first, second in branches)


def _output(tape: Recorder, term: Term) -> int | None:
    return None if term is None else tape.positive(term)
