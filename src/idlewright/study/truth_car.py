"""One simulated car of `study truth`: opened, read by random checks, judged, and compared."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from typing import Any, Final

import numpy as np

from idlewright.diagnosis.belief import Belief, believe
from idlewright.diagnosis.outlandish import outlandish
from idlewright.diagnosis.prior import prior_of
from idlewright.errors import CannotTell
from idlewright.family.kinds import Check, Family, Sheet
from idlewright.job.case import case_of, noise_of
from idlewright.job.entries import JobFile
from idlewright.job.file import load_job
from idlewright.job.groups import probabilities
from idlewright.job.prepared import Prepared
from idlewright.job.severity import GRID, severity_cdf
from idlewright.model.compiled import CompiledModel
from idlewright.model.latents import Latent
from idlewright.physics.meter import ORDINARY, ORDINARY_METER, Meter
from idlewright.practice import Luck, PracticeCar, SlipMade, open_car
from idlewright.practice.answers import answer
from idlewright.practice.chance import Chance
from idlewright.practice.hidden import HiddenFault

FEWEST, MOST = 4, 12
SLIP_CALLED = 0.5
GROSS = 5.0
"""A slip is gross if it moves the reading by more than so many standard uncertainties."""
WORSE = 4.0
"""The worse meter's percent and counts are so many times what the diagnosis is told."""
CURES = 0.5
"""A repair counts as right for a fault that it cures at least so often."""
FIRST = 3
"""So many suspects a technician looks at."""
DIGITS = 9
NOTHING_ELSE: Final = "something-else"
Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class World:
    """How the cars of one run differ from what the diagnosis believes.

    Attributes:
        name: of the world. law: of parts, severities and meters. slip, unlisted, intermittent,
            wipe: see open_car and Luck. meter: "stated", or "worse" than stated.
        aimed: half of the checks are drawn from those that the fault (each of several in turn) can
            show at. Severities are then well seen and still fairly judged; the odds of faults
            flatter, for nobody knows beforehand where to look.
        kind: a kind of practice cars (see practice.KINDS); "" = any.
    """

    name: str
    law: str = "wide"
    slip: float = 0.0
    unlisted: float = 0.0
    intermittent: float | None = None
    wipe: float = 0.0
    meter: str = "stated"
    aimed: bool = False
    kind: str = ""


def row_of(source: str, prepared: Prepared, sheet: Sheet, world: World, seed: int) -> Row:
    """One simulated car, read by random checks and judged.

    Args:
        source: the family as load_family takes it. prepared: of that family and the sheet.
        sheet: the vehicle's values. world: how the car is drawn. seed: of the car and its checks.

    Returns:
        JSON-ready: `truth` and its stated probability, the leading suspect, whether a repair that
        was surely right was wrong, the severity's place, and what became of the slips.
    """
    model = prepared.model
    car = open_car(
        model.family,
        seed,
        world.law,
        unlisted=world.unlisted,
        intermittent=world.intermittent,
        luck=Luck(slip=world.slip, wipe=world.wipe),
        kind=world.kind,
        model=model,
    )
    meter = _worse() if world.meter == "worse" else ORDINARY_METER
    hidden = [one for one in car.hidden.faults if one.listed] if world.aimed else []
    aim = [_reacting(car, prepared, one) for one in hidden]
    checks = _read(car, model.family, seed, meter, aim)
    data = {**car.as_job(f"truth-{seed}"), "family": source}
    job = replace(load_job(data), family=model.family, sheet=sheet)
    prior = prior_of(model.family, job.words, [code.id for code in job.codes])
    belief = believe(model, case_of(job, model), prior, unlisted=prepared.unlisted)
    return {
        "car": seed,
        "checks": checks,
        **_leader(car, belief, prepared),
        **_repair(car, belief, model.family),
        "place": _place(car, belief),
        "beyond": any(not 0.0 <= hidden.severity <= 1.0 for hidden in car.hidden.faults),
        **_slips(car, belief, source, job),
    }


def _worse() -> Meter:
    """The meter that is really used: called an ordinary one, and several times worse."""
    functions = {
        read: replace(one, percent=WORSE * one.percent, counts=WORSE * one.counts)
        for read, one in ORDINARY.items()
    }
    return Meter("ordinary", functions)


def _read(
    car: PracticeCar, family: Family, seed: int, meter: Meter, aim: Sequence[Sequence[str]]
) -> list[str]:
    """Do some random checks in a sensible order, as many again for each further fault.

    Args:
        aim: for each fault, checks of which half of the readings are drawn, as far as they go.

    Returns:
        Ids of those that could be read.
    """
    rng = Chance(seed).of("which checks")
    count = int(rng.integers(FEWEST, MOST + 1)) * max(1, len(car.hidden.faults))
    ids = list(family.checks)
    order = [ids[k] for k in rng.permutation(len(ids))]
    shows = [[check for check in order if check in checks] for checks in aim]
    in_turn = [check for row in zip_longest(*shows) for check in row if check is not None]
    first = list(dict.fromkeys(in_turn))[: count // 2]
    chosen = list(dict.fromkeys([*first, *order]))[:count]
    read = []
    for check in sorted((family.checks[name] for name in chosen), key=_gentle_first):
        try:
            car.read(check.id, meter)
        except CannotTell:
            continue
        read.append(check.id)
    return read


def _reacting(car: PracticeCar, prepared: Prepared, hidden: HiddenFault) -> list[str]:
    """Checks whose true answer a listed fault of the car changes, or whose word it has odds for."""
    physics = prepared.model.physics
    with_fault, without = car.hidden.worlds([hidden]), car.hidden.worlds([])
    found = []
    for name, form in prepared.forms.items():
        if any(hidden.fault.id in odds for odds in form.odds.values()):
            found.append(name)
            continue
        first, second = (answer(form, physics, w, _sharp) for w in (with_fault, without))
        if first.word != second.word or _apart(form.function, first.number, second.number):
            found.append(name)
    return found


def _sharp(latent: Latent) -> float:
    return 0.0


def _apart(function: str, one: float | None, other: float | None) -> bool:
    """Two true numbers that an ordinary meter tells apart."""
    if one is None or other is None:
        return one is not other
    return abs(one - other) > GROSS * _uncertainty(function, other, None)


def _uncertainty(function: str, value: float, step: float | None) -> float:
    """Standard uncertainty of an ordinary meter at a value, in its unit."""
    noise = noise_of(ORDINARY_METER, function, value, step)
    return math.hypot(noise.own, noise.gain * value, noise.step / math.sqrt(12.0))


def _gentle_first(check: Check) -> tuple[bool, bool, list[tuple[str, str]], str]:
    return (
        bool(check.disturbs),
        bool(check.provokes),
        sorted(check.state.items()),
        check.id,
    )


def _leader(car: PracticeCar, belief: Belief, prepared: Prepared) -> Row:
    """The truth and the leading suspect: equal faults are one suspect, as in the answer."""
    odds = probabilities(belief, prepared.groups)
    faults = list(belief.model.family.faults)
    names = [[faults[k] for k in group.faults] for group in prepared.groups]
    suspects = [*names, [], [NOTHING_ELSE]]
    chances = [*odds, belief.good, belief.other]
    listed = all(hidden.listed for hidden in car.hidden.faults)
    true = [*car.faults, *_by_the_book(car, belief.model)] if listed else [NOTHING_ELSE]
    places = [k for k, names in enumerate(suspects) if names == true or set(true) & set(names)]
    best = int(np.argmax(chances))
    return {
        "truth": [*car.faults] if listed else [NOTHING_ELSE],
        "intermittent": any(hidden.liability < 1 for hidden in car.hidden.faults),
        "p_truth": short(sum(chances[k] for k in places)),
        "leader": suspects[best],
        "p_leader": short(chances[best]),
        "right": best in places,
        "all_named": named_first(car, belief, names, odds),
    }


def named_first(
    car: PracticeCar, belief: Belief, names: Sequence[Sequence[str]], odds: np.ndarray
) -> bool | None:
    """Of a car with several listed faults that last: do the first suspects name them all?

    None for other cars: what comes and goes may not have been there when it was looked for.

    Args:
        car: the truth. belief: two faults at once are suspects too. names: the faults of each
            group. odds: of each group, then of nothing wrong and something else, (G + 2,).
    """
    hidden = car.hidden.faults
    if len(hidden) < 2 or not all(one.listed and one.liability >= 1.0 for one in hidden):
        return None
    ids = list(belief.model.family.faults)
    suspects = [*zip(odds, [*names, ()], strict=False)]
    suspects += [(p, [ids[k] for k in pair]) for pair, p in belief.pairs]
    first = sorted(suspects, key=lambda one: -one[0])[:FIRST]
    return set(car.faults) <= {fault for _, faults in first for fault in faults}


def _by_the_book(car: PracticeCar, model: CompiledModel) -> list[str]:
    """What the family calls a car's faults whose severity is beyond their own range.

    Five megohms in a wire that its fault "poor" has up to one is what the family calls open.
    """
    found = []
    for hidden in car.hidden.faults:
        span = hidden.fault.spans[0]
        if len(hidden.fault.spans) > 1 or span.act != "set" or 0.0 <= hidden.severity <= 1.0:
            continue
        value = span.low * (span.high / span.low) ** hidden.severity if span.low > 0 else math.nan
        for other in model.cells.faults:
            same = [one for one in other.spans if one.scalar == span.scalar and one.act == "set"]
            if len(other.spans) == 1 and same and same[0].low <= value <= same[0].high:
                found.append(other.id)
    return found


def _repair(car: PracticeCar, belief: Belief, family: Family) -> Row:
    """The likeliest cure, how sure it is to be one (if it works), and whether it is."""
    faults = list(family.faults)
    cures = np.array(
        [[repair.cures.get(f, 0.0) >= CURES for f in faults] for repair in family.repairs.values()]
    )
    chances = cures @ belief.fault
    best = int(np.argmax(chances))
    curable = set(car.faults) & set(faults)
    right = any(cures[best, faults.index(fault)] for fault in curable)
    return {
        "repair": list(family.repairs)[best],
        "p_repair": short(min(float(chances[best]), 1.0)),
        "repair_right": bool(right),
    }


def _place(car: PracticeCar, belief: Belief) -> float | None:
    """Where the true severity falls in the distribution stated for the true fault, 0 to 1.

    None if there is none to judge: nobody states severities beyond the family's range.
    """
    faults = list(belief.model.family.faults)
    for hidden in car.hidden.faults:
        ranged = any(span.low != span.high for span in hidden.fault.spans)
        if not (hidden.listed and ranged and 0.0 <= hidden.severity <= 1.0):
            continue
        cdf = severity_cdf(belief, faults.index(hidden.fault.id))
        if cdf is not None:
            return short(float(np.interp(hidden.severity, GRID, cdf, left=0.0, right=1.0)))
    return None


def _slips(car: PracticeCar, belief: Belief, source: str, job: JobFile) -> Row:
    """Gross slips and whether they were called and named; clean readings taken for slips."""
    made = {slip.check: slip for slip in car.slips}
    wild = outlandish(belief.sight)
    gross = []
    false = 0
    for position, entry in enumerate(job.readings):
        called = bool(belief.slip[position] > SLIP_CALLED)
        slip = made.get(str(entry.check))
        if slip is None:
            false += called
        elif _is_gross(slip, source, job, position):
            right = "unknown" if slip.kind == "digits" else slip.kind
            named = called and belief.slip_kind[position] == right
            gross.append({"kind": slip.kind, "called": called, "named": named,
                          "wild": position in wild})  # fmt: skip
    return {"slips": gross, "clean": len(job.readings) - len(made), "false_calls": false}


def _is_gross(slip: SlipMade, source: str, job: JobFile, position: int) -> bool:
    if slip.harmless:
        return False
    entry = job.readings[position]
    line = {"id": "r", "check": entry.check, "value": slip.right}
    head = {"format": 1, "id": "again", "family": source, "vehicle": "again"}
    again = load_job({**head, "reading": [line]}).readings[0]
    if entry.number is None or again.number is None or entry.word != again.word:
        return (entry.overload, entry.word) != (again.overload, again.word)
    u = _uncertainty(entry.function, again.number, again.step)
    return abs(entry.number - again.number) > GROSS * u


def short(value: float) -> float:
    """So many digits that rows are the same bytes on every machine that computes alike."""
    return float(f"{float(value):.{DIGITS}g}")
