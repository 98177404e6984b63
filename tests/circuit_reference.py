"""Circuits solved exactly, in rational numbers, and by ngspice: two roads that are not ours.

The exact road is nodal analysis by Gaussian elimination in `fractions.Fraction`; the floats given
are taken as the exact numbers they are, so the answer has no error at all.
"""

from __future__ import annotations

import random
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Ends = tuple[str, str]


@dataclass(frozen=True)
class Example:
    """A circuit: end nodes, conductances (S) and electromotive forces (V) of its branches."""

    ends: tuple[Ends, ...]
    conductance: tuple[float, ...]
    emf: tuple[float, ...]

    @property
    def nodes(self) -> tuple[str, ...]:
        """All nodes in order of appearance."""
        return tuple(dict.fromkeys(node for pair in self.ends for node in pair))

    @property
    def columns(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Conductances and electromotive forces as (E, 1) arrays."""
        return np.array(self.conductance)[:, None], np.array(self.emf)[:, None]


def exact_volts(
    example: Example,
    zero: str,
    inject: Mapping[str, Fraction] | None = None,
    conductance: Sequence[Fraction] | None = None,
    emf: Sequence[Fraction] | None = None,
) -> dict[str, Fraction]:
    """Exact node voltages against `zero`; `inject` is current fed into nodes (and out of zero)."""
    given = [Fraction(g) for g in example.conductance] if conductance is None else conductance
    force = [Fraction(e) for e in example.emf] if emf is None else emf
    nodes = [node for node in example.nodes if node != zero]
    place = {node: at for at, node in enumerate(nodes)}
    table = [[Fraction(0)] * (len(nodes) + 1) for _ in nodes]
    for (first, second), g, e in zip(example.ends, given, force, strict=True):
        for node, other, sign in ((first, second, 1), (second, first, -1)):
            if node in place:
                table[place[node]][place[node]] += g
                table[place[node]][-1] += sign * g * e
                if other in place:
                    table[place[node]][place[other]] -= g
    for node, current in (inject or {}).items():
        if node in place:
            table[place[node]][-1] += current
    solved = _gauss(table)
    return {zero: Fraction(0), **dict(zip(nodes, solved, strict=True))}


def exact_port(
    example: Example,
    a: str,
    b: str,
    conductance: Sequence[Fraction] | None = None,
    emf: Sequence[Fraction] | None = None,
) -> tuple[Fraction, Fraction]:
    """Exact open-circuit volts a-b, and resistance between a and b with all sources dead."""
    volts = exact_volts(example, b, conductance=conductance, emf=emf)[a]
    dead = [Fraction(0)] * len(example.ends)
    ohms = exact_volts(example, b, {a: Fraction(1)}, conductance=conductance, emf=dead)[a]
    return volts, ohms


def exact_slopes(
    example: Example, a: str, b: str, branch: int
) -> tuple[Fraction, Fraction, Fraction]:
    """Exact dV/dln r, dR/dln r and dV/de of one branch, without the adjoint identity.

    As functions of the branch's resistance r, V and R are (p + q r)/(1 + s r): three exact solves
    fix p, q, s, and the slope follows. V is linear in e: two solves.
    """
    own = Fraction(example.conductance[branch])
    ohms = [1 / own, 2 / own, 3 / own]
    ports = [exact_port(example, a, b, _with(example.conductance, branch, 1 / r)) for r in ohms]
    by_ohm = [ohms[0] * _slope(ohms, [port[which] for port in ports]) for which in (0, 1)]
    more = _with(example.emf, branch, Fraction(example.emf[branch]) + 1)
    by_emf = exact_port(example, a, b, emf=more)[0] - ports[0][0]
    return by_ohm[0], by_ohm[1], by_emf


def _with(values: Sequence[float], at: int, value: Fraction) -> list[Fraction]:
    changed = [Fraction(number) for number in values]
    changed[at] = value
    return changed


def _slope(r: Sequence[Fraction], v: Sequence[Fraction]) -> Fraction:
    """Slope at r[0] of the (p + q r)/(1 + s r) through three points."""
    if v[0] == v[1]:  # then it is constant
        return Fraction(0)
    # p + q r - s r v = v at each point
    p, q, s = _gauss([[Fraction(1), x, -x * y, y] for x, y in zip(r, v, strict=True)])
    return (q - p * s) / (1 + s * r[0]) ** 2


def _gauss(table: list[list[Fraction]]) -> list[Fraction]:
    """Solve a square system given with its right side as the last column."""
    size = len(table)
    for at in range(size):
        pivot = next(row for row in range(at, size) if table[row][at])
        table[at], table[pivot] = table[pivot], table[at]
        head = table[at]
        for row in range(at + 1, size):
            if table[row][at]:
                factor = table[row][at] / head[at]
                table[row] = [x - factor * y for x, y in zip(table[row], head, strict=True)]
    solved = [Fraction(0)] * size
    for at in reversed(range(size)):
        rest = sum((table[at][k] * solved[k] for k in range(at + 1, size)), Fraction(0))
        solved[at] = (table[at][-1] - rest) / table[at][at]
    return solved


def random_example(seed: int, sources: str) -> Example:
    """A connected network of 4 to 12 nodes `n0` ..., 1e-3 to 1e9 ohm, 1 to 3 sources.

    `sources`: "one" = one positive source from a node to n0; "several" = any, anywhere.
    """
    draw = random.Random(f"{seed} {sources}")
    count = draw.randint(4, 12)
    names = [f"n{at}" for at in range(count)]
    ends = [(names[at], names[draw.randrange(at)]) for at in range(1, count)]
    for _ in range(draw.randint(1, count)):
        one, other = draw.sample(names, 2)
        ends.append((one, other))
    emf = [0.0] * len(ends)
    if sources == "one":
        ends.append((draw.choice(names[1:]), "n0"))
        emf.append(draw.uniform(0.5, 15.0))
    else:
        for branch in draw.sample(range(len(ends)), draw.randint(1, 3)):
            emf[branch] = draw.uniform(-15.0, 15.0)
    conductance = [1.0 / 10.0 ** draw.uniform(-3.0, 9.0) for _ in ends]
    return Example(tuple(ends), tuple(conductance), tuple(emf))


def ngspice_volts(example: Example, zero: str, ohms: Sequence[float]) -> dict[str, float]:
    """Node voltages by ngspice's operating point; `ohms` because a deck has resistances."""
    nodes = [node for node in example.nodes if node != zero]
    name = {zero: "0", **{node: f"n{at}" for at, node in enumerate(nodes)}}
    lines = ["circuit"]
    for at, ((first, second), ohm, e) in enumerate(
        zip(example.ends, ohms, example.emf, strict=True)
    ):
        top = name[first]
        if e:
            lines.append(f"v{at} {top} m{at} dc {e!r}")
            top = f"m{at}"
        lines.append(f"r{at} {top} {name[second]} {ohm!r}")
    lines += [".control", "set numdgt=14", "op"]
    lines += [f"print v({name[node]})" for node in nodes]
    lines += ["quit 0", ".endc", ".end", ""]
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder, "deck.cir")
        deck.write_text("\n".join(lines), encoding="ascii")
        done = subprocess.run(
            ["ngspice", "-b", str(deck)], capture_output=True, text=True, check=False, cwd=folder
        )
    said = done.stdout + done.stderr
    # ngspice reports a floating node in words only, not by its exit code.
    assert "rror" not in said, said
    assert "singular" not in said, said
    shown = {
        line.split("=")[0].strip(): float(line.split("=")[1])
        for line in done.stdout.splitlines()
        if line.startswith("v(")
    }
    return {node: shown[f"v({name[node]})"] for node in nodes}
