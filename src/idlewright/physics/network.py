"""A circuit of named resistors and sources, checked before it is solved.

A branch is a resistance between two nodes, with an electromotive force in series when it is a
source; a wire, a contact, insulation and a meter are resistances too. Units: ohm, V.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.errors import BadInput, Problem
from idlewright.physics.elimination import neighbours, reachable
from idlewright.physics.star_mesh import (
    NetworkProgram,
    PortProgram,
    compile_network,
    compile_port,
)


@dataclass(frozen=True, slots=True)
class Branch:
    """A named resistance between two nodes, with a source in series if `volt` is not 0.

    Attributes:
        name: unique in its network.
        first: the node a positive `volt` drives positive.
        second: the other node.
        ohm: resistance, ohm, finite and above 0 (a short is small, an open is large).
        volt: electromotive force, V.
    """

    name: str
    first: str
    second: str
    ohm: float
    volt: float = 0.0


@dataclass(frozen=True, slots=True)
class Network:
    """Checked branches and the node voltages count against. Made by `build_network`."""

    branches: tuple[Branch, ...]
    zero: str

    @property
    def ends(self) -> tuple[tuple[str, str], ...]:
        """End nodes of each branch."""
        return tuple((branch.first, branch.second) for branch in self.branches)

    @property
    def nodes(self) -> tuple[str, ...]:
        """All nodes but `zero`, in order of first appearance."""
        return tuple(node for node in neighbours(self.ends) if node != self.zero)

    @property
    def conductance(self) -> NDArray[np.float64]:
        """Conductances, S, (E, 1)."""
        return 1.0 / np.array([[branch.ohm] for branch in self.branches])

    @property
    def emf(self) -> NDArray[np.float64]:
        """Electromotive forces, V, (E, 1)."""
        return np.array([[branch.volt] for branch in self.branches])

    def index(self, name: str) -> int:
        """Row of the branch of that name.

        Raises:
            BadInput: there is none.
        """
        for at, branch in enumerate(self.branches):
            if branch.name == name:
                return at
        raise BadInput(
            Problem(
                says=f"there is no branch named {name!r}",
                expected=f"one of {', '.join(branch.name for branch in self.branches)}",
                key=name,
            )
        )

    def program(self) -> NetworkProgram:
        """The network compiled for node voltages."""
        return compile_network(self.ends, self.zero)

    def port(self, a: str, b: str) -> PortProgram:
        """The network compiled as seen between two nodes.

        Raises:
            BadInput: an unknown node, or twice the same.
        """
        known = {*self.nodes, self.zero}
        unknown = [node for node in (a, b) if node not in known]
        if unknown:
            raise BadInput(
                Problem(says=f"there is no node {node!r} in this network", key=node)
                for node in unknown
            )
        return compile_port(self.ends, a, b)

    def node_volts(self, keep: Sequence[str] | None = None) -> dict[str, float]:
        """Voltage of each node asked for (None = all) against `zero`, V."""
        wanted = self.nodes if keep is None else tuple(keep)
        volts = self.program().node_volts(self.conductance, self.emf, wanted)
        return dict(zip(wanted, volts[:, 0].tolist(), strict=True))


def build_network(branches: Iterable[Branch], zero: str) -> Network:
    """Check branches and make a network of them.

    Raises:
        BadInput: listing everything wrong: no branches, a name used twice, a resistance that is
            not a finite number above 0, a source that is not a finite number, a branch from a
            node to itself, a node with no path to `zero`.
    """
    listed = tuple(branches)
    problems = [problem for branch in listed for problem in _branch_problems(branch)]
    problems += _repeated_names(listed)
    problems += _floating_nodes(listed, zero)
    if problems:
        raise BadInput(problems)
    return Network(listed, zero)


def _branch_problems(branch: Branch) -> list[Problem]:
    problems = []
    if not (math.isfinite(branch.ohm) and branch.ohm > 0.0):
        problems.append(
            Problem(
                says=f"the resistance of {branch.name!r} is {branch.ohm} ohm",
                expected="a finite number of ohms above 0",
                remedy="write a short as a small resistance and an open as a large one",
                key=branch.name,
            )
        )
    if not math.isfinite(branch.volt):
        problems.append(
            Problem(
                says=f"the source of {branch.name!r} is {branch.volt} V",
                expected="a finite number of volts",
                key=branch.name,
            )
        )
    if branch.first == branch.second:
        problems.append(
            Problem(
                says=f"{branch.name!r} goes from node {branch.first!r} to itself",
                expected="two different nodes",
                key=branch.name,
            )
        )
    return problems


def _repeated_names(branches: Sequence[Branch]) -> list[Problem]:
    names = [branch.name for branch in branches]
    return [
        Problem(
            says=f"{names.count(name)} branches are named {name!r}",
            expected="a name of its own for each branch",
            key=name,
        )
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]


def _floating_nodes(branches: Sequence[Branch], zero: str) -> list[Problem]:
    near = neighbours((branch.first, branch.second) for branch in branches)
    if zero not in near:
        return [
            Problem(
                says=f"no branch ends at the reference node {zero!r}",
                expected="at least one path to the node all voltages are against",
            )
        ]
    reached = reachable(near, zero)
    return [
        Problem(
            says=f"node {node!r} floats: no branch leads from it to {zero!r}",
            expected="a path, however poor, to the reference node",
            remedy="add the branch that ties it down, or take its branches out",
            key=node,
        )
        for node in near
        if node not in reached
    ]
