"""The shipped carburettor family's own circuit under its own faults, against ngspice and fractions.

The decks are written here from the family's records (elements, states, faults), by other code than
the product's: which element is there in which state, what a fault does to it, where a slider is.
"""

from __future__ import annotations

import math
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from circuit_reference import Example, exact_port
from idlewright.family import load_family, load_sheet
from idlewright.family.kinds import Check, Family, Fault
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_of_check
from idlewright.model.latents import OhmBetween, VoltBetween, from_scale
from idlewright.model.worlds import Worlds

EXAMPLES = Path(__file__).parents[2] / "examples"
METER_OHM = 10e6
NEARLY_OPEN = 1e5
"""A fault of at least so many ohm leaves places hanging on insulation: left to exact fractions."""
INSULATION = 1e6
CIRCUITS_A_DECK = 60
EXACT_EVERY = 97
"""Of the nearly open (fault, check) pairs every so manyth is solved in fractions (all would take
minutes); the number is prime to the number of checks, so that all checks have their turn."""


@dataclass(frozen=True)
class Branch:
    """One resistance with an emf in series, first node positive."""

    first: str
    second: str
    ohm: float
    emf: float = 0.0


CARS = {
    "plunger-carburettor": "invented-estate",
    "stepper-pressure": "invented-coupe",
    "duty-airflow": "invented-hatchback",
}
"""Family -> an invented car whose sheet leaves nothing about the circuit open."""


@pytest.fixture(scope="module", params=CARS)
def model(request: pytest.FixtureRequest) -> CompiledModel:
    """Each family on its car."""
    family = load_family(request.param)
    sheet = load_sheet(EXAMPLES / f"{CARS[request.param]}.sheet.toml", family)
    return compile_model(family, sheet)


def circuit_checks(family: Family) -> list[Check]:
    """Checks that read volts or ohms between two places."""
    return [check for check in family.checks.values() if check.red and check.black]


def scalars(model: CompiledModel, fault: Fault | None) -> dict[str, float]:
    """Every scalar of a nominal car with a fault at the middle of its severity."""
    good = dict(zip(model.table.ids, model.table.nominal[0].tolist(), strict=True))
    log = dict(zip(model.table.ids, model.table.log.tolist(), strict=True))
    values = dict(good)
    for span in fault.spans if fault else ():
        if span.like is not None:
            values[span.scalar] = good[span.like]
            continue
        geometric = span.act == "times" or (span.act == "set" and log[span.scalar])
        middle = 0.5 * (span.low + span.high)
        if geometric and span.low > 0:
            middle = math.sqrt(span.low * span.high)
        if span.act == "set":
            values[span.scalar] = middle
        elif span.act == "shift":
            values[span.scalar] += middle
        else:
            values[span.scalar] *= middle
    return values


def in_state(
    family: Family, values: Mapping[str, float], state: Mapping[str, str]
) -> dict[str, float]:
    """What each scalar id stands for in a state."""
    found = {name: values[name] for name, s in family.scalars.items() if not s.stands_for}
    for name, scalar in family.scalars.items():
        if scalar.stands_for and all(state[k] in v for k, v in scalar.only.items()):
            found[scalar.stands_for] = values[name]
    return found


def on_track(place: float) -> float:
    """Where a wiper stands: in the last 0.03 of a track it comes ever less nearer to 0.005 off."""
    if place < 0.5:
        return 1.0 - on_track(1.0 - place)
    return min(place, 0.97) + 0.025 * (1.0 - math.exp(-max(place - 0.97, 0.0) / 0.025))


def branches_of(
    family: Family, values: Mapping[str, float], state: Mapping[str, str]
) -> list[Branch]:
    """The circuit in one state."""
    here = in_state(family, values, state)
    found = []
    for r in family.resistors.values():
        if all(state[k] in v for k, v in r.when.items()):
            share = 1.0 if r.fraction is None else on_track(here[r.fraction])
            found.append(Branch(r.a, r.b, here[r.ohm] * (1.0 - share if r.complement else share)))
    for s in family.sources.values():
        if all(state[k] in v for k, v in s.when.items()):
            found.append(Branch(s.plus, s.minus, here[s.ohm], here[s.volt]))
    return found


def reached(branches: Sequence[Branch], start: str) -> set[str]:
    """Every node that hangs together with one."""
    found, edge = {start}, [start]
    while edge:
        node = edge.pop()
        for branch in branches:
            for here, there in ((branch.first, branch.second), (branch.second, branch.first)):
                if here == node and there not in found:
                    found.add(there)
                    edge.append(there)
    return found


@dataclass(frozen=True)
class Measured:
    """One circuit with its meter: volts through 10 Mohm, or ohms by 1 A with all sources dead."""

    name: str
    branches: tuple[Branch, ...]
    red: str
    black: str
    is_ohm: bool


def measured(model: CompiledModel, check: Check, fault: Fault | None) -> Measured | None:
    """The circuit of one check under one fault; None if the two leads do not hang together."""
    family = model.family
    state = {**{name: v.values[0] for name, v in family.states.items()}, **check.state}
    places = {**family.part_points, **family.points}
    red, black = (places.get(str(p), str(p)) for p in (check.red, check.black))
    branches = branches_of(family, scalars(model, fault), state)
    together = reached(branches, black)
    if red not in together:
        return None
    kept = [b for b in branches if b.first in together]
    is_ohm = check.read == "ohm"
    if is_ohm:
        kept = [replace(b, emf=0.0) for b in kept]
    name = f"{check.id} under {fault.id if fault else 'nothing'}"
    return Measured(name, tuple(kept), red, black, is_ohm)


def ours(model: CompiledModel, check: Check, fault: Fault | None) -> float:
    """What the product's model reads, V or ohm."""
    latent = form_of_check(model.family, check, METER_OHM).modes[0].number
    assert isinstance(latent, VoltBetween | OhmBetween)
    values = np.array(list(scalars(model, fault).values()))[:, None]
    x, _ = latent.evaluate(model.physics, Worlds(model.table, values))
    return float(from_scale(latent.scale, x)[0])


def touches_circuit(family: Family, fault: Fault) -> bool:
    """Whether a fault acts on anything in the circuit."""
    used = {r.ohm for r in family.resistors.values()}
    used |= {r.fraction for r in family.resistors.values() if r.fraction}
    used |= {name for s in family.sources.values() for name in (s.ohm, s.volt)}
    used |= {name for name, s in family.scalars.items() if s.stands_for in used}
    return any(span.scalar in used for span in fault.spans)


def nearly_open(fault: Fault) -> bool:
    """Whether a fault leaves something hanging on insulation."""
    return any(
        span.act == "set" and math.sqrt(max(span.low * span.high, 0.0)) >= NEARLY_OPEN
        for span in fault.spans
    ) or any(span.like is not None for span in fault.spans)


def deck(circuits: Sequence[Measured]) -> str:
    """One ngspice deck of circuits beside each other, each with its black lead on ground."""
    lines, wanted = ["circuits"], []
    for number, one in enumerate(circuits):
        nodes = dict.fromkeys(n for b in one.branches for n in (b.first, b.second))
        name = {node: f"c{number}n{k}" for k, node in enumerate(nodes)} | {one.black: "0"}
        for k, branch in enumerate(one.branches):
            top = name[branch.first]
            if branch.emf:
                lines.append(f"v{number}x{k} {top} c{number}m{k} dc {branch.emf!r}")
                top = f"c{number}m{k}"
            lines.append(f"r{number}x{k} {top} {name[branch.second]} {branch.ohm!r}")
        if one.is_ohm:
            lines.append(f"i{number} 0 {name[one.red]} dc 1")
        else:
            lines.append(f"r{number}meter {name[one.red]} 0 {METER_OHM!r}")
        wanted.append(f"print v({name[one.red]})")
    return "\n".join(
        [*lines, ".control", "set numdgt=14", "op", *wanted, "quit 0", ".endc", ".end", ""]
    )


def by_ngspice(circuits: Sequence[Measured], folder: Path) -> list[float]:
    """Readings of many circuits, in batches."""
    found: list[float] = []
    for start in range(0, len(circuits), CIRCUITS_A_DECK):
        path = folder / "deck.cir"
        path.write_text(deck(circuits[start : start + CIRCUITS_A_DECK]), encoding="ascii")
        done = subprocess.run(
            ["ngspice", "-b", path.name], capture_output=True, text=True, check=False, cwd=folder
        )
        said = done.stdout + done.stderr
        # ngspice reports a floating node in words only, not by its exit code.
        assert "rror" not in said and "singular" not in said, said[-2000:]
        found += [
            float(line.split("=")[1]) for line in done.stdout.splitlines() if line.startswith("v(")
        ]
    return found


@pytest.mark.needs_program("ngspice")
def test_every_circuit_check_under_every_fault_against_ngspice(
    model: CompiledModel, tmp_path: Path
) -> None:
    """Good car and every circuit fault that is not nearly open, at the middle of its severity, read
    by every circuit check: within 1e-6 of ngspice's operating point (1e-9 V, 1e-6 ohm near zero).
    Insulation (more than 1 Mohm) is left to the exact fractions.
    """
    family = model.family
    faults = [
        f for f in family.faults.values() if touches_circuit(family, f) and not nearly_open(f)
    ]
    pairs = [(c, f) for f in (None, *faults) for c in circuit_checks(family)]
    circuits = [(measured(model, c, f), c, f) for c, f in pairs]
    joined = [(one, c, f) for one, c, f in circuits if one is not None]
    assert len(faults) >= 30 and len(joined) >= 1500
    theirs = by_ngspice([one for one, _, _ in joined], tmp_path)
    assert len(theirs) == len(joined)
    off = []
    for (one, check, fault), reading in zip(joined, theirs, strict=True):
        mine = ours(model, check, fault)
        if one.is_ohm and reading > INSULATION:
            assert mine > 0.99 * INSULATION, one.name
        elif mine != pytest.approx(reading, rel=1e-6, abs=1e-6 if one.is_ohm else 1e-9):
            off.append((one.name, mine, reading))
    assert off == []


def test_nearly_open_circuits_against_exact_fractions(model: CompiledModel) -> None:
    """Where something hangs on insulation ngspice's subtractions lose the answer: a fixed sample of
    those faults and checks within 1e-9 of exact rational arithmetic (1e-12 V near zero).
    """
    family = model.family
    faults = [f for f in family.faults.values() if touches_circuit(family, f) and nearly_open(f)]
    pairs = [(c, f) for f in faults for c in circuit_checks(family)][::EXACT_EVERY]
    pairs += [(c, None) for c in circuit_checks(family) if ours(model, c, None) > INSULATION]
    solved = 0
    for check, fault in pairs:
        one = measured(model, check, fault)
        if one is None:
            continue
        example = Example(
            tuple((b.first, b.second) for b in one.branches),
            tuple(1.0 / b.ohm for b in one.branches),
            tuple(b.emf for b in one.branches),
        )
        volts, ohms = exact_port(example, one.red, one.black)
        shown = ohms if one.is_ohm else volts * Fraction(METER_OHM) / (Fraction(METER_OHM) + ohms)
        mine = ours(model, check, fault)
        assert mine == pytest.approx(float(shown), rel=1e-9, abs=1e-12), one.name
        solved += 1
    assert solved >= 20


def test_leads_on_parts_that_hang_apart_read_open_or_nothing(model: CompiledModel) -> None:
    """Where no element joins the two leads: no volts, and more ohms than any meter shows."""
    apart = 0
    for check in circuit_checks(model.family):
        if measured(model, check, None) is None:
            apart += 1
            mine = ours(model, check, None)
            assert mine >= 1e14 if check.read == "ohm" else mine == 0.0
    assert apart <= 2


def test_other_faults_leave_every_circuit_check_alone(model: CompiledModel) -> None:
    """A fault outside the circuit changes no reading of it."""
    family = model.family
    others = [f for f in family.faults.values() if not touches_circuit(family, f)]
    assert others
    checks = circuit_checks(family)[::5]
    for fault in others[::4]:
        for check in checks:
            assert ours(model, check, fault) == ours(model, check, None), (fault.id, check.id)
