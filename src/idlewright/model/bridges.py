"""Faults nobody listed: any two places bridged, any unlisted element changed.

Worked out once for the nominal good car by the change of one conductance in a solved network
(Woodbury's identity); good to a few parts in a thousand, which is plenty for "where would it be?".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.model.circuit import CircuitState
from idlewright.model.compiled import CompiledModel
from idlewright.model.latents import Latent, OhmBetween, VoltBetween, to_scale
from idlewright.model.scalars import FloatArray
from idlewright.model.worlds import Worlds

BRIDGE_OHM = (1.0, 100.0, 1e4)
CHANGES = (30.0, 1e3)
SAME_NET_OHM = 20.0
STIFFEST, WEAKEST = 1e2, 1e-12


@dataclass(frozen=True, slots=True)
class Change:
    """One unlisted change: conductance added between two nodes, or an element's divided.

    Attributes:
        place: two places a lead can go, for people. a, b: nodes. ohm: of the bridge, or None.
        factor: how many times the element's resistance grew, or None. resistor: its ohm scalar.
    """

    place: tuple[str, str]
    a: str
    b: str
    ohm: float | None = None
    factor: float | None = None
    resistor: str | None = None


def unlisted_changes(model: CompiledModel) -> tuple[Change, ...]:
    """Every bridge between two nets and every change of an element that no fault touches."""
    family = model.family
    named = {node: point for point, node in {**family.part_points, **family.points}.items()}
    nets = _nets(model)
    found = []
    representatives = [_spokesman(net, named) for net in nets]
    for i, first in enumerate(representatives):
        for second in representatives[:i]:
            place = (named.get(second, second), named.get(first, first))
            found += [Change(place, second, first, ohm=ohm) for ohm in BRIDGE_OHM]
    listed = {span.scalar for fault in family.faults.values() for span in fault.spans}
    for resistor in family.resistors.values():
        if resistor.ohm not in listed and not resistor.when:
            place = (named.get(resistor.a, resistor.a), named.get(resistor.b, resistor.b))
            found += [
                Change(place, resistor.a, resistor.b, factor=factor, resistor=resistor.ohm)
                for factor in CHANGES
            ]
    return tuple(found)


def _nets(model: CompiledModel) -> list[list[str]]:
    """Nodes joined by good wires when everything is plugged."""
    family, table = model.family, model.table
    parent: dict[str, str] = {}

    def root(node: str) -> str:
        while parent.setdefault(node, node) != node:
            node = parent[node]
        return node

    for resistor in family.resistors.values():
        a, b = root(resistor.a), root(resistor.b)
        if a != b and table.nominal[0, table.index[resistor.ohm]] < SAME_NET_OHM:
            parent[b] = a
    groups: dict[str, list[str]] = {}
    for node in parent:
        groups.setdefault(root(node), []).append(node)
    return list(groups.values())


def _spokesman(net: list[str], named: Mapping[str, str]) -> str:
    return next((node for node in net if node in named), net[0])


def shifts(
    model: CompiledModel, changes: Sequence[Change], numbers: Sequence[int]
) -> FloatArray:
    """Shift of each latent (working scale) under each change on a good car, (U, n)."""
    out = np.zeros((len(changes), len(numbers)))
    solved: dict[int, _Solved] = {}
    worlds = _nominal(model)
    for column, number in enumerate(numbers):
        latent = model.latent(number)
        if isinstance(latent, VoltBetween | OhmBetween):
            state = model.physics.circuit(latent.state)
            if id(state) not in solved:
                solved[id(state)] = _Solved(state, worlds)
            out[:, column] = solved[id(state)].shift(latent, changes, model)
    return out


def _nominal(model: CompiledModel) -> Worlds:
    return Worlds(model.table, model.table.nominal[:1].T.copy())


class _Solved:
    """One car state's nominal network, its node volts and transfer resistances."""

    def __init__(self, state: CircuitState, worlds: Worlds) -> None:
        conductance, emf = (each[:, 0] for each in state.electrical(worlds))
        conductance = np.clip(conductance, WEAKEST, STIFFEST)
        nodes = sorted({node for branch in state.branches for node in branch})
        self.at = {node: k for k, node in enumerate(nodes)}
        laplacian = np.eye(len(nodes)) * WEAKEST
        injected = np.zeros(len(nodes))
        for (first, second), g, e in zip(state.branches, conductance, emf, strict=True):
            a, b = self.at[first], self.at[second]
            laplacian[[a, b], [a, b]] += g
            laplacian[[a, b], [b, a]] -= g
            injected[a] += g * e
            injected[b] -= g * e
        self.transfer = np.linalg.inv(laplacian)
        self.volts = self.transfer @ injected

    def shift(
        self, latent: VoltBetween | OhmBetween, changes: Sequence[Change], model: CompiledModel
    ) -> FloatArray:
        """Shift of one latent under each change, (U,); 0 where a place is not in this state."""
        out = np.zeros(len(changes))
        if latent.red not in self.at or latent.black not in self.at:
            return out
        a, b = self.at[latent.red], self.at[latent.black]
        usable = [
            k for k, c in enumerate(changes) if c.a in self.at and c.b in self.at and c.a != c.b
        ]
        p = np.array([self.at[changes[k].a] for k in usable], dtype=np.int64)
        q = np.array([self.at[changes[k].b] for k in usable], dtype=np.int64)
        z = self.transfer
        across = z[p, p] + z[q, q] - 2.0 * z[p, q]
        couple = z[a, p] - z[a, q] - z[b, p] + z[b, q]
        added = np.array([_added(changes[k], model) for k in usable])
        shrink = added / np.maximum(1.0 + added * across, 1e-9)
        volts = self.volts[a] - self.volts[b]
        ohms = z[a, a] + z[b, b] - 2.0 * z[a, b]
        volts_new = volts - shrink * (self.volts[p] - self.volts[q]) * couple
        ohms_new = np.maximum(ohms - shrink * couple**2, 0.0)
        out[usable] = _shown(latent, volts_new, ohms_new) - _shown(
            latent, np.array([volts]), np.array([ohms])
        )
        return out


def _added(change: Change, model: CompiledModel) -> float:
    if change.ohm is not None:
        return 1.0 / change.ohm
    assert change.factor is not None and change.resistor is not None
    ohm = float(model.table.nominal[0, model.table.index[change.resistor]])
    return (1.0 / change.factor - 1.0) * min(1.0 / ohm, STIFFEST)


def _shown(latent: Latent, volts: FloatArray, ohms: FloatArray) -> FloatArray:
    if isinstance(latent, VoltBetween):
        return to_scale("volt", volts * latent.input_ohm / (latent.input_ohm + ohms))
    return to_scale("ohm", ohms)


