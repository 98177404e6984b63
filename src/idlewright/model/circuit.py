"""The family's circuit in one car state, seen from any two places a lead can go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from idlewright.family.kinds import Family, Resistor, Source, holds
from idlewright.model.scalars import FloatArray, ScalarTable
from idlewright.model.worlds import Gradient, Worlds, gather
from idlewright.physics.star_mesh import PortProgram, compile_port

IntArray = NDArray[np.int64]

OPEN_OHM = 1e15
"""Stands for no connection at all; no meter shows a difference."""

END_ZONE, END_REST = 0.03, 0.005
"""Shares of a track near its ends (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class PortReading:
    """Thevenin equivalent between two places in W worlds, with derivatives by branch.

    Attributes:
        volts, ohms: (W,). branches: the k branches that matter here. by_lnr, ohms_by_lnr: change of
            volts and of ln(ohms) by ln(branch resistance), (k, W). by_emf: change of volts by the
            branch's emf, (k, W).
    """

    volts: FloatArray
    ohms: FloatArray
    branches: IntArray
    by_lnr: FloatArray
    ohms_by_lnr: FloatArray
    by_emf: FloatArray


class CircuitState:
    """Branches that exist in one car state, in a fixed order.

    Args:
        family: the expanded family. table: its scalars. state: full car state.
        without: resistors left out (a motor's winding, when the motor is worked out apart).
    """

    def __init__(
        self,
        family: Family,
        table: ScalarTable,
        state: Mapping[str, str],
        without: frozenset[str] = frozenset(),
    ) -> None:
        present = table.in_state(state)
        resistors = [
            r for r in family.resistors.values() if r.id not in without and holds(r.when, state)
        ]
        sources = [s for s in family.sources.values() if holds(s.when, state)]
        self.branches: list[tuple[str, str]] = [(r.a, r.b) for r in resistors]
        self.branches += [(s.plus, s.minus) for s in sources]
        self.live = bool(sources)
        elements: list[Resistor | Source] = [*resistors, *sources]
        self._ohm = np.array([present[element.ohm] for element in elements], dtype=np.int64)
        self._fraction = {
            row: (present[r.fraction], r.complement)
            for row, r in enumerate(resistors)
            if r.fraction is not None
        }
        self._volt = {len(resistors) + k: present[s.volt] for k, s in enumerate(sources)}
        self.signature = (
            tuple(self.branches),
            tuple(self._ohm.tolist()),
            tuple(self._fraction.items()),
            tuple(self._volt.items()),
        )
        self._programs: dict[tuple[str, str], PortProgram | None] = {}
        self._coupled: dict[tuple[str, str], IntArray] = {}
        self._nodes = {node for branch in self.branches for node in branch}

    def electrical(self, worlds: Worlds) -> tuple[FloatArray, FloatArray]:
        """Conductance (E, W), siemens, and emf (E, W), volt, of every branch."""
        key = ("electrical", id(self))
        if key not in worlds.memo:
            ohms = np.clip(worlds.values[self._ohm], 1e-6, OPEN_OHM)
            for row, (position, complement) in self._fraction.items():
                share, _ = _share(worlds, position)
                ohms[row] *= (1.0 - share) if complement else share
            emf = np.zeros_like(ohms)
            for row, position in self._volt.items():
                emf[row] = worlds.values[position]
            worlds.memo[key] = (1.0 / ohms, emf)
        found: tuple[FloatArray, FloatArray] = worlds.memo[key]
        return found

    def _program(self, red: str, black: str) -> PortProgram | None:
        """Compiled port; None if a lead touches nothing."""
        key = (red, black)
        if key not in self._programs:
            joined = red in self._nodes and black in self._nodes and red != black
            self._programs[key] = _port(tuple(self.branches), red, black) if joined else None
        return self._programs[key]

    def port(self, worlds: Worlds, red: str, black: str) -> PortReading:
        """Open volts and resistance between two nodes, with derivatives by branch."""
        width = worlds.width
        program = self._program(red, black)
        if program is None:
            ohms = np.full(width, 1e-3 if red == black else OPEN_OHM)
            none = np.empty((0, width))
            return PortReading(np.zeros(width), ohms, np.empty(0, np.int64), none, none, none)
        solved = program.solve_with_sensitivity(*self.electrical(worlds))
        # A branch that carries nothing of a current sent through the port cannot matter.
        coupled = self._coupled.setdefault((red, black), np.flatnonzero(solved.dohms_dlnr[:, 0]))
        ohms = np.minimum(solved.ohms, OPEN_OHM)
        inverse = np.where(solved.ohms < OPEN_OHM, 1.0 / ohms, 0.0)
        return PortReading(
            solved.volts,
            ohms,
            coupled,
            solved.dvolts_dlnr[coupled],
            solved.dohms_dlnr[coupled] * inverse,
            solved.dvolts_demf[coupled],
        )

    def pull_back(
        self, worlds: Worlds, port: PortReading, by_lnr: FloatArray, by_emf: FloatArray | None
    ) -> Gradient:
        """Chain rule from ln(branch resistance) and emf, (k, W) each, to scalar coordinates.

        Branch resistances are log scalars: d ln R / d coordinate = 1 (the loader's rule).
        """
        rows: list[tuple[int, FloatArray]] = []
        for k, branch in enumerate(port.branches.tolist()):
            rows.append((int(self._ohm[branch]), by_lnr[k]))
            if branch in self._fraction:
                position, complement = self._fraction[branch]
                share, steep = _share(worlds, position)
                factor = -steep / (1.0 - share) if complement else steep / share
                rows.append((position, by_lnr[k] * factor * worlds.slope(position)))
            if by_emf is not None and branch in self._volt:
                position = self._volt[branch]
                rows.append((position, by_emf[k] * worlds.slope(position)))
        return gather(rows, worlds.width)


@lru_cache(maxsize=128)
def _port(branches: tuple[tuple[str, str], ...], red: str, black: str) -> PortProgram:
    """A port compiled; states that differ in ohms only, and vehicles of one family, share it."""
    return compile_port(branches, red, black)


def _share(worlds: Worlds, position: int) -> tuple[FloatArray, FloatArray]:
    """A slider's share of the track below the wiper, and its slope by the set position.

    The wiper cannot leave the track: within END_ZONE of an end the share bends off smoothly and
    stops END_REST short of it, where the track's end connection is.
    """
    x = worlds.values[position]
    room = END_ZONE - END_REST
    over = np.maximum(x - (1.0 - END_ZONE), 0.0) / room
    under = np.maximum(END_ZONE - x, 0.0) / room
    share = np.clip(x, END_ZONE, 1.0 - END_ZONE)
    share = share + room * (1.0 - np.exp(-over)) - room * (1.0 - np.exp(-under))
    return share, np.exp(-over - under)
