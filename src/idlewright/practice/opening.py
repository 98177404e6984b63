"""Opening a practice car: drawing its parts, its fault and its complaint from a law and a seed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from idlewright.diagnosis.world import BETA_A, BETA_B
from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family, Fault, Sheet
from idlewright.family.load import load_family
from idlewright.family.names import did_you_mean
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.scalars import FloatArray
from idlewright.practice.car import Luck, PracticeCar
from idlewright.practice.chance import Chance
from idlewright.practice.clock import Bench
from idlewright.practice.complaint import Complaint, draw_complaint, weight_given
from idlewright.practice.hidden import HiddenCar, HiddenFault
from idlewright.practice.kinds import Hiding, kind_named
from idlewright.practice.laws import Law, law_named
from idlewright.practice.unlisted import draw_unlisted


def open_car(
    family: Family | str,
    seed: int,
    law: str = "wide",
    sheet: Sheet | None = None,
    fault: str | Sequence[str] | None = None,
    *,
    complaint: Complaint | None = None,
    nothing: float = 0.0,
    unlisted: float = 0.0,
    intermittent: float | None = None,
    luck: Luck | None = None,
    kind: str = "",
    state: Mapping[str, str] | None = None,
    model: CompiledModel | None = None,
) -> PracticeCar:
    """A car with a hidden fault, the same for the same arguments.

    Args:
        family: a family, or what load_family takes. seed: any integer >= 0. law: see LAWS.
        sheet: the vehicle's values; None = a vehicle of which nothing is known.
        fault: fault id or ids to hide; None = drawn by the family's weights and the complaint.
        complaint: what the driver says; None = drawn so that it fits the faults as often as stated.
        nothing, unlisted: shares of cars with nothing wrong, and with a fault nobody listed.
        intermittent: share of listed faults that come and go; None = by their weights.
        luck: slips and other mishaps; None = none. kind: a name of KINDS that says what to hide, in
            place of `fault`, `nothing` and `intermittent`, and of `luck` where none is given.
        state: what the car is in at first.
        model: the compiled family and sheet, if there is one already (saves time).

    Raises:
        BadInput: no such family, law, kind or fault; or the sheet cannot be used.
    """
    chosen = law_named(law)
    if model is None:
        known = load_family(family) if isinstance(family, str) else family
        model = compile_model(known, sheet or Sheet("unknown", "", {}))
    family = model.family
    chance = Chance(seed)
    hiding = Hiding(_ids(fault), nothing, intermittent)
    if kind:
        hiding = kind_named(kind).hide(family, chance)
    hidden_faults, said = _drawn(
        chance, chosen, family, hiding, complaint, unlisted
    )
    real = model
    if hidden_faults is None:
        found = draw_unlisted(chance.of("unlisted"), family, model.table)
        hidden_faults = [HiddenFault(found.fault, 0.0, listed=False)]
        if found.family is not family:
            real = compile_model(found.family, model.sheet)
    weights = real.table.variant_weight / real.table.variant_weight.sum()
    variant = int(chance.of("variant").choice(len(weights), p=weights))
    scale = chosen.scale(chance.of("scale"))
    deviation = scale * chosen.tolerance(chance.of("parts"), real.table, variant)
    return PracticeCar(
        family=family,
        law=chosen,
        complaint=said,
        hidden=HiddenCar.build(
            real.table, variant, deviation, hidden_faults, real.family.faults.values()
        ),
        bench=Bench(family, family.full_state(state or {})),
        luck=luck or Luck(slip=hiding.slip),
        _physics=real.physics,
        _chance=chance,
    )


def _ids(fault: str | Sequence[str] | None) -> tuple[str, ...]:
    return (fault,) if isinstance(fault, str) else tuple(fault or ())


def _drawn(
    chance: Chance,
    law: Law,
    family: Family,
    hiding: Hiding,
    complaint: Complaint | None,
    unlisted: float,
) -> tuple[list[HiddenFault] | None, Complaint]:
    """The car's faults and complaint; None instead of faults: one that nobody listed."""
    faults = list(family.faults.values())
    named = list(hiding.faults)
    listed = np.array([float(one.id in named) for one in faults])
    others = [0.0, 0.0]
    if named:
        _check_names(named, family)
    else:
        listed = _weights(faults, hiding.intermittent) * (1.0 - hiding.nothing - unlisted)
        others = [hiding.nothing, unlisted]
    weight = np.append(listed, others)
    if complaint is None:
        rng = chance.of("complaint")
        complaint, weight = draw_complaint(rng, faults, weight, family.words, family.codes)
    else:
        weight = weight_given(complaint, faults, weight, family.words, family.codes)
    if not named:
        at = int(chance.of("fault").choice(len(weight), p=weight / weight.sum()))
        if at >= len(faults):
            return ([] if at == len(faults) else None), complaint
        named = [faults[at].id]
    return [_hidden(chance, law, family.faults[name]) for name in named], complaint


def _weights(faults: Sequence[Fault], intermittent: float | None) -> FloatArray:
    """Odds of the listed faults, (F,), summing to one."""
    weight = np.array([one.weight for one in faults], dtype=float)
    comes_and_goes = np.array([one.intermittent for one in faults])
    if intermittent is not None and comes_and_goes.any() and not comes_and_goes.all():
        weight[comes_and_goes] *= intermittent / weight[comes_and_goes].sum()
        weight[~comes_and_goes] *= (1.0 - intermittent) / weight[~comes_and_goes].sum()
    return np.asarray(weight / weight.sum())


def _hidden(chance: Chance, law: Law, fault: Fault) -> HiddenFault:
    liability = 1.0
    if fault.intermittent:
        liability = float(chance.of("liability", fault.id).beta(BETA_A, BETA_B))
    return HiddenFault(fault, law.severity(chance.of("severity", fault.id)), liability)


def _check_names(named: Sequence[str], family: Family) -> None:
    problems = [
        Problem(
            says=f'there is no fault "{name}"',
            expected=f"a fault of {family.id}",
            remedy=did_you_mean(name, family.faults, "fault"),
            key="fault",
        )
        for name in named
        if name not in family.faults
    ]
    if problems:
        raise BadInput(problems)
