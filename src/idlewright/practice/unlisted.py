"""Faults that no family names: a bridge between two places, or an element that nobody suspects."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from idlewright.family.kinds import Family, Fault, Resistor, Scalar, Span, Value
from idlewright.model.scalars import ScalarTable

BRIDGE = "unlisted.bridge"
CHANGE = "unlisted.change"
BRIDGE_OHM = (0.2, 5e3)
BRIDGE_SHARE = 0.5
MORE, LESS = (10.0, 3e3), (0.05, 0.5)
LINEAR_SHIFT = (5.0, 12.0)
"""Shift of a setting, in stated standard deviations."""


@dataclass(frozen=True, slots=True)
class UnlistedFault:
    """A fault, and the family in which it can happen (with one more resistor for a bridge)."""

    family: Family
    fault: Fault


def draw_unlisted(rng: np.random.Generator, family: Family, table: ScalarTable) -> UnlistedFault:
    """A bridge between two random nodes, or a changed element that no listed fault touches."""
    if rng.random() < BRIDGE_SHARE and family.resistors:
        return _bridge(rng, family)
    found = _change(rng, family, table)
    return found if found is not None else _bridge(rng, family)


def _bridge(rng: np.random.Generator, family: Family) -> UnlistedFault:
    nodes = sorted({node for r in family.resistors.values() for node in (r.a, r.b)})
    joined = {frozenset((r.a, r.b)) for r in family.resistors.values()}
    pairs = [
        (a, b) for k, a in enumerate(nodes) for b in nodes[:k] if frozenset((a, b)) not in joined
    ]
    a, b = pairs[int(rng.integers(len(pairs)))]
    name = f"{BRIDGE}.ohm"
    low, high = BRIDGE_OHM
    ohm = low * math.exp(rng.random() * math.log(high / low))
    scalar = Scalar(name, "log", Value(number=1e9), 0.0, "ohm")
    wider = replace(
        family,
        scalars={**family.scalars, name: scalar},
        resistors={**family.resistors, BRIDGE: Resistor(BRIDGE, a, b, name)},
    )
    spans = (Span("set", name, ohm, ohm),)
    return UnlistedFault(wider, Fault(BRIDGE, f"{a} touches {b} through {ohm:.3g} ohm", spans, 0.0))


def _change(rng: np.random.Generator, family: Family, table: ScalarTable) -> UnlistedFault | None:
    listed = {span.scalar for fault in family.faults.values() for span in fault.spans}
    electrical = {r.ohm for r in family.resistors.values()}
    electrical |= {name for s in family.sources.values() for name in (s.volt, s.ohm)}
    engine = {name for name in family.scalars if name.startswith("engine.")}
    candidates = sorted(
        name
        for name in (electrical | engine) - listed
        if table.spread[0, table.index[name]] > 0 and name != "engine.model_rpm"
    )
    if not candidates:
        return None
    name = candidates[int(rng.integers(len(candidates)))]
    position = table.index[name]
    if table.log[position]:
        low, high = MORE if rng.random() < 0.5 else LESS
        factor = low * math.exp(rng.random() * math.log(high / low))
        span = Span("times", name, factor, factor)
        says = f"{name} is {factor:.3g} times what it should be"
    else:
        size = rng.uniform(*LINEAR_SHIFT) * (1.0 if rng.random() < 0.5 else -1.0)
        shift = float(size * table.spread[0, position])
        span = Span("shift", name, shift, shift)
        says = f"{name} is off by {shift:.3g} {table.units[position]}"
    return UnlistedFault(family, Fault(CHANGE, says, (span,), 0.0))
