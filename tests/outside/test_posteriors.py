"""Odds of the small car against an exact discrete Bayesian network of the same car.

The twin is built apart from the product: its circuit by nodal analysis with dense matrices, its
posterior by pyAgrum's lazy propagation (exact inference in discrete networks). Severity is cut into
bins of equal weight, the two tolerances into Gauss-Hermite points, the chance of an intermittent
into Gauss-Legendre points; numbers are bins of the display with known noise. Other tolerances of
this twin are zero. Noise is Gaussian on the scale the product states: asinh(V / 50 mV), ln(R + 1).
Source: exact inference by junction trees, Lauritzen and Spiegelhalter, JRSS B 50 (1988) 157; the
library is pyAgrum 3.3.1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from numpy.polynomial.hermite_e import hermegauss
from numpy.polynomial.legendre import leggauss
from scipy.special import ndtr

from idlewright.diagnosis.factors import (
    Noise,
    Seen,
    number_alternatives,
    overload_alternatives,
    word_alternatives,
)
from idlewright.diagnosis.world import Time, Timeline
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_between, form_of_check
from oracle.exact_networks import pyagrum
from oracle.study import bank_odds, prior
from small_car import empty_sheet, small_family

SEVERITIES = 160
TOLERANCE_POINTS = 13
CHANCES = 8
COVER = 1.959963984540054
METER_OHM = 1e7
FREE = {"ref.volt": 0.05, "track.closed": 0.01}
LOOSE = 6
VOLT_NOISE = Noise(0.0, 0.03, 0.006, 600.0, "m:volt")
SMALL_VOLT_NOISE = Noise(0.0, 0.003, 0.001, 600.0, "m:volt")
OHM_NOISE = Noise(0.0, 250.0, 10.0, 3e4, "m:ohm")


@cache
def model() -> CompiledModel:
    """The small car with two tolerances only."""
    family = small_family()
    scalars = {
        name: replace(scalar, within=FREE.get(name, 0.0)) for name, scalar in family.scalars.items()
    }
    return compile_model(replace(family, scalars=scalars), empty_sheet())


@dataclass(frozen=True)
class Cut:
    """One discretised reading: red, black, volt or ohm, car state; or a setting seen by eye."""

    kind: str
    red: str = ""
    black: str = ""
    key: str = "on"


def nodal(values: dict[str, np.ndarray], cut: Cut) -> np.ndarray:
    """Volts or ohms between two nodes of the small car by dense nodal analysis."""
    family = small_family()
    state = {"key": cut.key, "throttle": "closed"}
    nodes = sorted({n for r in family.resistors.values() for n in (r.a, r.b)} - {"zero"})
    number = {name: k for k, name in enumerate(nodes)} | {"zero": len(nodes)}
    shape = np.broadcast_shapes(*(v.shape for v in values.values()))
    matrix = np.zeros((*shape, len(nodes) + 1, len(nodes) + 1))
    current = np.zeros((*shape, len(nodes) + 1))

    def join(a: str, b: str, ohm: np.ndarray | float, emf: np.ndarray | float = 0.0) -> None:
        i, j, g = number[a], number[b], 1.0 / ohm
        for p, q, sign in ((i, i, 1), (j, j, 1), (i, j, -1), (j, i, -1)):
            matrix[..., p, q] += sign * g
        current[..., i] += g * emf
        current[..., j] -= g * emf

    for r in family.resistors.values():
        if all(state[k] in v for k, v in r.when.items()):
            share = values[r.fraction] if r.fraction else 1.0
            join(r.a, r.b, values[r.ohm] * ((1.0 - share) if r.complement else share))
    for s in family.sources.values():
        if all(state[k] in v for k, v in s.when.items()):
            join(s.plus, s.minus, values[s.ohm], values[s.volt])
    if cut.kind == "volt":
        join(cut.red, cut.black, METER_OHM)
    else:
        current[..., number[cut.red]] += 1.0
        current[..., number[cut.black]] -= 1.0
    for name in nodes:  # a node that hangs free is held by a resistance nothing notices
        join(name, "zero", 1e13)
    inner = np.linalg.solve(matrix[..., :-1, :-1], current[..., :-1, None])[..., 0]
    volts = np.concatenate([inner, np.zeros((*shape, 1))], axis=-1)
    return volts[..., number[cut.red]] - volts[..., number[cut.black]]


@cache
def latent(cut: Cut) -> np.ndarray:
    """What the reading is about: (level, fault, active, severity, reference point, track point)."""
    family = model().family
    z, _ = hermegauss(TOLERANCE_POINTS)
    u = (np.arange(SEVERITIES) + 0.5) / SEVERITIES
    faults = list(family.faults.values())
    out = np.empty((2, len(faults) + 1, 2, SEVERITIES, len(z), len(z)))
    for row, level in enumerate((1.0, 2.0)):
        for f in range(len(faults) + 1):
            for active in (0, 1):
                values = {k: np.full((1, 1, 1), s.value.number) for k, s in family.scalars.items()}
                for name, axis in (("ref.volt", 1), ("track.closed", 2)):
                    tilt = (level * FREE[name] / COVER * z).reshape(
                        [len(z) if k == axis else 1 for k in range(3)]
                    )
                    values[name] = values[name] + tilt
                if active and f < len(faults):
                    span = faults[f].spans[0]
                    along = u[:, None, None]
                    if span.act == "shift":
                        values[span.scalar] = values[span.scalar] + (
                            span.low + (span.high - span.low) * along
                        )
                    elif family.scalars[span.scalar].scale == "log":
                        values[span.scalar] = span.low * (span.high / span.low) ** along
                    else:
                        values[span.scalar] = span.low + (span.high - span.low) * along
                if cut.kind == "setting":
                    out[row, f, active] = values["track.closed"]
                else:
                    out[row, f, active] = nodal(values, cut)
    return out


def chance_in(low: float, high: float, sd: float, x: np.ndarray) -> np.ndarray:
    """Chance that noise of this size brings x into the slice; from the side that keeps digits."""
    return np.maximum(ndtr((high - x) / sd) - ndtr((low - x) / sd), 0.0)


class Twin:
    """The network: what is wrong, how bad, active when, how wide the tolerances, where in them."""

    def __init__(self, stretches: int) -> None:
        self.net = pyagrum.BayesNet("small car")
        faults = list(model().family.faults.values())
        sizes = {
            "wide": 2,
            "fault": len(faults) + 1,
            "bad": SEVERITIES,
            "ref": TOLERANCE_POINTS,
            "track": TOLERANCE_POINTS,
            "chance": CHANCES,
        }
        for name, size in sizes.items():
            self.net.add(pyagrum.LabelizedVariable(name, name, size))
        point, weight = leggauss(CHANCES)
        chance = 0.5 * (point + 1.0)
        law = {
            "wide": np.array([0.8, 0.2]),
            "fault": np.exp(prior(model())),
            "bad": np.full(SEVERITIES, 1.0 / SEVERITIES),
            "ref": hermegauss(TOLERANCE_POINTS)[1],
            "track": hermegauss(TOLERANCE_POINTS)[1],
            "chance": 0.5 * weight * 3.0 * (1.0 - chance) ** 2,
        }
        for name, values in law.items():
            self.net.cpt(name)[:] = values / values.sum()
        table = np.zeros((CHANCES, len(faults) + 1, 2))
        for f in range(len(faults) + 1):
            table[:, f, 1] = chance if f == LOOSE else float(f < len(faults))
        table[:, :, 0] = 1.0 - table[:, :, 1]
        for t in range(stretches):
            name = f"active{t}"
            self.net.add(pyagrum.LabelizedVariable(name, name, 2))
            self.net.addArc("fault", name)
            self.net.addArc("chance", name)
            self._fill(name, ("chance", "fault"), table)
        self.evidence: dict[str, int] = {}

    def _fill(self, name: str, parents: tuple[str, ...], table: np.ndarray) -> None:
        """Set a table given as parents (in this order) x states of the node."""
        order = [n for n in self.net.cpt(name).names if n != name][::-1]
        axes = [parents.index(n) for n in order]
        self.net.cpt(name)[:] = np.ascontiguousarray(np.transpose(table, (*axes, len(parents))))

    def see(self, stretch: int, likelihood: np.ndarray) -> None:
        """Enter a reading: chance of what was seen, by the axes of `latent`."""
        name = f"reading{len(self.evidence)}"
        self.net.add(pyagrum.LabelizedVariable(name, name, 2))
        parents = ("wide", "fault", f"active{stretch}", "bad", "ref", "track")
        for parent in parents:
            self.net.addArc(parent, name)
        self._fill(name, parents, np.stack([1.0 - likelihood, likelihood], axis=-1))
        self.evidence[name] = 1

    def odds(self) -> np.ndarray:
        """Exact posterior of what is wrong."""
        engine = pyagrum.LazyPropagation(self.net)
        engine.setEvidence(self.evidence)
        engine.addTarget("fault")
        engine.makeInference()
        return np.array(engine.posterior("fault").tolist())


CLOSED = Cut("volt", "sig.s", "zero")
REFERENCE = Cut("volt", "ref.s", "gnd.s")
GROUND = Cut("volt", "gnd.s", "zero")
CONTINUITY = Cut("ohm", "gnd.s", "gnd.c", "off")
SCALE = {"volt": lambda v: np.arcsinh(v / 0.05), "ohm": lambda r: np.log(r + 1.0)}
CHECK = {CLOSED: "closed", REFERENCE: "reference", GROUND: "ground"}

CASES = {
    "a number": [(0, CLOSED, 0.62)],
    "two numbers": [(0, CLOSED, 0.70), (0, REFERENCE, 4.90)],
    "a number and a word": [(0, CLOSED, 0.66), (0, "feel", "high")],
    "words": [(0, "feel", "as set"), (0, "look", "green")],
    "open circuit": [(0, CONTINUITY, "OL"), (0, "look", "green")],
    "ohms": [(0, CONTINUITY, 1500.0), (0, "look", "green")],
    "gone again": [(0, GROUND, 0.8), (1, GROUND, 0.004), (1, CLOSED, 0.50)],
    "not seen yet": [(0, GROUND, 0.003), (1, CLOSED, 0.51), (1, "look", "green")],
    "everything": [
        (0, CLOSED, 0.56),
        (0, REFERENCE, 4.92),
        (0, "feel", "as set"),
        (1, GROUND, 0.005),
        (1, "look", "green"),
    ],
}


def enter(what: object, answer: object, twin: Twin, stretch: int) -> Seen:
    """Give one reading to the twin and return it as the product takes it."""
    family = model().family
    if what == "look":
        likelihood = np.full(latent(Cut("setting")).shape, 0.02)
        odds = family.checks["look"].words[1].odds
        for k, fault in enumerate(family.faults):
            likelihood[:, k, 1] = odds.get(fault, 0.02)
        twin.see(stretch, likelihood)
        return Seen("look", (), 0, stretch, odds=odds, base=0.02)
    if what == "feel":
        limits = next(w for w in family.checks["feel"].words if w.id == answer)
        low = -math.inf if limits.low is None else limits.low
        high = math.inf if limits.high is None else limits.high
        twin.see(stretch, chance_in(low, high, 0.004, latent(Cut("setting"))))
        form = form_of_check(family, family.checks["feel"], METER_OHM)
        return Seen("feel", word_alternatives(form, str(answer)), 0, stretch)
    assert isinstance(what, Cut)
    if what in CHECK:
        form = form_of_check(family, family.checks[CHECK[what]], METER_OHM)
        noise = SMALL_VOLT_NOISE if what == GROUND else VOLT_NOISE
    else:
        form = form_between(family, what.red, what.black, "ohm", {"key": "off"}, METER_OHM)
        noise = OHM_NOISE
    x = latent(what)
    if answer == "OL":
        twin.see(stretch, (x > noise.top).astype(float))
        return Seen("ol", overload_alternatives(form, noise), 0, stretch)
    value = float(answer)  # type: ignore[arg-type]
    half = 0.5 * noise.step
    low, high, shown = (SCALE[what.kind](v) for v in (value - half, value + half, value))
    sd = noise.own * (SCALE[what.kind](value * 1.0001) - shown) / (value * 0.0001)
    twin.see(stretch, chance_in(low, high, sd, SCALE[what.kind](x)))
    return Seen("number", number_alternatives(form, value, noise), 0, stretch)


@pytest.mark.parametrize("name", CASES)
def test_odds_agree_with_an_exact_network(name):
    """Numbers, words, open circuit and an intermittent: every fault's odds within .01."""
    readings = CASES[name]
    stretches = 1 + max(stretch for stretch, _, _ in readings)
    twin = Twin(stretches)
    seen = [enter(what, answer, twin, stretch) for stretch, what, answer in readings]
    timeline = Timeline(tuple(Time(0) for _ in range(stretches)), ())
    got = bank_odds(model(), prior(model()), seen, [s for s, _, _ in readings], timeline)
    np.testing.assert_allclose(got, twin.odds(), atol=0.01)


def test_the_twin_changes_its_mind():
    """The cases are not all decided by the prior: the twin's leader differs among them."""
    leaders = set()
    for name in ("a number and a word", "open circuit", "gone again"):
        twin = Twin(2)
        for stretch, what, answer in CASES[name]:
            enter(what, answer, twin, stretch)
        leaders.add(int(twin.odds().argmax()))
    assert len(leaders) >= 2
