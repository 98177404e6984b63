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

from collections.abc import Iterable, Iterator, Mapping, Sequence
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


@dataclass(frozen=True, slots=True)
class Flow:
    """Currents through a branch's resistance, from its first node to its second.

    `probe` flows for the probe's current with all drives dead and drops `volts` over the
    resistance; `own` flows with the drives at work and no probe.
    """

    probe: Term
    volts: Term
    own: Term


@dataclass(frozen=True, slots=True)
class _MeshFlow:
    """The same through one branch of a mesh."""

    first: str
    second: str
    probe: Term
    own: Term

    def __contains__(self, node: str) -> bool:
        return node in (self.first, self.second)


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


def elimination_order(
    near: Mapping[str, set[str]], keep: Iterable[str], driven: Iterable[Ends] = ()
) -> list[str]:
    """Order in which to take out all nodes but `keep`: what makes least work first (min-fill).

    Work is counted as new branches plus branches that come to carry a drive. Ties go to the node
    with fewer neighbours, then to the one named first.
    """
    graph = {node: set(others) for node, others in near.items()}
    drives = {node: set[str]() for node in near}
    for first, second in driven:
        drives[first].add(second)
        drives[second].add(first)
    place = {node: at for at, node in enumerate(graph)}
    kept = set(keep)
    cost = {node: _cost(graph, drives, node) for node in graph if node not in kept}
    order: list[str] = []
    while cost:
        node = min(cost, key=lambda name: (cost[name], place[name]))
        order.append(node)
        del cost[node]
        touched = _join_neighbours(graph, drives, node)
        cost.update({name: _cost(graph, drives, name) for name in touched if name in cost})
    return order


def _cost(
    graph: Mapping[str, set[str]], drives: Mapping[str, set[str]], node: str
) -> tuple[int, int]:
    around = graph[node]
    pushing = drives[node]
    fill = 0
    for first, second in combinations(around, 2):
        fill += second not in graph[first]
        if first in pushing or second in pushing:
            fill += second not in drives[first]
    return fill, len(around)


def _join_neighbours(
    graph: dict[str, set[str]], drives: dict[str, set[str]], node: str
) -> set[str]:
    """Take a node out of both graphs; the nodes whose cost that may have changed."""
    around = graph.pop(node)
    pushing = drives.pop(node)
    touched = set(around)
    for other in around:
        graph[other].discard(node)
        drives[other].discard(node)
        graph[other] |= around - {other}
        drives[other] |= (around if other in pushing else pushing) - {other}
    for other in around:
        touched |= graph[other]
    return touched


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
        order = elimination_order(
            {node: near[node] for node in near if node in inside},
            keep,
            [pair for pair, push in zip(ends, driven, strict=True) if push and pair[0] in inside],
        )
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

    def branch_flows(self, pair: Pair, unit: Term) -> Iterator[tuple[int, Flow]]:
        """What flows through each given branch, yielded as soon as it is known.

        Args:
            pair: the last pair left, open from outside but for the probe.
            unit: the probe's current, entering the pair at its first node.
        """
        meshes: dict[int, list[_MeshFlow]] = {}
        yield from self._share(pair, unit, None, meshes)
        for at in reversed(range(len(self.stars))):
            star = self.stars[at]
            mesh = meshes.pop(at, [])
            for arm in star.arms:
                # The pair counts from its first node; what the mesh carries away from an arm's
                # far end flows from there towards the star.
                outer = arm.pair.first != star.node
                near = [
                    (flow, (flow.first == arm.far) == outer) for flow in mesh if arm.far in flow
                ]
                probe = self.tape.sum([_turn(flow.probe, along) for flow, along in near])
                own = self.tape.sum([_turn(flow.own, along) for flow, along in near])
                yield from self._share(arm.pair, probe, own, meshes)

    def _share(
        self, pair: Pair, probe: Term, own: Term, meshes: dict[int, list[_MeshFlow]]
    ) -> Iterator[tuple[int, Flow]]:
        """Share a pair's two currents out among its parts; yield or file each part's share."""
        tape = self.tape
        total = pair.conductance(tape)
        volts = tape.over(probe, total)
        alone = len(pair.parts) == 1
        owns = [own] if alone else self._split(pair, tape.over(own, total))
        for part, own_share in zip(pair.parts, owns, strict=True):
            share = probe if alone else tape.times(volts, part.conductance)
            if part.branch is not None:
                along = not part.turned
                yield (
                    part.branch,
                    Flow(_turn(share, along), _turn(volts, along), _turn(own_share, along)),
                )
            elif part.star is not None:
                flow = _MeshFlow(pair.first, pair.second, share, own_share)
                meshes.setdefault(part.star, []).append(flow)

    def _split(self, pair: Pair, volts: Term) -> list[Term]:
        """Current of each parallel part: its share of the pair's, and what the drives push round.

        With G and D the sums of conductances and drives and `volts` the pair's current over G,
        part m carries g_m (volts + D/G) - d_m, that is, with nothing nearly equal subtracted,
        g_m (volts + sum of the others' d/G) - d_m (sum of the others' g)/G.
        """
        tape = self.tape
        parts = pair.parts
        total = pair.conductance(tape)
        pushed = [tape.over(part.drive, total) for part in parts]
        currents: list[Term] = []
        for at, part in enumerate(parts):
            others = [*pushed[:at], *pushed[at + 1 :]]
            current = tape.times(tape.plus(volts, tape.sum(others)), part.conductance)
            if part.drive is not None:
                rest = tape.total([other.conductance for other in parts if other is not part])
                current = tape.plus(current, flip(tape.times(pushed[at], rest)))
            currents.append(current)
        return currents


def _turn(term: Term, along: bool) -> Term:
    return term if along else flip(term)
