"""Star-mesh elimination, written down as arithmetic on unknown conductances.

A branch is a conductance g (S) in series with an electromotive force e (V). It is carried as the
pair (g, drive) with drive = g e (A), the current it would push through a short. Taking out the
node s whose arms have conductances g_i and drives d_i towards it leaves, between every two
neighbours i and j,

    g_ij = g_i g_j / S,     d_ij = (g_j d_i - g_i d_j) / S,     S = sum of g_i,

(Rosen's theorem; for S. A. Rosen, "A new network theorem", J. IEE 62 (1924) 916, from memory) and
parallel branches add. Conductances are only added, multiplied and divided: nothing cancels, and
their relative accuracy does not depend on how far apart the resistances lie.

Branch currents come back the same way, and never as a difference of two nearly equal node
voltages: the current of an arm is the sum of the currents of the mesh branches that replaced it,
and parallel branches share a current as their conductances do.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from idlewright.physics.tape import Recorder, Signed, Term, flip

Ends = tuple[str, str]


@dataclass(slots=True)
class Part:
    """One of the parallel branches between two nodes: a given branch, or part of a mesh.

    `drive` acts from the pair's second node to its first. `branch` is the index of a given
    branch (`turned` if it was given from the second node to the first), `star` the place in the
    elimination of the node whose mesh this belongs to.
    """

    conductance: int
    drive: Term
    branch: int | None = None
    turned: bool = False
    star: int | None = None


@dataclass(slots=True)
class Pair:
    """Everything in parallel between two nodes."""

    first: str
    second: str
    parts: list[Part] = field(default_factory=list)

    def conductance(self, tape: Recorder) -> int:
        """Value id of the conductance of all parts together."""
        return tape.total([part.conductance for part in self.parts])

    def drive(self, tape: Recorder, towards: str) -> Term:
        """Drive of all parts, from `towards` to the other node, i.e. other node positive."""
        drive = tape.sum([part.drive for part in self.parts])
        return drive if self.second == towards else flip(drive)


@dataclass(slots=True)
class Arm:
    """One arm of a star: from neighbour `far` to the node taken out."""

    far: str
    pair: Pair
    conductance: int
    drive: Term


@dataclass(slots=True)
class Star:
    """A node taken out, its arms, and 1 / (sum of their conductances)."""

    node: str
    arms: list[Arm]
    inverse: int


def neighbours(ends: Iterable[Ends]) -> dict[str, set[str]]:
    """Each node's neighbours, nodes in order of first appearance."""
    near: dict[str, set[str]] = {}
    for first, second in ends:
        near.setdefault(first, set()).add(second)
        near.setdefault(second, set()).add(first)
    return near


def reachable(near: Mapping[str, set[str]], start: str) -> set[str]:
    """All nodes with a path to `start`, itself included."""
    seen = {start}
    waiting = [start]
    while waiting:
        fresh = near.get(waiting.pop(), set()) - seen
        seen |= fresh
        waiting.extend(fresh)
    return seen


def elimination_order(near: Mapping[str, set[str]], keep: Iterable[str]) -> list[str]:
    """Order in which to take out all nodes but `keep`: fewest new branches first (min-fill).

    Ties go to the node with fewer neighbours, then to the one named first.
    """
    graph = {node: set(others) for node, others in near.items()}
    place = {node: at for at, node in enumerate(graph)}
    left = [node for node in graph if node not in set(keep)]
    order: list[str] = []
    cost = {node: _cost(graph, node) for node in left}
    while cost:
        node = min(cost, key=lambda name: (cost[name], place[name]))
        order.append(node)
        del cost[node]
        around = graph.pop(node)
        touched = set(around)
        for other in around:
            graph[other].discard(node)
            graph[other] |= around - {other}
            touched |= graph[other]
        cost.update({name: _cost(graph, name) for name in touched if name in cost})
    return order


def _cost(graph: Mapping[str, set[str]], node: str) -> tuple[int, int]:
    around = graph[node]
    fill = sum(second not in graph[first] for first, second in combinations(around, 2))
    return fill, len(around)


class Reduction:
    """A network reduced, on a recorder, to one branch between each two of its kept nodes.

    Args:
        tape: takes down the arithmetic; value k is the conductance of branch k, value E + k its
            electromotive force, for E branches.
        ends: the branches' end nodes.
        keep: nodes not taken out; they must be connected (see `reachable`).
        driven: for each branch, False if its electromotive force is zero in every world.
    """

    def __init__(
        self, tape: Recorder, ends: Sequence[Ends], keep: Sequence[str], driven: Sequence[bool]
    ) -> None:
        self.tape = tape
        self.stars: list[Star] = []
        self._keep = frozenset(keep)
        self._pairs: dict[str, dict[str, Pair]] = {}
        near = neighbours(ends)
        inside = reachable(near, keep[0])
        for branch, (first, second) in enumerate(ends):
            if first in inside:
                self._connect(branch, first, second, driven[branch], len(ends))
        order = elimination_order({n: near[n] for n in near if n in inside}, keep)
        for node in order:
            self._take_out(node)

    def between(self, first: str, second: str) -> Pair | None:
        """What is left between two kept nodes, or None."""
        return self._pairs.get(first, {}).get(second)

    def _pair(self, first: str, second: str) -> Pair:
        """The pair of two nodes, in either order; made in this order if there was none."""
        pair = self._pairs.setdefault(first, {}).get(second)
        if pair is None:
            pair = Pair(first, second)
            self._pairs[first][second] = pair
            self._pairs.setdefault(second, {})[first] = pair
        return pair

    def _connect(self, branch: int, first: str, second: str, driven: bool, count: int) -> None:
        pair = self._pair(first, second)
        drive: Term = Signed(self.tape.multiply(branch, count + branch), 1) if driven else None
        turned = pair.first != first
        pair.parts.append(Part(branch, flip(drive) if turned else drive, branch, turned))

    def _take_out(self, node: str) -> None:
        tape = self.tape
        pairs = self._pairs.pop(node)
        arms = []
        # Kept nodes first: then no arm to a node of zero volts needs its share worked out.
        for far, pair in sorted(pairs.items(), key=lambda item: item[0] not in self._keep):
            del self._pairs[far][node]
            arms.append(Arm(far, pair, pair.conductance(tape), pair.drive(tape, towards=node)))
        inverse = tape.divide(tape.one, tape.total([arm.conductance for arm in arms]))
        star = len(self.stars)
        self.stars.append(Star(node, arms, inverse))
        for one, other in combinations(arms, 2):
            self._mesh(star, one, other, inverse)

    def _mesh(self, star: int, one: Arm, other: Arm, inverse: int) -> None:
        """The branch that replaces the path over the star between two of its arms' far ends."""
        tape = self.tape
        conductance = tape.multiply(one.conductance, tape.multiply(other.conductance, inverse))
        drive = tape.plus(
            tape.times(tape.times(one.drive, inverse), other.conductance),
            flip(tape.times(tape.times(other.drive, inverse), one.conductance)),
        )
        pair = self._pair(one.far, other.far)
        turned = pair.first != one.far
        pair.parts.append(Part(conductance, flip(drive) if turned else drive, star=star))

    def node_volts(self, zero: str) -> dict[str, Term]:
        """Volts of every node against the only kept node, by putting the nodes back in."""
        tape = self.tape
        volts: dict[str, Term] = {zero: None}
        for star in reversed(self.stars):
            shares = [tape.times(flip(arm.drive), star.inverse) for arm in star.arms]
            for arm in star.arms:
                near = volts[arm.far]
                if near is not None:
                    weight = tape.multiply(arm.conductance, star.inverse)
                    shares.append(tape.times(near, weight))
            volts[star.node] = tape.sum(shares)
        return volts

    def branch_currents(self, pair: Pair, through: Term, driven: bool) -> dict[int, Term]:
        """Current through each given branch's resistance, from its first node to its second.

        Args:
            pair: the last pair left.
            through: current through that pair, from its first node to its second.
            driven: with the drives, or with all of them dead.
        """
        given: dict[int, Term] = {}
        meshes: dict[int, dict[frozenset[str], tuple[str, Term]]] = {}
        self._share(pair, through, driven, given, meshes)
        for at in reversed(range(len(self.stars))):
            star = self.stars[at]
            mesh = meshes.pop(at, {})
            for arm in star.arms:
                through = self.tape.sum(_current_from(arm.far, mesh))
                if arm.pair.first == star.node:
                    through = flip(through)
                self._share(arm.pair, through, driven, given, meshes)
        return given

    def _share(
        self,
        pair: Pair,
        through: Term,
        driven: bool,
        given: dict[int, Term],
        meshes: dict[int, dict[frozenset[str], tuple[str, Term]]],
    ) -> None:
        """Share a pair's current out among its parts; file each part's share where it belongs."""
        currents = self._split(pair, through, driven)
        ends = frozenset((pair.first, pair.second))
        for part, current in zip(pair.parts, currents, strict=True):
            if part.branch is not None:
                given[part.branch] = flip(current) if part.turned else current
            elif part.star is not None:
                meshes.setdefault(part.star, {})[ends] = (pair.first, current)

    def _split(self, pair: Pair, through: Term, driven: bool) -> list[Term]:
        """Current of each parallel part: its share of `through` and what the drives push round.

        With the volts (through + sum of d) / G common to all parts, part m carries
        g_m/G through + (g_m sum of the others' d - d_m sum of the others' g) / G.
        """
        tape = self.tape
        parts = pair.parts
        if len(parts) == 1:
            return [through]
        total = pair.conductance(tape)
        volts = tape.over(through, total)
        if not driven or all(part.drive is None for part in parts):
            return [tape.times(volts, part.conductance) for part in parts]
        pushed = [tape.over(part.drive, total) for part in parts]
        currents: list[Term] = []
        for at, part in enumerate(parts):
            others = [*parts[:at], *parts[at + 1 :]]
            common = tape.plus(volts, tape.sum([*pushed[:at], *pushed[at + 1 :]]))
            current = tape.times(common, part.conductance)
            if part.drive is not None:
                rest = tape.total([other.conductance for other in others])
                current = tape.plus(current, flip(tape.times(pushed[at], rest)))
            currents.append(current)
        return currents


def _current_from(far: str, mesh: Mapping[frozenset[str], tuple[str, Term]]) -> list[Term]:
    """Currents of the mesh branches at node `far`, each counted as leaving it."""
    return [
        current if first == far else flip(current)
        for ends, (first, current) in mesh.items()
        if far in ends
    ]
