"""A discrete twin of a family: one fault variable, each check a child of it with a few outcomes.

The tables are the product's own forecasts, added up over severities and variants. The same two
questions are put to the product's own sums and to pyAgrum's exact inference (lazy propagation,
Madsen and Jensen, Artificial Intelligence 113 (1999) 203): the odds of every fault after some
readings, and how many bits each check that is left would tell about the fault.
"""

# mypy: allow-untyped-calls, allow-any-unimported
# The library ships no complete types.
from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.diagnosis.belief import Belief, Case, believe
from idlewright.diagnosis.prior import prior_of
from idlewright.diagnosis.world import Time, Timeline
from idlewright.job.outcomes import Answers, Ways
from idlewright.job.prepared import Prepared
from idlewright.plan.information import bits_of_all, entropy_bits
from idlewright.practice.chance import Chance

with warnings.catch_warnings():  # its compiled part warns about its own types while it is loaded
    warnings.simplefilter("ignore")
    import pyagrum

Floats = NDArray[np.float64]
FAULT = "fault"


@dataclass(frozen=True)
class Twin:
    """The twin's tables.

    Attributes:
        prior: every fault, nothing wrong, something else, (K,). tables: by check, (K, O).
        outcome: all tables side by side, (K, Q). first: first column of each check, (C,).
    """

    prior: Floats
    tables: Mapping[str, Floats]
    outcome: Floats
    first: NDArray[np.intp]

    def drawn(self, seed: int, count: int) -> dict[str, int]:
        """Outcomes of some random checks on a car with a random fault."""
        chance = Chance(seed)
        fault = chance.of("fault").choice(len(self.prior), p=self.prior)
        picked = chance.of("which").permutation(list(self.tables))[:count].tolist()
        return {
            name: int(chance.of(name).choice(len(row), p=row))
            for name in picked
            for row in [self.tables[name][fault]]
        }


def twin_of(prepared: Prepared) -> Twin:
    """The twin of a family and sheet before any reading."""
    model, family = prepared.model, prepared.model.family
    prior = prior_of(family)
    nothing = Case((), (), Timeline((Time(0),), ()))
    belief = believe(model, nothing, prior, slips=False)
    ways, odds = _all_ways(prepared, belief)
    answers = Answers(belief, ways)
    count = len(model.cells.faults)
    state = np.where(ways.fault < 0, count, ways.fault + (ways.fault == count))
    tables = {}
    for check in family.checks.values():
        table = answers.table(check, prepared.forms[check.id])
        joint = np.zeros((count + 2, table.shape[1]))
        np.add.at(joint, state, ways.weight[:, None] * table)
        tables[check.id] = joint / joint.sum(axis=1, keepdims=True)
    wide = [table.shape[1] for table in tables.values()]
    first = np.cumsum([0, *wide[:-1]], dtype=np.intp)
    return Twin(odds, tables, np.hstack(list(tables.values())), first)


def _all_ways(prepared: Prepared, belief: Belief) -> tuple[Ways, Floats]:
    """Every cell as a way the car may be, and the odds of every state of the fault variable."""
    model, cells = prepared.model, prepared.model.cells
    prior = prior_of(model.family)
    share = np.exp(cells.ln_prior)
    whole = np.bincount(cells.fault + 1, share)
    weight = np.append(
        np.exp(prior.ln_fault)[cells.fault] * share / whole[cells.fault + 1], belief.other
    )
    forms = prepared.forms.values()
    numbers = sorted({model.number_of(latent) for form in forms for latent in form.latents()})
    every = np.arange(len(cells))
    lines = [model.rows(number).at(every) for number in numbers]
    mean = np.stack([x for x, _ in lines], axis=1)
    variance = np.stack([(slopes.astype(float) ** 2).sum(axis=1) for _, slopes in lines], axis=1)
    inside = weight[:-1] / weight[:-1].sum()
    middle = inside @ mean
    spread = inside @ (variance + (mean - middle) ** 2)
    ways = Ways(
        fault=np.append(cells.fault, len(cells.faults)),
        active=np.ones(len(weight), dtype=bool),
        weight=weight / weight.sum(),
        numbers=tuple(numbers),
        mean=np.vstack([mean, middle]),
        variance=np.vstack([variance, 4.0 * spread + 1e-6]),
    )
    odds = np.append(np.exp(prior.ln_fault), belief.other)
    return ways, odds / odds.sum()


Found = tuple[Floats, dict[str, float]]
"""Odds of the fault variable's states, (K,), and bits of each check that is left."""


def by_ours(twin: Twin, seen: Mapping[str, int]) -> Found:
    """The product's way: one product for the odds, one pass over all tables for the bits."""
    mass = twin.prior.copy()
    for check, number in seen.items():
        mass *= twin.tables[check][:, number]
    mass /= mass.sum()
    bits = bits_of_all(mass, twin.outcome, twin.first, np.arange(len(mass)))
    told = zip(twin.tables, bits.tolist(), strict=True)
    return mass, {check: worth for check, worth in told if check not in seen}


def network(twin: Twin) -> pyagrum.BayesNet:
    """The twin for the library."""
    net = pyagrum.BayesNet()
    net.add(pyagrum.LabelizedVariable(FAULT, "", len(twin.prior)))
    net.cpt(FAULT)[:] = twin.prior
    for check, table in twin.tables.items():
        net.add(pyagrum.LabelizedVariable(check, "", table.shape[1]))
        net.addArc(FAULT, check)
        net.cpt(check)[:] = table
    return net


def _engine(net: pyagrum.BayesNet, seen: Mapping[str, int]) -> pyagrum.LazyPropagation:
    engine = pyagrum.LazyPropagation(net)
    engine.setNumberOfThreads(1)
    engine.setEvidence(dict(seen))
    return engine


def by_evidence(twin: Twin, net: pyagrum.BayesNet, seen: Mapping[str, int]) -> Found:
    """The library's plain way: every outcome of every check that is left set as evidence."""
    left = [check for check in twin.tables if check not in seen]
    now = _engine(net, seen)
    now.setTargets({FAULT, *left})
    now.makeInference()
    odds = np.asarray(now.posterior(FAULT).toarray())
    then = _engine(net, seen)
    then.setTargets({FAULT})
    bits = {}
    for check in left:
        chances = np.asarray(now.posterior(check).toarray())
        then.addEvidence(check, 0)
        after = 0.0
        for number, chance in enumerate(chances.tolist()):
            then.chgEvidence(check, number)
            then.makeInference()
            after += chance * float(entropy_bits(np.asarray(then.posterior(FAULT).toarray())))
        then.eraseEvidence(check)
        bits[check] = max(0.0, float(entropy_bits(odds)) - after)
    return odds, bits


def by_joint(twin: Twin, net: pyagrum.BayesNet, seen: Mapping[str, int]) -> Found:
    """The library's quick way: the joint of the fault and each check that is left, all at once."""
    left = [check for check in twin.tables if check not in seen]
    engine = _engine(net, seen)
    engine.setTargets({FAULT})
    for check in left:
        engine.addJointTarget({FAULT, check})
    engine.makeInference()
    odds = np.asarray(engine.posterior(FAULT).toarray())
    bits = {}
    for check in left:
        found = engine.jointPosterior({FAULT, check})
        joint = np.asarray(found.toarray())
        joint = joint if found.names[-1] == FAULT else joint.T
        after = float(joint.sum(axis=0) @ entropy_bits(joint, axis=0))
        bits[check] = max(0.0, float(entropy_bits(odds)) - after)
    return odds, bits


def farthest(one: Found, other: Found) -> float:
    """Largest difference of any odds or bits."""
    assert one[1].keys() == other[1].keys()
    bits: Sequence[float] = [abs(one[1][check] - other[1][check]) for check in one[1]]
    return float(max(np.abs(one[0] - other[0]).max(), *bits))
