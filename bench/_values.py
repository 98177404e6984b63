"""One batched value solve: what every lead, tachometer and eye sees in every cell, no derivatives.

The yardstick of the judge's speed: it grows with the machine and with the family as a judgement
does. Each port of each circuit is solved once in all cells, each engine state once. A driven motor
has no solver without derivatives here and is left out, so the yardstick is a little short.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from idlewright.job.prepared import Prepared
from idlewright.model.circuit import CircuitState
from idlewright.model.engine_state import EngineState
from idlewright.model.latents import (
    EngineChange,
    EngineOutput,
    Latent,
    OhmBetween,
    SpeedOverTarget,
    VoltBetween,
)
from idlewright.model.worlds import Worlds
from idlewright.physics.engine import idle_balance
from idlewright.physics.star_mesh import PortProgram, compile_port


def value_solve(prepared: Prepared) -> Callable[[], None]:
    """The solve of all checks' latents at all cells' centres, its circuits compiled before."""
    model = prepared.model
    every = np.arange(len(model.cells))
    values = model.visit(every, np.zeros((len(every), model.columns))).placed.worlds.values
    latents = {x for form in prepared.forms.values() for x in form.latents()}
    ports = _ports(prepared, latents)
    engines = _engines(prepared, latents)

    def solve() -> None:
        worlds = Worlds(model.table, values)
        for circuit, program in ports:
            program.solve(*circuit.electrical(worlds))
        for engine in engines:
            idle_balance(engine.inputs(worlds))

    return solve


def _ports(prepared: Prepared, latents: set[Latent]) -> list[tuple[CircuitState, PortProgram]]:
    found: dict[tuple[int, str, str], tuple[CircuitState, PortProgram]] = {}
    for latent in latents:
        if isinstance(latent, VoltBetween | OhmBetween):
            circuit = prepared.model.physics.circuit(latent.state)
            nodes = {node for ends in circuit.branches for node in ends}
            red, black = latent.red, latent.black
            if red in nodes and black in nodes and red != black:
                key = (id(circuit), min(red, black), max(red, black))
                found[key] = (circuit, compile_port(circuit.branches, red, black))
    return list(found.values())


def _engines(prepared: Prepared, latents: set[Latent]) -> list[EngineState]:
    states = {x.state for x in latents if isinstance(x, EngineOutput | SpeedOverTarget)}
    for latent in latents:
        if isinstance(latent, EngineChange):
            states |= {latent.state, latent.versus}
    return [prepared.model.physics.engine(state) for state in sorted(states)]
