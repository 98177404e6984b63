"""Whether the circuit hangs together: volts are read between connected places only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from idlewright.family.draft import Draft
from idlewright.family.kinds import Check, holds
from idlewright.family.names import did_you_mean
from idlewright.family.referee import Referee


def check_circuit(referee: Referee) -> None:
    """Report a reference node that nothing touches, and volts read between unconnected places."""
    draft = referee.draft
    if not (draft.resistor or draft.source):
        return
    if draft.zero not in draft.nodes and not draft.lost:
        places = [n for n in draft.nodes if not n.endswith(".inner")]
        referee.problems.append(
            draft.origin("circuit", "zero").problem(
                f'zero = "{draft.zero}" is a node that nothing touches', "a node of the circuit",
                did_you_mean(draft.zero, places, "node"), ("circuit", "zero"),
            )
        )
    groups: dict[tuple[tuple[str, str], ...], dict[str, str]] = {}
    for check in draft.check.values():
        if check.read in ("volt", "volt_ac") and check.of is None:
            _connected(referee, check, groups)


def _connected(
    referee: Referee, check: Check, groups: dict[tuple[tuple[str, str], ...], dict[str, str]]
) -> None:
    draft = referee.draft
    if check.red is None or check.black is None:
        return
    state = full_state(draft, check.state)
    key = tuple(sorted(state.items()))
    if key not in groups:
        groups[key] = _groups(draft, state)
    group = groups[key]
    red, black = node_of(draft, check.red), node_of(draft, check.black)
    known = red in draft.nodes and black in draft.nodes
    if known and group.get(red, red) != group.get(black, black) and not draft.lost:
        referee.report("check", check.id, ("red",),
                       f'in this state nothing connects "{check.red}" with "{check.black}"',
                       "a path through the circuit between the two leads",
                       "move a lead, correct `in`, or add the missing element")


def node_of(draft: Draft, place: str) -> str:
    """The node a lead touches at a place."""
    return draft.point.get(place) or draft.part_point.get(place) or place


def full_state(draft: Draft, partial: Mapping[str, str]) -> dict[str, str]:
    """`partial` completed by the first value of every other variable."""
    return {**{name: v.values[0] for name, v in draft.state.items()}, **partial}


def _groups(draft: Draft, state: Mapping[str, str]) -> dict[str, str]:
    """Node -> a node that stands for all it is connected with in `state`."""
    links = [(r.a, r.b) for r in draft.resistor.values() if holds(r.when, state)]
    links += [(s.plus, s.minus) for s in draft.source.values() if holds(s.when, state)]
    return joined_nodes(links)


def joined_nodes(links: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Node -> the node that stands for its connected group."""
    parent: dict[str, str] = {}

    def root(node: str) -> str:
        while parent.setdefault(node, node) != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    for a, b in links:
        parent[root(a)] = root(b)
    return {node: root(node) for node in list(parent)}
